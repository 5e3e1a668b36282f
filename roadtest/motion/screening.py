"""From the fixes of a log to what the motion estimate observes, every loss counted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from roadtest.errors import InputError
from roadtest.geodesy import local_metres
from roadtest.logs.model import GpsLog, Loss
from roadtest.motion.rounding import rounding_variance, speed_step
from roadtest.motion.sampler import Observed
from roadtest.motion.standing import Standing, standing_by_position, standing_by_speed
from roadtest.motion.system import Knots

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

FASTEST_MPS = 100.0  # 360 km/h: no car this is for goes faster
LONGEST_BREAK_S = 12 * 3600.0
"""Within one drive. Our choice: a shakedown drive is over within a working day."""
_LEAST_STEP_S = 1e-3
_LEAST_FIXES = 10
_EDGE_SD = 0.02  # m/s, of a reading near zero beside the clamp


@dataclass(frozen=True)
class Screened:
    """The usable fixes of one log. Arrays are [n], on the same times as `observed`."""

    start_unix_s: float  # of the first usable fix; times are counted from it
    used: Ints  # indices into the log's arrays
    observed: Observed
    source: Literal["doppler", "position"]
    east_m: Floats  # NaN where the log gives no believable position
    north_m: Floats
    altitude_m: Floats
    course_deg: Floats  # as the receiver reports it, NaN where it does not
    speed_step_mps: float  # rounding of the speeds in the log
    rate_hz: float
    rejected: Mapping[str, Loss]
    lost: Mapping[str, Ints] = field(default_factory=dict)  # indices into the log, by reason

    @property
    def time_s(self) -> Floats:
        """[n], seconds since the first usable fix."""
        return self.observed.knots.time_s


def screen(log: GpsLog) -> Screened:
    """Return what can be used of `log`; raises InputError when that is too little to go on."""
    doppler = _has_doppler(log)
    faults = _faults(log, doppler)
    good = np.ones(log.time_s.size, dtype=bool)
    lost: dict[str, Ints] = {}
    for reason, bad in faults:
        fresh = np.flatnonzero(bad & good)
        if fresh.size:
            lost[reason] = fresh
            good[fresh] = False
    rejected = {reason: Loss(at.size, f"fix {at[0] + 1}") for reason, at in lost.items()}
    used = np.flatnonzero(good)
    if used.size < _LEAST_FIXES:
        why = "".join(f", {at.size} with {reason}" for reason, at in lost.items())
        count = "1 usable fix" if used.size == 1 else f"{used.size} usable fixes"
        found = f"only {count} of {log.time_s.size}{why}"
        raise InputError(log.name, "", found, f"at least {_LEAST_FIXES} fixes of a moving car")
    time = log.time_s[used] - log.time_s[used[0]]
    east, north = local_metres(log.latitude_deg[used], log.longitude_deg[used])
    step = speed_step(log.speed_mps[used]) if doppler else 0.0
    if doppler:
        observed = _speeds(time, log.speed_mps[used], step)
    else:
        observed = _positions(time, np.array([east, north]))
    return Screened(
        start_unix_s=float(log.time_s[used[0]]),
        used=used,
        observed=observed,
        source="doppler" if doppler else "position",
        east_m=east,
        north_m=north,
        altitude_m=log.altitude_m[used],
        course_deg=log.course_deg[used],
        speed_step_mps=step,
        rate_hz=float(1.0 / np.median(np.diff(time))),
        rejected=rejected,
        lost=lost,
    )


def _has_doppler(log: GpsLog) -> bool:
    """Return whether the log's own speeds are the better source: they are on half of its fixes."""
    count = int(np.count_nonzero(np.isfinite(log.speed_mps)))
    return count >= _LEAST_FIXES and 2 * count >= log.speed_mps.size


def _faults(log: GpsLog, doppler: bool) -> list[tuple[str, Bools]]:
    """Return what is wrong with which fix [n], worst first."""
    close = np.concatenate([[False], np.diff(log.time_s) < _LEAST_STEP_S])
    faults = [
        ("less than 1 ms after the fix before", close),
        ("half a day and more from the drive", _other_drives(log.time_s)),
    ]
    if doppler:
        faults.append(("speed no car reaches", np.nan_to_num(log.speed_mps) > FASTEST_MPS))
        return faults
    placed = np.isfinite(log.latitude_deg) & np.isfinite(log.longitude_deg)
    faults.append(("no position", ~placed))
    faults.append(("position jump", _jumps(log, placed & ~close)))
    return faults


def _other_drives(time_s: Floats) -> Bools:
    """Return which fixes [n] belong to another drive than the one with the most fixes."""
    drive = np.concatenate([[0], np.cumsum(np.diff(time_s) > LONGEST_BREAK_S)])
    return np.asarray(drive != np.argmax(np.bincount(drive)))


def _jumps(log: GpsLog, good: Bools) -> Bools:
    """Return which good fixes [n] lie where no car gets to and back in time.

    A fix is a jump when the way to it and the way from it both need an impossible speed, while
    the way past it does not.
    """
    jump = np.zeros(good.size, dtype=bool)
    index = np.flatnonzero(good)
    if index.size < 3:
        return jump
    east, north = local_metres(log.latitude_deg[index], log.longitude_deg[index])
    time = log.time_s[index]

    def too_fast(lag: int) -> Bools:
        way = np.hypot(east[lag:] - east[:-lag], north[lag:] - north[:-lag])
        return np.asarray(way > FASTEST_MPS * (time[lag:] - time[:-lag]) + 10.0)

    step, past = too_fast(1), too_fast(2)
    jump[index[1:-1]] = step[:-1] & step[1:] & ~past
    return jump


def _speeds(time: Floats, speed: Floats, step: float) -> Observed:
    """Return the observations of a log with reported speeds.

    While the car comes to rest the chain carries a speed that goes on falling through zero; what
    the car does is the part above zero. So the moment of rest and the deceleration up to it are
    free, and the chain is cut before the first fix at which the car certainly stands.
    """
    standing = standing_by_speed(time, speed)
    rounding = rounding_variance(np.nan_to_num(speed), step)
    values = np.where(standing.still | standing.coming, np.nan, speed)
    values[standing.leaving] = 0.0
    rounding[standing.leaving] = standing.clamp_mps**2 / 3.0 + _EDGE_SD**2
    first = np.flatnonzero(standing.coming[1:] & ~standing.coming[:-1]) + 1
    values[first], rounding[first] = _first_zero(time, speed, first, standing)
    cut = standing.coming[:-1] & standing.still[1:]
    knots = Knots(time, standing.still, cut)
    return Observed(
        knots, values[None], rounding, with_position=False, clamp_mps=standing.clamp_mps
    )


def _first_zero(
    time: Floats, speed: Floats, first: Ints, standing: Standing
) -> tuple[Floats, Floats]:
    """Return mean and variance of the falling speed at the `first` readings about zero.

    It lies between what is left when the reading drops to zero and what the car would have come
    to, had it gone on slowing since the reading before: a rectangular distribution.
    """
    before = np.maximum(first - 2, 0)
    slowing = (speed[before] - speed[first - 1]) / np.maximum(time[first - 1] - time[before], 1e-3)
    high = max(standing.level_mps, standing.clamp_mps)
    low = -np.maximum(np.nan_to_num(slowing), 1.0) * (time[first] - time[first - 1])
    return 0.5 * (high + low), (high - low) ** 2 / 12.0


def _positions(time: Floats, places: Floats) -> Observed:
    """Return the observations of a log with positions [2, n] only."""
    standing = standing_by_position(time, places[0], places[1])
    knots = Knots(time, standing.still, np.zeros(time.size - 1, dtype=bool))
    return Observed(knots, places, np.zeros(time.size), with_position=True)
