"""Engine turns per metre, sample by sample: the one thing tach and road speed show together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.gearing.bending import Bending
from roadtest.measures.gearing.creep import U_LINEAR, creep
from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.road import Road
from roadtest.motion.turning import U_AHEAD_M2

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SLOWEST_MPS: Final = 1.0
"""Below this a ratio says nothing: the receiver's error is too large a part of the speed."""
_LEAST_RPM: Final = 300.0  # below it the engine is not running on its own
_U_UNSETTLED: Final = 0.004
"""What clutch, driveline and a filtered dial leave in the ratio of one sample (our choice)."""

DIAL_FILTER_S: Final = 0.25
"""Usual time constant of a filtered tach: 0.1 to 0.5 s (common practice, no published source)."""


@dataclass(frozen=True)
class Clock:
    """How to come from the tach's clock to the drive's: t = c + offset + drift · (c - from)."""

    offset_s: float = 0.0
    drift: float = 0.0
    from_s: float = 0.0
    u_offset_s: float = 0.1

    def drive_time(self, clock_s: Floats) -> Floats:
        """Return the drive's times of the tach's times."""
        return np.asarray(clock_s + self.offset_s + self.drift * (clock_s - self.from_s))


@dataclass(frozen=True)
class Turns:
    """Engine speed against road speed at every tach sample on a known piece of road, [n] each."""

    time_s: Floats  # of the drive
    clock_s: Floats  # of the tach
    rpm: Floats
    speed_mps: Floats
    u_speed_mps: Floats
    acceleration_mps2: Floats
    u_acceleration_mps2: Floats
    push_mps2: Floats
    climb_mps2: Floats
    u_grade: Floats
    log_turns: Floats  # logarithm of engine turns a metre as shown; NaN where there is none
    u_log: Floats  # standard, of one sample
    u_unsmoothed: Floats  # standard, of what is left of the receiver's smoothing
    late: Floats  # a/v, 1/s: by how much log_turns is low for each second the tach is late
    bending: Bending
    swing: Floats  # 1/s: a/v as a filtered dial feels it, less a/v itself; 0 in steady motion
    usable: Bools  # True where log_turns means something

    @cached_property
    def free_of_creep(self) -> Floats:
        """log_turns less the tyre creep thought likely beforehand."""
        return np.asarray(self.log_turns - creep(np.clip(self.push_mps2, -3.0, 4.0)))

    @property
    def idle_rpm(self) -> float | None:
        """Engine speed while the car stands, None where it does not."""
        still = (self.speed_mps < 0.5 * SLOWEST_MPS) & (self.rpm > _LEAST_RPM)
        return float(np.median(self.rpm[still])) if np.count_nonzero(still) >= 5 else None

    @cached_property
    def interval_s(self) -> Floats:
        """[n] time that each sample stands for."""
        if self.time_s.size < 2:
            return np.ones(self.time_s.size)
        step = np.diff(self.time_s)
        usual = float(np.median(step))
        return np.asarray(np.minimum(np.append(step, usual), 2.0 * usual))


def turns_per_metre(samples: EngineSamples, road: Road, clock: Clock) -> Turns:
    """Return engine turns per metre at every sample, the tach's clock taken as `clock`."""
    time = clock.drive_time(samples.time_s)
    at = road.at(time)
    keep = at.known
    rpm, speed = samples.rpm[keep], at.speed_mps[keep]
    usable = (speed > SLOWEST_MPS) & (rpm > _LEAST_RPM)
    speed_ok, rpm_ok = np.where(usable, speed, 1.0), np.where(usable, rpm, 1.0)
    late = np.where(usable, at.acceleration_mps2[keep] / speed_ok, 0.0)
    push = at.push_mps2[keep]
    bending = road.bending(time[keep])
    unsmoothed, u_unsmoothed = road.unsmoothed_by(time[keep])
    _, u_square = road.smoothed.square
    variance = (
        (at.u_speed_mps[keep] / speed_ok) ** 2
        + (samples.u_rpm**2 + samples.step_rpm**2 / 12.0) / rpm_ok**2
        + _U_UNSETTLED**2
        + u_unsmoothed**2
        + (U_LINEAR * np.clip(push, -3.0, 4.0)) ** 2
        + (clock.u_offset_s * late) ** 2
        + (u_square * bending.felt_square) ** 2
        + (U_AHEAD_M2 * bending.curve_square) ** 2
    )
    return Turns(
        time_s=time[keep],
        clock_s=samples.time_s[keep],
        rpm=rpm,
        speed_mps=speed,
        u_speed_mps=at.u_speed_mps[keep],
        acceleration_mps2=at.acceleration_mps2[keep],
        u_acceleration_mps2=at.u_acceleration_mps2[keep],
        push_mps2=push,
        climb_mps2=at.climb_mps2[keep],
        u_grade=at.u_grade[keep],
        log_turns=np.where(usable, np.log(rpm_ok / 60.0 / speed_ok) - unsmoothed, np.nan),
        u_log=np.sqrt(variance),
        u_unsmoothed=u_unsmoothed,
        late=late,
        bending=bending,
        swing=np.where(usable, _filtered_rate(road, time[keep]) - late, 0.0),
        usable=usable,
    )


def _filtered_rate(road: Road, time_s: Floats) -> Floats:
    """Return a/v at `time_s` through a first-order filter of the usual time constant, 1/s."""
    if not time_s.size:
        return np.zeros(0)
    step = 0.2 * DIAL_FILTER_S
    grid = np.arange(time_s[0] - 6.0 * DIAL_FILTER_S, time_s[-1] + step, step)
    at = road.at(grid)
    rate = at.acceleration_mps2 / np.maximum(at.speed_mps, SLOWEST_MPS)
    kernel = np.exp(-step / DIAL_FILTER_S * np.arange(30))
    filtered = np.convolve(rate, kernel / kernel.sum())[: grid.size]
    return np.asarray(np.interp(time_s, grid, filtered))
