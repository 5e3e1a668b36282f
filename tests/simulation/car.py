"""The simulated car: masses, gearing, engine, tyres, brakes. All invented figures."""

from __future__ import annotations

import math
from dataclasses import dataclass

G_MPS2 = 9.80665
TURNS_PER_MIN = 60.0


@dataclass(frozen=True)
class Car:
    """A small rear-driven car. Defaults give f0 = 120 N and f2 = 0.40 N/(m/s)² in neutral."""

    mass_kg: float = 790.0
    ratios: tuple[float, ...] = (3.41, 2.08, 1.40, 1.00, 0.82)
    axle: float = 4.22
    circumference_m: float = 1.742  # rolling, free of drive force
    idle_rpm: float = 900.0
    limit_rpm: float = 5500.0
    rolling_coefficient: float = 120.0 / (790.0 * G_MPS2)
    drag_area_m2: float = 0.8 / 1.225
    air_density_kgpm3: float = 1.225
    brake_capability_mps2: float = 8.5  # at full pedal, brakes cold
    brake_fade_per_k: float = 0.0  # capability is divided by 1 + this * kelvin above ...
    brake_fade_from_k: float = 150.0  # ... this much heating
    brake_heat_j_per_k: float = 9000.0  # all discs and drums together
    brake_cooling_s: float = 240.0
    brake_share_driven: float = 0.3  # of the brake force, on the driven (rear) wheels
    rotating_neutral: float = 1.03  # effective mass / mass out of gear
    rotating_base: float = 1.04  # in gear: base + square * (gear * axle)²
    rotating_square: float = 0.0025
    torque_peak_nm: float = 125.0
    torque_peak_rpm: float = 3200.0
    torque_fall: float = 0.35  # share of the peak lost 2300 r/min away from it
    drag_torque_nm: float = 12.0  # motoring, at rest
    drag_torque_nm_per_rpm: float = 0.0045
    driveline_efficiency: float = 0.93
    # Driven-tyre slip against the force they carry to the road over weight, through 0.4 % at a
    # 100 km/h cruise and 2 % at 1.5 m/s².
    creep_linear: float = 0.0607
    creep_square: float = 0.218
    clutch_grip_nm: float = math.inf  # torque above which the clutch slips
    clutch_slip_per_nm: float = 0.002  # fraction of engine speed for each N·m above it

    def reduction(self, gear: int) -> float:
        """Engine turns for one turn of the driven wheels in `gear` (1 is first)."""
        return self.ratios[gear - 1] * self.axle

    def revs_per_metre(self, gear: int) -> float:
        """Engine turns a metre in `gear`, free of tyre slip."""
        return self.reduction(gear) / self.circumference_m

    def locked_rpm(self, speed_mps: float, gear: int) -> float:
        """Engine speed (r/min) with the clutch home and no tyre slip."""
        return TURNS_PER_MIN * speed_mps * self.revs_per_metre(gear)

    def effective_mass_kg(self, gear: int) -> float:
        """Mass with rotating parts, in `gear`; 0 or less is out of gear."""
        if gear <= 0:
            return self.mass_kg * self.rotating_neutral
        factor = self.rotating_base + self.rotating_square * self.reduction(gear) ** 2
        return self.mass_kg * factor

    def beyond_tyres_kg(self, gear: int) -> float:
        """Mass of the parts that turn with the driven wheels, which no tyre has to push.

        The engine spins up itself, its flywheel and the driven wheels; their tyres push the car and
        the other two wheels (half of what turns out of gear).
        """
        others = 0.5 * (self.rotating_neutral - 1.0)
        return self.effective_mass_kg(gear) - self.mass_kg * (1.0 + others)

    def before_clutch_kg(self, gear: int) -> float:
        """Mass of the engine's own turning parts and flywheel, which the clutch has not to turn."""
        return self.mass_kg * self.rotating_square * self.reduction(gear) ** 2

    def full_torque_nm(self, rpm: float) -> float:
        """Engine torque, throttle open, at the clutch."""
        off = (rpm - self.torque_peak_rpm) / 2300.0
        return self.torque_peak_nm * (1.0 - self.torque_fall * off * off)

    def motoring_torque_nm(self, rpm: float) -> float:
        """Engine torque, throttle shut (negative)."""
        return -(self.drag_torque_nm + self.drag_torque_nm_per_rpm * rpm)

    def force_n(self, torque_nm: float, gear: int) -> float:
        """Force at the tyres for an engine torque; losses help when the car drives the engine."""
        turn = 2.0 * math.pi * self.revs_per_metre(gear)
        loss = self.driveline_efficiency if torque_nm > 0 else 1.0 / self.driveline_efficiency
        return torque_nm * turn * loss

    def creep(self, force_n: float) -> float:
        """Driven-tyre slip, as a fraction of road speed, for the force they carry to the road."""
        load = force_n / (self.mass_kg * G_MPS2)
        return load * (self.creep_linear + self.creep_square * abs(load))

    @property
    def rolling_force_n(self) -> float:
        """Resistance at walking pace on the level, f0."""
        return self.rolling_coefficient * self.mass_kg * G_MPS2

    @property
    def drag_factor(self) -> float:
        """Air resistance over speed squared, f2 in N/(m/s)²."""
        return 0.5 * self.air_density_kgpm3 * self.drag_area_m2
