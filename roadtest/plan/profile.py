"""A planned drive as speed against time, put together from its manoeuvres."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Kind, Manoeuvre
from roadtest.measures.road_load import RoadLoad

Floats = NDArray[np.float64]

STEP_S: Final = 0.01
_LIFT_S, _LIFT_MPS2 = 0.3, 0.7  # throttle to brake, and the engine's drag meanwhile
_RISE_S: Final = 0.35  # from first bite to full braking: common practice, no published source
_EASE_S: Final = 0.6  # into and out of an acceleration
_TURN_MPS, _TURN_S = 5.0, 8.0
_WANDER_MPS, _WANDER_S = 0.2, 6.0
"""A speed held by foot: half a mile an hour either way within some seconds (common practice, no
published source)."""


@dataclass(frozen=True)
class Profile:
    """A planned drive. Arrays are [n], every 0.01 s."""

    time_s: Floats
    speed_mps: Floats
    heading_rad: Floats
    gear: NDArray[np.int64]  # 0 out of gear
    manoeuvres: tuple[Manoeuvre, ...]
    gear_of: dict[str, int]  # by manoeuvre


@dataclass
class ProfileBuilder:
    """Puts manoeuvres one behind the other; every piece starts at the speed the last one left."""

    speed_mps: float = 0.0
    heading_rad: float = 0.0
    gear: int = 0
    _speeds: list[Floats] = field(default_factory=list)
    _headings: list[Floats] = field(default_factory=list)
    _gears: list[Floats] = field(default_factory=list)
    _made: list[tuple[Kind, int, int, bool, bool]] = field(default_factory=list)
    _gear_of: dict[str, int] = field(default_factory=dict)
    _count: int = 0

    def stand(self, seconds: float) -> None:
        """Stand still."""
        self._put(np.zeros(round(seconds / STEP_S)))

    def cruise(self, seconds: float) -> None:
        """Drive on evenly."""
        self._put(np.full(round(seconds / STEP_S), self.speed_mps))

    def reach(self, speed_mps: float, rate_mps2: float = 1.5) -> None:
        """Speed up or slow down gently."""
        change = speed_mps - self.speed_mps
        if abs(change) < 1e-9:
            return
        rate = math.copysign(rate_mps2, change)
        ease = min(_EASE_S, abs(change) / rate_mps2)
        steps = round((abs(change) / rate_mps2 + ease) / STEP_S)
        along = np.linspace(0.0, 1.0, steps + 1)[1:] * (abs(change) / rate_mps2 + ease)
        rise = np.clip(along / ease, 0.0, 1.0)
        fall = np.clip((along[-1] - along) / ease, 0.0, 1.0)
        path = self.speed_mps + np.cumsum(rate * np.minimum(rise, fall)) * STEP_S
        scale = change / (path[-1] - self.speed_mps)
        self._put(self.speed_mps + scale * (path - self.speed_mps))

    def turn_round(self) -> None:
        """Turn at walking pace and face the other way."""
        self.reach(_TURN_MPS, 2.0)
        count = round(_TURN_S / STEP_S)
        turn = self.heading_rad + np.pi * (np.arange(count) + 1.0) / count
        self._put(np.full(count, _TURN_MPS), turn)

    def hold(self, speed_mps: float, seconds: float, gear: int) -> None:
        """Hold a speed as well as a foot does."""
        self.reach(speed_mps)
        self.gear = gear
        self.cruise(3.0)
        start = self._count
        t = STEP_S * np.arange(round(seconds / STEP_S))
        self._put(speed_mps + _WANDER_MPS * np.sin(2.0 * np.pi * t / _WANDER_S))
        self.speed_mps = speed_mps
        self._note("hold", start, gear=gear)

    def stop(self, from_mps: float, deceleration_mps2: float) -> None:
        """Brake to rest."""
        self.reach(from_mps, 2.0)
        self.cruise(4.0)
        lifting = STEP_S * np.arange(1, round(_LIFT_S / STEP_S) + 1, dtype=np.float64)
        self._put(from_mps - _LIFT_MPS2 * lifting)
        start, begun = self._count, self.speed_mps
        steps = round((begun / deceleration_mps2 + _RISE_S) / STEP_S) + 2
        t: Floats = STEP_S * np.arange(1, steps, dtype=np.float64)
        rising = np.minimum(t, _RISE_S)
        extra = deceleration_mps2 - _LIFT_MPS2
        lost = _LIFT_MPS2 * t + extra * (0.5 * rising**2 / _RISE_S + np.maximum(t - _RISE_S, 0.0))
        speed = begun - lost
        self._put(speed[speed > 0.0])
        self.speed_mps = 0.0
        self._note("stop", start, to_rest=True)
        self.gear = 0
        self.stand(5.0)

    def coast(self, from_mps: float, to_mps: float, load: RoadLoad, mass_kg: float) -> None:
        """Roll out of gear."""
        self.reach(from_mps + 0.3)
        self.gear = 0
        start = self._count
        seconds = load.coast_time_s(mass_kg, from_mps, to_mps)
        t: Floats = STEP_S * np.arange(round(seconds / STEP_S), dtype=np.float64)
        self._put(load.speed_after(mass_kg, from_mps, t))
        self._note("coast", start)

    def pull(self, from_mps: float, to_mps: float, seconds: float, gear: int) -> None:
        """Accelerate from one speed to another in this time, and a little beyond on both sides."""
        rate = (to_mps - from_mps) / seconds
        self.reach(max(from_mps - 1.5, 1.0))
        self.gear = gear
        self.cruise(2.0)
        start = self._count
        self.reach(to_mps + 1.5, rate)
        self._note("pull", start, gear=gear)

    def standing_start(self, to_mps: float, seconds: float) -> None:
        """Start from rest: a = a₀·(1 − 0.6·v/v_end), reaching `to_mps` in this time."""
        self.reach(0.0, 2.0)
        self.speed_mps = 0.0
        self.stand(6.0)
        start = self._count
        # ∫ dv / (a₀·(1 − k·v/v_end)) = v_end·ln(1/(1 − k)) / (k·a₀)
        k = 0.6
        rate = -math.log1p(-k) / seconds
        t = STEP_S * np.arange(1, round(1.08 * seconds / STEP_S))
        self._put(to_mps / k * -np.expm1(-rate * t))
        self._note("pull", start, from_rest=True)

    def finish(self) -> Profile:
        """Return the whole drive."""
        speed = np.concatenate(self._speeds)
        counts: dict[str, int] = {}
        made: list[Manoeuvre] = []
        gear_of: dict[str, int] = {}
        for number, (kind, start, end, to_rest, from_rest) in enumerate(self._made):
            counts[kind] = counts.get(kind, 0) + 1
            name = f"{kind}-{counts[kind]}"
            made.append(Manoeuvre(name, kind, start * STEP_S, end * STEP_S, to_rest, from_rest))
            gear = self._gear_of.get(str(number))
            if gear is not None:
                gear_of[name] = gear
        return Profile(
            time_s=STEP_S * np.arange(speed.size, dtype=np.float64),
            speed_mps=speed,
            heading_rad=np.concatenate(self._headings),
            gear=np.concatenate(self._gears).astype(np.int64),
            manoeuvres=tuple(made),
            gear_of=gear_of,
        )

    def _put(self, speed: Floats, heading: Floats | None = None) -> None:
        if speed.size == 0:
            return
        self._speeds.append(speed.astype(np.float64))
        way = np.full(speed.size, self.heading_rad) if heading is None else heading
        self._headings.append(way)
        self._gears.append(np.full(speed.size, float(self.gear)))
        self.speed_mps, self.heading_rad = float(speed[-1]), float(way[-1])
        self._count += speed.size

    def _note(
        self,
        kind: Kind,
        start: int,
        *,
        to_rest: bool = False,
        from_rest: bool = False,
        gear: int | None = None,
    ) -> None:
        if gear is not None:
            self._gear_of[str(len(self._made))] = gear
        self._made.append((kind, start, self._count, to_rest, from_rest))
