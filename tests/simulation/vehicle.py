"""One step of the car along the road: forces in, motion out, everything recorded."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from tests.simulation.car import G_MPS2, Car
from tests.simulation.road import Road
from tests.simulation.truth import START_UTC_S, Manoeuvre, Truth

NEUTRAL = 0
OPEN = -1  # clutch in, slipping at a start, or between gears

_THROTTLE_S = 0.10  # how fast drive force follows the foot
_SHAFTS_S = 0.03  # how fast it follows a slipping clutch's grip, the throttle open already
_FOOT_S = 0.15  # how fast the brakes follow it in normal driving
_ENGINE_S = 0.22  # how fast a free engine follows the throttle
_GROUND_EVERY = 10  # steps between looks at grade and curvature


class Vehicle:
    """The car's state, and the steps that move it on. All figures SI but engine speed (r/min)."""

    def __init__(
        self, car: Car, road: Road, seed: int, start_utc_s: float = START_UTC_S, rate_hz: int = 100
    ) -> None:
        self.car, self.road = car, road
        self.rng = np.random.default_rng(seed)
        self.start_utc_s = start_utc_s
        self.step_s = 1.0 / rate_hz
        self.speed_mps = 0.0
        self.distance_m = 0.0
        self.heading_rad = road.heading_rad
        self.east_m = self.north_m = 0.0
        self.altitude_m = road.altitude_m
        self.gear = NEUTRAL
        self.rpm = car.idle_rpm
        self.straight = False  # on a straight picked by the driver, whatever the road has here
        self.turn_pm = 0.0  # curvature the driver steers on top of the road's
        self.heat_k = 0.0  # brakes above cold
        self._force_n = 0.0
        self._brake_mps2 = 0.0  # as lagged in normal driving
        self._rows: list[tuple[float, ...]] = []
        self._ground = (0.0, 0.0, 0.0, 0.0)  # grade, its sine, curvature, headwind

    @property
    def time_s(self) -> float:
        """Time since the start of the drive."""
        return len(self._rows) * self.step_s

    def locked(self, want_mps2: float, brake_mps2: float = 0.0) -> None:
        """Take a step with the clutch home, asking the engine for an acceleration."""
        car, gear = self.car, self.gear
        rpm = car.locked_rpm(self.speed_mps, gear)
        low = car.force_n(car.motoring_torque_nm(rpm), gear)
        high = car.force_n(car.full_torque_nm(rpm), gear) if rpm < car.limit_rpm else low
        need = car.effective_mass_kg(gear) * want_mps2 + self._resistance_n()
        self._drive(min(max(need, low), high))
        self._brake_mps2 += (brake_mps2 - self._brake_mps2) * self.step_s / _FOOT_S
        self._advance(gear, self._brake_mps2)

    def overrun(self, brake_mps2: float) -> None:
        """Take a step with the clutch home, off the throttle, braked as hard as this at once."""
        self._brake_mps2 = brake_mps2
        self.locked(-9.0, brake_mps2)

    def open(self, brake_mps2: float = 0.0, rpm: float | None = None) -> None:
        """Take a step with no drive; the free engine settles to `rpm` (idle when None)."""
        self._force_n = self._brake_mps2 = 0.0
        goal = self.car.idle_rpm if rpm is None else rpm
        self.rpm += (goal - self.rpm) * self.step_s / _ENGINE_S
        self._advance(NEUTRAL if self.gear == NEUTRAL else OPEN, brake_mps2)

    def slipping(
        self, want_mps2: float, gear: int, engine_rpm: float, throttle_open: bool = False
    ) -> bool:
        """Take a step of a standing start, the clutch slipping; True once it is home."""
        car = self.car
        need = car.effective_mass_kg(gear) * want_mps2 + self._resistance_n()
        most = car.force_n(car.full_torque_nm(engine_rpm), gear)
        self._drive(min(need, most), _SHAFTS_S if throttle_open else _THROTTLE_S)
        self.rpm += (engine_rpm - self.rpm) * self.step_s / _ENGINE_S
        wheel_rpm = car.locked_rpm(self.speed_mps, gear)
        self._advance(OPEN, 0.0, mass_gear=gear)
        return wheel_rpm >= self.rpm

    def brake_limit_mps2(self) -> float:
        """What the brakes can do now, as hot as they are."""
        lost = self.car.brake_fade_per_k * max(0.0, self.heat_k - self.car.brake_fade_from_k)
        return self.car.brake_capability_mps2 / (1.0 + lost)

    def _drive(self, goal_n: float, within_s: float = _THROTTLE_S) -> None:
        self._force_n += (goal_n - self._force_n) * self.step_s / within_s

    def _turn_engine(self, accel_mps2: float, tyre_force_n: float) -> None:
        """Set engine speed with the clutch home: the tyres creep, and the clutch may slip."""
        wheels_rpm = self.car.locked_rpm(self.speed_mps, self.gear)
        slip = self._clutch_slip(self.gear, accel_mps2)
        self.rpm = wheels_rpm * (1.0 + self.car.creep(tyre_force_n)) / (1.0 - slip)

    def _clutch_slip(self, gear: int, accel_mps2: float) -> float:
        car = self.car
        if math.isinf(car.clutch_grip_nm):
            return 0.0
        carried_n = self._force_n - car.before_clutch_kg(gear) * accel_mps2
        torque = carried_n / car.force_n(1.0, gear)
        return min(0.5, max(0.0, torque - car.clutch_grip_nm) * car.clutch_slip_per_nm)

    def _resistance_n(self) -> float:
        car = self.car
        air = self.speed_mps + self._ground[3]
        weight = car.mass_kg * G_MPS2 * self._ground[1]
        return car.rolling_force_n + car.drag_factor * air * abs(air) + weight

    def _look(self) -> None:
        """Renew what the ground and the wind are here."""
        sin_h, cos_h = math.sin(self.heading_rad), math.cos(self.heading_rad)
        grade = self.road.grade(self.east_m, self.north_m, sin_h, cos_h)
        wind = self.road.wind_east_mps * sin_h + self.road.wind_north_mps * cos_h
        bend = 0.0 if self.straight else self.road.curvature_pm(self.distance_m)
        self._ground = (grade, math.sin(math.atan(grade)), bend, -wind)

    def _advance(self, gear: int, brake_mps2: float, mass_gear: int | None = None) -> None:
        if len(self._rows) % _GROUND_EVERY == 0:
            self._look()
        grade, sine, bend, _ = self._ground
        step, speed = self.step_s, self.speed_mps
        turning = gear if mass_gear is None else mass_gear
        brake_n = self.car.mass_kg * brake_mps2
        push = self._force_n - self._resistance_n() - brake_n
        accel = push / self.car.effective_mass_kg(turning)
        after = speed + accel * step
        if after <= 0.0:  # comes to rest, or is held there
            after, accel = 0.0, -speed / step
        tyre_force_n = self._force_n - self.car.beyond_tyres_kg(turning) * accel
        tyre_force_n -= self.car.brake_share_driven * brake_n
        if gear > 0:
            self._turn_engine(accel, tyre_force_n)
        self._rows.append(
            (
                speed,
                accel,
                self.distance_m,
                self.heading_rad,
                self.east_m,
                self.north_m,
                self.altitude_m,
                grade,
                self.rpm,
                float(gear),
                self._force_n,
                tyre_force_n,
            )
        )
        leg = 0.5 * (speed + after) * step
        level = leg * math.sqrt(1.0 - sine * sine)
        middle = self.heading_rad + 0.5 * leg * (bend + self.turn_pm)
        self.east_m += level * math.sin(middle)
        self.north_m += level * math.cos(middle)
        self.altitude_m += leg * sine
        self.heading_rad += leg * (bend + self.turn_pm)
        self.distance_m += leg
        self.speed_mps = after
        heating = self.car.mass_kg * brake_mps2 * leg / self.car.brake_heat_j_per_k
        self.heat_k += heating - self.heat_k * step / self.car.brake_cooling_s

    def truth(self, manoeuvres: Sequence[Manoeuvre]) -> Truth:
        """Return everything so far as a value. The last step is dropped: its end has no row."""
        columns = np.array(self._rows, dtype=np.float64).T.copy()
        columns[1, -1] = 0.0
        names = ("speed_mps", "accel_mps2", "distance_m", "heading_rad", "east_m", "north_m")
        arrays = dict(zip(names, columns[:6], strict=True))
        return Truth(
            car=self.car,
            origin_deg=self.road.origin_deg,
            start_utc_s=self.start_utc_s,
            t_s=self.step_s * np.arange(columns.shape[1], dtype=np.float64),
            altitude_m=columns[6],
            grade=columns[7],
            engine_rpm=columns[8],
            gear=columns[9].astype(np.int64),
            drive_force_n=columns[10],
            tyre_force_n=columns[11],
            manoeuvres=tuple(manoeuvres),
            **arrays,
        )
