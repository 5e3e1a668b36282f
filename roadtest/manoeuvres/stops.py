"""Stops: where the brakes slowed the car, which of them are brake tests, and why others are not."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from roadtest.manoeuvres.model import Manoeuvre
from roadtest.manoeuvres.onset import brake_onset
from roadtest.manoeuvres.profile import STEP_S, Profile, built_up, crossing, died_down, runs
from roadtest.measures.mfdd import LOWER_SHARE, UPPER_SHARE, mean_fully_developed_deceleration
from roadtest.quantity import COVERAGE_FACTOR_95

Floats = NDArray[np.float64]

SLOWING_MPS2: Final = 0.8
"""More than a car loses by air and rolling alone at any speed on the road (about 0.7)."""
LIFT_MPS2: Final = 1.5
"""Most that lifting the throttle gives, in a low gear. Common practice, no published source."""
TEST_MPS2: Final = 3.0
"""UN R13-H, Annex 3, 1.5.1 [value from memory], has brakes heated by braking at 3 m/s²: everyday
braking, that nobody is judged on. What is gentler says nothing of what the brakes can do."""
SERIES_MPS2: Final = 2.44
"""UN R13-H, Annex 3, 2.2 [value from memory]: the least of a secondary system. Weak or fading
brakes may do no better; braking this hard again and again from one speed is a test."""
SERIES_COUNT: Final = 3
SERIES_FROM_MPS: Final = 40.0 / 3.6  # towns make people stop from lower speeds all the time
LIKE_SHARE: Final = 0.1  # initial speeds of like stops differ by no more
LEAST_INITIAL_MPS: Final = 25.0 / 3.6
"""Below this the rise of deceleration is most of the stop. The lowest speed a published test
starts from is 20 mph (49 CFR 393.52)."""

_LEAST_LISTED_MPS: Final = 4.0  # lost; less is manoeuvring
_SNUB_MPS2: Final = 2.5  # a slowing for a bend or a queue is no braking manoeuvre
_PAUSE_S: Final = 1.5  # foot off the brake for longer: two brakings
_EASED_SHARE: Final = 0.5  # of the plateau; a fading brake does not lose as much within a stop
_DROPPED_SHARE: Final = 0.7  # of what it was just before: a fading brake loses that much slowly
_DROPPED_S: Final = 0.8
_MIDDLE_SHARE: Final = 0.35  # of the initial speed: below it a receiver's smoothing looks the same
_SURE: Final = 1.96
_SETTLED_S: Final = 0.5  # from the onset to full braking, at the latest


@dataclass(frozen=True)
class Braking:
    """One slowing by the brakes, as found."""

    start_s: float
    end_s: float
    initial_mps: float
    mean_mps2: float  # fully developed, from 0.8 of the initial speed
    to_rest: bool
    fault: str | None  # why it can't be measured, gentleness aside


def find_stops(profile: Profile) -> list[Manoeuvre]:
    """Return every braking in the order driven, ids still to be given."""
    slope = profile.slope_mps2
    found: list[Braking] = []
    for run in _slowings(profile, slope):
        braking = _braking(profile, *run)
        if braking and found:
            if _leads_to(found[-1], braking):
                found.pop()  # told of by the harder one: already braking
            else:
                braking = replace(braking, start_s=max(braking.start_s, found[-1].end_s))
        if braking:
            found.append(braking)
    return [_judged(braking, found) for braking in found]


def _slowings(profile: Profile, slope: Floats) -> list[tuple[int, int]]:
    """Return the runs of slowing; two brakings with a short pause between are one."""
    merged: list[tuple[int, int]] = []
    for start, end in runs((slope < -SLOWING_MPS2) & (profile.speed_mps > 0.0)):
        if merged and _one_braking(profile, slope, merged[-1], (start, end)):
            merged[-1] = (merged[-1][0], end)
        else:
            merged.append((start, end))
    return [part for run in merged for part in _parts(slope, *run)]


def _parts(slope: Floats, first: int, last: int) -> list[tuple[int, int]]:
    """Return a run cut where the foot was off its plateau for long, before, after or between."""
    decel = -slope[first:last]
    low = decel < _EASED_SHARE * _plateau(decel)
    long = [run for run in runs(low) if (run[1] - run[0]) * STEP_S > _PAUSE_S]
    if not long:
        return [(first, last)]
    ends = sorted({0, decel.size, *(end for run in long for end in run)})
    return [
        part
        for start, end in itertools.pairwise(ends)
        for part in (
            _parts(slope, first + start, first + end)
            if (start, end) not in long
            else [(first + start, first + end)]
        )
    ]


def _one_braking(
    profile: Profile, slope: Floats, one: tuple[int, int], other: tuple[int, int]
) -> bool:
    """Return whether two runs of slowing are one braking that was eased for a moment."""
    before, after = one[1], other[0]
    if (after - before) * STEP_S > _PAUSE_S:
        return False
    pause = profile.speed_mps[before - 1 : after + 1]
    if pause.max() > pause[0] + 0.5 or pause.min() < 0.5:  # sped up, or stood
        return False
    return _plateau(-slope[slice(*one)]) > _EASED_SHARE * _plateau(-slope[slice(*other)])


def _braking(profile: Profile, first: int, last: int) -> Braking | None:
    """Return the braking inside the grid points [first, last), None when it is none to list."""
    rest = _rest_after(profile, last - 1)
    lost = profile.speed_mps[first] - (0.0 if rest else profile.speed_mps[last - 1])
    if lost < _LEAST_LISTED_MPS:
        return None
    decel = -profile.slope_mps2[first:last]
    plateau = _plateau(decel)
    if rest is None and plateau < _SNUB_MPS2:
        return None
    half = profile.time_s, -profile.acceleration_mps2, (first, last), 0.5 * plateau
    half_s = built_up(*half)
    end_s = died_down(*half) if rest is None else rest
    start_s = half_s - 0.5 * _SETTLED_S
    if plateau >= SERIES_MPS2 and profile.gap_within(half_s - 2.0, half_s + 1.0) is None:
        start_s = brake_onset(profile.motion, half_s).time_s
    start_s = max(min(start_s, end_s - STEP_S), float(profile.time_s[0]))
    initial = profile.speed_at(start_s)
    braking = Braking(
        start_s=start_s,
        end_s=end_s,
        initial_mps=initial,
        mean_mps2=_developed(profile, start_s, end_s, initial),
        to_rest=rest is not None,
        fault=None,
    )
    return replace(braking, fault=_fault(profile, braking))


def _leads_to(one: Braking, other: Braking) -> bool:
    """Return whether a braking was the first, gentler step of the next."""
    at_once = other.start_s - one.end_s < _SETTLED_S
    return at_once and not one.to_rest and one.mean_mps2 < other.mean_mps2


def _rest_after(profile: Profile, last: int) -> float | None:
    """Return when the car stands, if this slowing brings it there, else None.

    The speed goes on falling as at the last fix before.
    """
    resting = np.flatnonzero(profile.resting[last : last + round(1.0 / STEP_S)])
    if resting.size == 0:
        return None
    motion = profile.motion
    by = float(profile.time_s[last + resting[0]])
    fix = int(np.searchsorted(motion.time_s, by, "right")) - 1
    floor = 3.0 * motion.u_speed_mps
    while fix > 0 and motion.speed_mps[fix] <= max(0.1, float(floor[fix])):
        fix -= 1
    decel = max(-float(motion.acceleration_mps2[fix]), SLOWING_MPS2)
    stands = float(motion.time_s[fix] + motion.speed_mps[fix] / decel)
    following = float(motion.time_s[min(fix + 1, motion.time_s.size - 1)])
    return min(stands, following + 1.0)


def _plateau(decel: Floats) -> float:
    """Return the deceleration above which a third of the speed is lost.

    By speed and not by time, for a long gentle approach to a stop is not its plateau.
    """
    ordered = np.sort(decel)
    lost = np.cumsum(np.maximum(ordered, 0.0))
    return float(ordered[np.searchsorted(lost, 2.0 / 3.0 * lost[-1])])


def _developed(profile: Profile, start_s: float, end_s: float, initial_mps: float) -> float:
    """Return the mean fully developed deceleration; over the whole where it can't be told."""
    part = slice(profile.index(start_s), profile.index(end_s) + 1)
    time, speed = profile.time_s[part], profile.speed_mps[part]
    upper = UPPER_SHARE * initial_mps
    lower = max(LOWER_SHARE * initial_mps, float(speed[-1]))
    begin, finish = (crossing(time, speed, level) for level in (upper, lower + 1e-6))
    distance = np.interp([begin, finish], profile.time_s, profile.distance_m)
    mean = float(mean_fully_developed_deceleration(upper, lower, float(distance[1] - distance[0])))
    if np.isfinite(mean):
        return mean
    return float(initial_mps - speed[-1]) / max(end_s - start_s, STEP_S)


def _fault(profile: Profile, braking: Braking) -> str | None:
    """Return why a braking can't be measured as a stop, the first reason that holds."""
    gap = profile.gap_within(braking.start_s - 1.0, braking.end_s)
    if gap:
        return f"no usable fixes from {gap[0]:.1f} s to {gap[1]:.1f} s"
    if braking.start_s <= profile.time_s[0] + STEP_S:
        return "the log begins during the braking"
    if not braking.to_rest:
        if braking.end_s >= profile.time_s[-1] - STEP_S:
            return "the log ends before the car stands"
        speed = profile.speed_at(braking.end_s)
        return f"brakes let go at {speed:.1f} m/s, not held to rest"
    if braking.initial_mps < LEAST_INITIAL_MPS:
        return (
            f"too slow: from {braking.initial_mps:.1f} m/s, "
            f"at least {LEAST_INITIAL_MPS:.1f} m/s needed"
        )
    eased = _eased(profile, braking)
    if eased is not None:
        return f"interrupted: pedal eased at {eased:.1f} s"
    early = _early_mps2(profile, braking.start_s)
    if early > max(LIFT_MPS2, 0.3 * braking.mean_mps2):
        return f"already braking at {early:.1f} m/s² or more before full braking"
    return None


def _early_mps2(profile: Profile, start_s: float) -> float:
    """Return the least deceleration (95 %) over the last second but a half before the onset."""
    low, high = start_s - 1.5, start_s - 0.5
    u_speed = float(profile.u_speed_mps[profile.index(low)])
    slope = (profile.speed_at(high) - profile.speed_at(low)) / (high - low)
    return -slope - COVERAGE_FACTOR_95 * math.sqrt(2.0) * u_speed / (high - low)


def _eased(profile: Profile, braking: Braking) -> float | None:
    """Return when the deceleration fell well below its plateau before rest, or None."""
    first = profile.index(braking.start_s + _SETTLED_S)
    last = profile.index(braking.end_s)
    fast = profile.speed_mps[first:last] > 1.5 * LOWER_SHARE * braking.initial_mps
    decel = -profile.slope_mps2[first:last][fast]
    if decel.size < 3:
        return None
    plateau = float(np.median(decel))
    u_decel = profile.u_acceleration_mps2[first:last][fast]
    built = np.maximum.accumulate(decel) >= 0.8 * plateau
    eased = built & (decel + u_decel < _EASED_SHARE * plateau)
    before = round(_DROPPED_S / STEP_S)
    padded = np.concatenate([np.full(before, -np.inf), decel])
    held = sliding_window_view(padded, before + 1).max(axis=1)
    middle = profile.speed_mps[first:last][fast] > _MIDDLE_SHARE * braking.initial_mps
    dropped = decel + _SURE * u_decel < _DROPPED_SHARE * np.minimum(held, 1.1 * plateau)
    low = np.flatnonzero(eased | (built & middle & dropped))
    return float(profile.time_s[first:last][fast][low[0]]) if low.size else None


def _judged(braking: Braking, others: Sequence[Braking]) -> Manoeuvre:
    """Return the stop with the reason why it is not used, if any."""
    why = braking.fault
    if why is None and braking.mean_mps2 < TEST_MPS2 and not _in_series(braking, others):
        why = (
            f"gentle: {braking.mean_mps2:.1f} m/s² fully developed; below {TEST_MPS2:g} m/s² "
            "a stop is everyday braking, not a brake test"
        )
    return Manoeuvre(
        id="",
        kind="stop",
        start_s=braking.start_s,
        end_s=braking.end_s,
        to_rest=braking.to_rest,
        used=why is None,
        why_not=why,
    )


def _in_series(braking: Braking, others: Sequence[Braking]) -> bool:
    """Return whether a stop is one of several like ones (itself counted), braked in earnest."""
    like = [
        other
        for other in others
        if other.fault is None
        and other.mean_mps2 >= SERIES_MPS2
        and other.initial_mps >= SERIES_FROM_MPS
        and abs(other.initial_mps - braking.initial_mps) <= LIKE_SHARE * braking.initial_mps
    ]
    return braking in like and len(like) >= SERIES_COUNT
