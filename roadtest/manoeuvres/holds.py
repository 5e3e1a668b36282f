"""Holds: stretches at one speed, long enough to read a dial."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres.model import Manoeuvre
from roadtest.manoeuvres.profile import STEP_S, Profile, runs

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_MPS: Final = 8.0  # dials are not read below 20 mph, nor are they wrong by more than a tenth
LEAST_S: Final = 5.0  # to settle, read the dial and say it; common practice, no published source
TOWN_MPS: Final = 50.0 / 3.6
TOWN_S: Final = 10.0
"""In town everyone drives steadily for some seconds. Slower than 50 km/h a stretch counts as held
on purpose from here on, or when somebody noted what the dial said."""
MOST_RANGE_MPS: Final = 4.0 * 0.44704
"""± 2 mph, one division of most dials either way: a needle that wanders further is not held."""
SHORT_S: Final = 8.0
SHORT_RANGE_MPS: Final = 2.0 * 0.44704
"""± 1 mph, half a division: a hold shorter than `SHORT_S` gives the eye less time to average."""
READING_S: Final = 5.0  # how far off the noted time of a reading may be (95 %)
_LISTED_S: Final = 2.0
_STEADY_MPS2: Final = 0.25  # of slope over two seconds: half a mile an hour a second
_EDGE_MPS: Final = 0.1  # beyond the speeds of a hold, it has not begun or is over


def find_holds(profile: Profile, free: Bools, readings_s: Sequence[float] = ()) -> list[Manoeuvre]:
    """Return every hold in the order driven, ids still to be given.

    `free` [n]: True where the time belongs to no other manoeuvre. `readings_s`: when somebody
    noted what the dial said.
    """
    clear = free & ~profile.gap
    found: list[tuple[int, int]] = []
    for first, last in runs(_steady(profile) & clear & (profile.speed_mps > LEAST_MPS)):
        found += _stretches(profile, first, last)
    holds: list[Manoeuvre] = []
    done = 0
    for k, run in enumerate(found):
        following = found[k + 1][0] if k + 1 < len(found) else free.size
        first, done = _widened(profile, run, (done, following), clear)
        holds.append(_hold(profile, first, done, readings_s))
    return holds


def _steady(profile: Profile) -> Bools:
    half = profile.long_s
    allow = profile.u_speed_mps / half
    return np.asarray(np.abs(profile.slope(half)) < _STEADY_MPS2 + allow)


def _stretches(profile: Profile, first: int, last: int) -> list[tuple[int, int]]:
    """Return the stretches within limits in a steady run: the longest, and those beside it."""
    if (last - first) * STEP_S < _LISTED_S:
        return []
    start, end = longest_within(profile.speed_mps[first:last], _range(profile, first, last))
    start, end = start + first, end + first
    return [*_beside(profile, first, start), (start, end), *_beside(profile, end, last)]


def _beside(profile: Profile, first: int, last: int) -> list[tuple[int, int]]:
    """Return the stretches in what is left of a steady run; a short rest is the way there."""
    return _stretches(profile, first, last) if (last - first) * STEP_S >= SHORT_S else []


def _widened(
    profile: Profile, run: tuple[int, int], limits: tuple[int, int], free: Bools
) -> tuple[int, int]:
    """Return a stretch made longer while the car still holds its speed.

    Steadiness looks a second or more about each point, so a run of it ends early at either end.
    """
    first, last = run
    reach = round(profile.long_s / STEP_S)
    low, high = max(first - reach, limits[0]), min(last + reach, limits[1])
    speed = profile.speed_mps[low:high]
    inside = profile.speed_mps[first:last]
    out = (speed < inside.min() - _EDGE_MPS) | (speed > inside.max() + _EDGE_MPS)
    fast = np.abs(profile.slope_mps2[low:high]) > 2.0 * _STEADY_MPS2 + profile.u_speed_mps[low:high]
    stop = np.flatnonzero(out | fast | ~free[low:high]) + low
    before, after = stop[stop < first], stop[stop >= last]
    return (
        int(before[-1]) + 1 if before.size else low,
        int(after[0]) if after.size else high,
    )


def _range(profile: Profile, first: int, last: int) -> float:
    """Return how far apart a hold's speeds may seem: what they may be, and what is not known."""
    return MOST_RANGE_MPS + _unknown(profile, first, last)


def _unknown(profile: Profile, first: int, last: int) -> float:
    """Return how much wider the range of the speeds looks for not being known exactly."""
    return 2.0 * float(np.median(profile.u_speed_mps[first:last]))


def longest_within(values: Floats, most_range: float) -> tuple[int, int]:
    """Return start and end (exclusive) of the longest stretch whose values span no more."""
    highest: deque[int] = deque()
    lowest: deque[int] = deque()
    numbers = values.tolist()
    best, start = (0, 0), 0
    for k, value in enumerate(numbers):
        while highest and numbers[highest[-1]] <= value:
            highest.pop()
        while lowest and numbers[lowest[-1]] >= value:
            lowest.pop()
        highest.append(k)
        lowest.append(k)
        while numbers[highest[0]] - numbers[lowest[0]] > most_range:
            start += 1
            if highest[0] < start:
                highest.popleft()
            if lowest[0] < start:
                lowest.popleft()
        if k + 1 - start > best[1] - best[0]:
            best = (start, k + 1)
    return best


def _hold(profile: Profile, first: int, last: int, readings_s: Sequence[float]) -> Manoeuvre:
    start, end = float(profile.time_s[first]), float(profile.time_s[last - 1])
    noted = any(start - READING_S <= time <= end + READING_S for time in readings_s)
    why = _why_not(profile, first, last, noted=noted)
    return Manoeuvre(id="", kind="hold", start_s=start, end_s=end, used=why is None, why_not=why)


def _why_not(profile: Profile, first: int, last: int, *, noted: bool) -> str | None:
    speed = profile.speed_mps[first:last]
    start, end = float(profile.time_s[first]), float(profile.time_s[last - 1])
    seconds = end - start
    if seconds < LEAST_S:
        return f"too short: {seconds:.1f} s, at least {LEAST_S:g} s needed to read a dial"
    if seconds < TOWN_S and speed.mean() < TOWN_MPS and not noted:
        return (
            f"too short for so low a speed: {seconds:.1f} s, at least {TOWN_S:g} s needed below "
            f"{TOWN_MPS:.1f} m/s to tell it from driving in town"
        )
    wander = float(np.ptp(speed))
    if seconds < SHORT_S and wander > SHORT_RANGE_MPS + _unknown(profile, first, last):
        return (
            f"wandered over {wander:.1f} m/s, at most {SHORT_RANGE_MPS:.1f} m/s in less than "
            f"{SHORT_S:g} s"
        )
    return None
