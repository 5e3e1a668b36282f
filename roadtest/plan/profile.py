"""A planned drive as speed against time, put together from its manoeuvres."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Kind, Manoeuvre
from roadtest.measures.road_load import RoadLoad
from roadtest.plan.car import ROTATING
from roadtest.plan.road import Hills
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

STEP_S: Final = 0.01
_STEPS_A_GRADE: Final = 10  # hills change slowly
_LIFT_S, _LIFT_MPS2 = 0.3, 0.7  # throttle to brake, and the engine's drag meanwhile
_RISE_S: Final = 0.35  # from first bite to full braking: common practice, no published source
_EASE_S: Final = 0.6  # into and out of an acceleration
_TURN_MPS, _TURN_S = 5.0, 8.0
_CLUTCH_S, _CLUTCH_MPS2 = 0.7, 0.3  # an everyday change of gear, and how it slows meanwhile
_CLUTCH_STEPS: Final = round(_CLUTCH_S / STEP_S)
_SHIFT_S: Final = 0.5  # without drive at each change of gear in a standing start

# The crew: our choices, common practice at best, no published source. The card says them.
WANDER_MPS: Final = 0.14  # standard deviation of a speed held by foot: a third of a mile an hour
_WANDER_S: Final = (6.0, 10.0, 17.0)  # its periods
STOPS_ALIKE: Final = 0.02  # standard deviation of like stops, as a share
_FOOT_SHARE, _FOOT_S = 0.03, (0.9, 2.1)  # how evenly a stop is braked: amplitude, periods


@dataclass(frozen=True)
class Profile:
    """A planned drive. Arrays are [n], every 0.01 s."""

    time_s: Floats
    speed_mps: Floats
    heading_rad: Floats
    altitude_m: Floats  # above where it begins
    gear: NDArray[np.int64]  # 0 out of gear
    manoeuvres: tuple[Manoeuvre, ...]
    gear_of: dict[str, int]  # by manoeuvre


@dataclass
class ProfileBuilder:
    """Puts manoeuvres one behind the other; every piece starts at the speed the last one left.

    `seed` is that of the crew: how the foot wanders and how the stops fall out, `stops_alike` how
    unlike they are. `shifts_mps` are the speeds at which gears are changed in everyday driving.
    """

    hills: Hills = field(default_factory=Hills)
    seed: int = 0
    shifts_mps: Sequence[float] = (5.0, 9.0, 14.0)
    stops_alike: float = STOPS_ALIKE
    speed_mps: float = 0.0
    heading_rad: float = 0.0
    gear: int = 0
    _speeds: list[Floats] = field(default_factory=list)
    _headings: list[Floats] = field(default_factory=list)
    _gears: list[Floats] = field(default_factory=list)
    _made: list[tuple[Kind, int, int, bool, bool]] = field(default_factory=list)
    _gear_of: dict[str, int] = field(default_factory=dict)
    _count: int = 0
    _way_m: float = 0.0  # along the road, from where the drive began

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng([self.seed, 20])

    def stand(self, seconds: float) -> None:
        """Stand still."""
        self._put(np.zeros(round(seconds / STEP_S)))

    def cruise(self, seconds: float) -> None:
        """Drive on evenly."""
        self._put(np.full(round(seconds / STEP_S), self.speed_mps))

    def reach(self, speed_mps: float, rate_mps2: float = 1.5) -> None:
        """Speed up or slow down gently; on the way up gears are changed."""
        for shift in self.shifts_mps:
            if self.speed_mps < shift < speed_mps:
                self._ease(shift, rate_mps2)
                self._put(np.linspace(shift, shift - _CLUTCH_MPS2 * _CLUTCH_S, _CLUTCH_STEPS))
        self._ease(speed_mps, rate_mps2)

    def _ease(self, speed_mps: float, rate_mps2: float) -> None:
        change = speed_mps - self.speed_mps
        if abs(change) < 1e-9:
            return
        rate = math.copysign(rate_mps2, change)
        ease = min(_EASE_S, abs(change) / rate_mps2)
        steps = max(2, round((abs(change) / rate_mps2 + ease) / STEP_S))
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
        t: Floats = STEP_S * np.arange(round(seconds / STEP_S), dtype=np.float64)
        self._put(speed_mps + self._waves(t, _WANDER_S, WANDER_MPS * math.sqrt(2.0)))
        self.speed_mps = speed_mps
        self._note("hold", start, gear=gear)

    def stop(self, from_mps: float, deceleration_mps2: float) -> None:
        """Brake to rest."""
        self.reach(from_mps, 2.0)
        self.cruise(4.0)
        lifting = STEP_S * np.arange(1, round(_LIFT_S / STEP_S) + 1, dtype=np.float64)
        self._put(from_mps - _LIFT_MPS2 * lifting)
        start = self._count
        level = deceleration_mps2 * (1.0 + self.stops_alike * float(self._rng.standard_normal()))
        most = round(3.0 * from_mps / deceleration_mps2 / STEP_S) + 100
        t: Floats = STEP_S * np.arange(1, most, dtype=np.float64)
        asked = level * (1.0 + self._waves(t, _FOOT_S, _FOOT_SHARE))
        braked = _LIFT_MPS2 + (asked - _LIFT_MPS2) * np.minimum(t / _RISE_S, 1.0)
        self._put(self._rolled(lambda k, speed: float(braked[k]), braked.size, 0.0))
        self.speed_mps = 0.0
        self._note("stop", start, to_rest=True)
        self.gear = 0
        self.stand(5.0)

    def coast(self, from_mps: float, to_mps: float, load: RoadLoad, mass_kg: float) -> None:
        """Roll out of gear."""
        self.reach(from_mps + 0.3)
        self.gear = 0
        start = self._count
        most = round(2.0 * load.coast_time_s(mass_kg, from_mps, to_mps) / STEP_S)

        def held_back(k: int, speed: float) -> float:
            return float(load.f0_n + load.f1 * speed + load.f2 * speed**2) / mass_kg

        self._put(self._rolled(held_back, most, to_mps))
        self._note("coast", start)

    def pull(self, from_mps: float, to_mps: float, seconds: float, gear: int) -> None:
        """Accelerate from one speed to another in this time, and a little beyond on both sides."""
        rate = (to_mps - from_mps) / seconds
        self.reach(max(from_mps - 1.5, 1.0))
        self.gear = gear
        self.cruise(2.0)
        start = self._count
        self._ease(to_mps + 1.5, rate)
        self._note("pull", start, gear=gear)

    def standing_start(
        self, to_mps: float, seconds: float, shifts_mps: Sequence[float] = ()
    ) -> None:
        """Start from rest: a = a₀·(1 − 0.6·v/v_end), reaching `to_mps` in this time.

        `shifts_mps` are the speeds at which gears are changed; meanwhile the speed stays.
        """
        self.reach(0.0, 2.0)
        self.speed_mps = 0.0
        self.stand(6.0)
        start = self._count
        shifts = [speed for speed in shifts_mps if speed < to_mps]
        driven = max(seconds - len(shifts) * _SHIFT_S, 0.5 * seconds)
        # ∫ dv / (a₀·(1 − k·v/v_end)) = v_end·ln(1/(1 − k)) / (k·a₀)
        k = 0.6
        rate = -math.log1p(-k) / driven
        t = STEP_S * np.arange(1, round(1.08 * driven / STEP_S))
        speed = to_mps / k * -np.expm1(-rate * t)
        pause = round((seconds - driven) / max(len(shifts), 1) / STEP_S)
        at = np.repeat(np.searchsorted(speed, shifts), pause)
        self._put(np.insert(speed, at, speed[np.minimum(at, speed.size - 1)]))
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
        heading = np.concatenate(self._headings)
        return Profile(
            time_s=STEP_S * np.arange(speed.size, dtype=np.float64),
            speed_mps=speed,
            heading_rad=heading,
            altitude_m=self.hills.height_m(np.cumsum(speed * np.cos(heading)) * STEP_S),
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
        self._way_m += float(np.sum(speed * np.cos(way))) * STEP_S
        self._count += speed.size

    def _rolled(self, held_back: Callable[[int, float], float], most: int, to_mps: float) -> Floats:
        """Return the speeds [n] of rolling down to `to_mps`, at most `most` steps.

        `held_back` gives the deceleration (m/s²) at a step and a speed; the hills' part comes to
        it, out of gear with the rotating parts' share.
        """
        speed, way, ahead = self.speed_mps, self._way_m, math.cos(self.heading_rad)
        speeds, uphill = [], 0.0
        for k in range(most):
            if k % _STEPS_A_GRADE == 0:
                uphill = STANDARD_GRAVITY_MPS2 / ROTATING * self.hills.grade_at(way) * ahead
            speed -= (held_back(k, speed) + uphill) * STEP_S
            if speed <= to_mps:
                break
            way += speed * ahead * STEP_S
            speeds.append(speed)
        return np.array(speeds)

    def _waves(self, time_s: Floats, periods_s: Sequence[float], size: float) -> Floats:
        """Return waves [n] of such periods, of any phase, `size` being √2 standard deviations."""
        phases = self._rng.uniform(0.0, 2.0 * math.pi, len(periods_s))
        turns = 2.0 * math.pi * np.outer(time_s, 1.0 / np.array(periods_s)) + phases
        return np.asarray(size / math.sqrt(len(periods_s)) * np.sin(turns).sum(axis=1))

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
