"""What really happened: the exact motion, and the exact figures of each manoeuvre.

Speed is *defined* as piecewise linear between the samples (acceleration constant over each step),
so distance and every crossing are exact, not interpolated.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.simulation.car import G_MPS2, Car

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

START_UTC_S = 1_777_708_800.0  # 2026-05-02T08:00:00Z, an arbitrary morning


@dataclass(frozen=True)
class Manoeuvre:
    """One thing the driver did on purpose.

    kind: hold, pull, standing, stop, snub, interrupted, coast, traffic, idle, turn, cruise.
    figures: what is known exactly about it (SI), by kind:
      hold: mean_mps, target_mps, mean_rpm; stop: see `stop_figures`; pull: from_mps, to_mps,
      time_s, peak_power_w (at the wheels); standing: to_mps, time_s (from first motion);
      coast: from_mps, to_mps, time_s, f0_n, f2; snub and interrupted: initial_mps, final_mps.
    """

    kind: str
    start_s: float
    end_s: float
    gear: int
    figures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Truth:
    """A drive as it was. Arrays are [n], one element a step, all at `t_s` (s since the start)."""

    car: Car
    origin_deg: tuple[float, float]
    start_utc_s: float
    t_s: Floats
    speed_mps: Floats  # along the road
    accel_mps2: Floats  # dv/dt from this sample to the next; 0 at the last
    distance_m: Floats  # along the road, the integral of speed
    heading_rad: Floats  # clockwise from north, not wrapped
    east_m: Floats  # level, along the curved earth
    north_m: Floats
    altitude_m: Floats
    grade: Floats
    engine_rpm: Floats
    gear: Ints  # 1.. locked in gear, 0 neutral, -1 clutch in, slipping at a start, or between gears
    drive_force_n: Floats  # of the engine, at the driven wheels: it turns its own parts too
    tyre_force_n: Floats  # what the driven tyres carry to the road
    manoeuvres: tuple[Manoeuvre, ...] = ()

    @property
    def step_s(self) -> float:
        """Time between samples."""
        return float(self.t_s[1] - self.t_s[0])

    def speed_at(self, time_s: Floats | float) -> Floats:
        """Speed at any times (exact)."""
        return np.asarray(np.interp(time_s, self.t_s, self.speed_mps), dtype=np.float64)

    def distance_at(self, time_s: Floats | float) -> Floats:
        """Distance at any times (exact: quadratic inside a step)."""
        clipped = np.clip(time_s, self.t_s[0], self.t_s[-1])
        step = np.clip(np.searchsorted(self.t_s, clipped, "right") - 1, 0, self.t_s.size - 1)
        into = clipped - self.t_s[step]
        start = self.distance_m[step] + self.speed_mps[step] * into
        return np.asarray(start + 0.5 * self.accel_mps2[step] * into**2, dtype=np.float64)

    def mean_speed_mps(self, start_s: float, end_s: float) -> float:
        """Distance over time between two instants (exact)."""
        ends = self.distance_at(np.array([start_s, end_s]))
        return float(ends[1] - ends[0]) / (end_s - start_s)

    def falls_through(self, speed_mps: float, after_s: float) -> float:
        """Return the first time at or after `after_s` at which speed falls to `speed_mps`."""
        return self._crossing(speed_mps, after_s, falling=True)

    def rises_through(self, speed_mps: float, after_s: float) -> float:
        """Return the first time at or after `after_s` at which speed rises to `speed_mps`."""
        return self._crossing(speed_mps, after_s, falling=False)

    def last_rise_through(self, speed_mps: float, before_s: float) -> float:
        """Return the last time before `before_s` at which speed rises through `speed_mps`."""
        last = int(np.searchsorted(self.t_s, before_s, "right")) - 1
        below = np.flatnonzero(self.speed_mps[: last + 1] < speed_mps)
        if below.size == 0:
            return math.nan
        return self.rises_through(speed_mps, float(self.t_s[below[-1]]))

    def _crossing(self, speed_mps: float, after_s: float, *, falling: bool) -> float:
        first = max(int(np.searchsorted(self.t_s, after_s, "right")) - 1, 0)
        sign = -1.0 if falling else 1.0
        past = sign * (self.speed_mps[first:] - speed_mps) >= 0.0
        if not past.any():
            return math.nan
        step = first + int(np.argmax(past))
        if step == first:
            return after_s
        low, high = self.speed_mps[step - 1], self.speed_mps[step]
        share = (speed_mps - low) / (high - low)
        return float(self.t_s[step - 1] + share * (self.t_s[step] - self.t_s[step - 1]))

    def of_kind(self, kind: str) -> tuple[Manoeuvre, ...]:
        """Return the manoeuvres of one kind, in order."""
        return tuple(m for m in self.manoeuvres if m.kind == kind)


def from_profile(accel_mps2: Floats, speed_mps: float, step_s: float = 0.01) -> Truth:
    """Return the straight, level, gearless drive with this acceleration in each step.

    accel_mps2: [n] float, constant over each step. For checks by hand and for unit tests.
    """
    accel = np.append(np.asarray(accel_mps2, dtype=np.float64), 0.0)
    speed = speed_mps + step_s * np.concatenate(([0.0], np.cumsum(accel[:-1])))
    legs = 0.5 * step_s * (speed[1:] + speed[:-1])
    distance = np.concatenate(([0.0], np.cumsum(legs)))
    zero = np.zeros(speed.size)
    return Truth(
        car=Car(),
        origin_deg=(0.0, 0.0),
        start_utc_s=START_UTC_S,
        t_s=step_s * np.arange(speed.size, dtype=np.float64),
        speed_mps=speed,
        accel_mps2=accel,
        distance_m=distance,
        heading_rad=zero + 0.5 * math.pi,
        east_m=distance,
        north_m=zero,
        altitude_m=zero,
        grade=zero,
        engine_rpm=zero,
        gear=np.zeros(speed.size, dtype=np.int64),
        drive_force_n=zero,
        tyre_force_n=zero,
    )


def stop_figures(truth: Truth, start_s: float) -> dict[str, float]:
    """Return the exact figures of the stop whose brakes begin to bite at `start_s`.

    initial_mps; mfdd_mps2 = (vb² - ve²) / (2 (se - sb)) between 0.8 and 0.1 of the initial speed
    (UN R13, Annex 4, 1.1.2); mfdd_level_mps2, the same with g·sin(slope) over those metres taken
    out; distance_m to rest; end_s; peak_mps2 over 0.1 s; build_up_s to 0.9 of MFDD; drift_m and
    heading_change_rad to the right of the line of approach (the last second before); grade.
    """
    initial = float(truth.speed_at(start_s))
    begin_s = truth.falls_through(0.8 * initial, start_s)
    finish_s = truth.falls_through(0.1 * initial, start_s)
    end_s = truth.falls_through(0.0, start_s)
    at = truth.distance_at(np.array([start_s, begin_s, finish_s, end_s]))
    mfdd = (0.8**2 - 0.1**2) * initial**2 / (2.0 * (at[2] - at[1]))
    grade = _mean_grade(truth, float(at[1]), float(at[2]))
    drift_m, turned_rad = _sideways(truth, start_s, end_s)
    return {
        "initial_mps": initial,
        "mfdd_mps2": float(mfdd),
        "mfdd_level_mps2": float(mfdd - G_MPS2 * math.sin(math.atan(grade))),
        "distance_m": float(at[3] - at[0]),
        "end_s": end_s,
        "peak_mps2": _peak(truth, start_s, end_s),
        "build_up_s": _build_up(truth, start_s, float(mfdd)),
        "drift_m": drift_m,
        "heading_change_rad": turned_rad,
        "grade": grade,
    }


def _mean_grade(truth: Truth, from_m: float, to_m: float) -> float:
    places = np.linspace(from_m, to_m, 400)
    return float(np.interp(places, truth.distance_m, truth.grade).mean())


def _peak(truth: Truth, start_s: float, end_s: float) -> float:
    times = np.arange(start_s, end_s, 0.005)
    return float(np.max(truth.speed_at(times) - truth.speed_at(times + 0.1)) / 0.1)


def _build_up(truth: Truth, start_s: float, mfdd_mps2: float) -> float:
    first = int(np.searchsorted(truth.t_s, start_s - 1e-9))
    strong = -truth.accel_mps2[first:] >= 0.9 * mfdd_mps2
    return float(truth.t_s[first + int(np.argmax(strong))] - start_s)


def _sideways(truth: Truth, start_s: float, end_s: float) -> tuple[float, float]:
    """Return metres and radians to the right of the line of approach."""
    east = np.interp([start_s - 1.0, start_s, end_s], truth.t_s, truth.east_m)
    north = np.interp([start_s - 1.0, start_s, end_s], truth.t_s, truth.north_m)
    if start_s >= truth.t_s[0] + 1.0:
        way = math.atan2(east[1] - east[0], north[1] - north[0])
    else:
        way = float(np.interp(start_s, truth.t_s, truth.heading_rad))
    along_e, along_n = math.sin(way), math.cos(way)
    drift = (east[2] - east[1]) * along_n - (north[2] - north[1]) * along_e
    turned = float(np.interp(end_s, truth.t_s, truth.heading_rad)) - way
    return float(drift), (turned + math.pi) % (2.0 * math.pi) - math.pi
