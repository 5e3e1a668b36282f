"""When the car stands: then its speed is known exactly, whatever the receiver says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

EDGE_S = 1.0
"""Of standing, at either end, in which a reading near zero may still belong to a rolling car:
receivers smooth their speed over up to a second and more."""
_LEAST_REST_S = 1.5
_LIVELIEST_MPS2 = 5.0
"""A car that stands is not faster than this times half the time in which it stands again: a good
start is 4 m/s² (our choice). Anything more is a reading gone wrong."""
_MOST_CLAMP_MPS = 2.5
_MEAN_S = 4.0
_STILL_WAY_M = 2.5
"""A position error that wanders by 3 m over a minute moves its 4 s means by 1 m; a car crawling at
0.7 m/s moves them by 2.8 m. Slower than that for 8 s and more counts as standing (our choice)."""


@dataclass(frozen=True)
class Standing:
    """Where the log says the car stands. Arrays are [n].

    A standing stretch has three parts: `coming` to rest, `still`, `leaving`.
    """

    still: Bools  # certainly standing: speed is zero
    coming: Bools  # the reading is about zero for the first time; the car may still roll
    leaving: Bools  # the reading is still about zero; the car may have begun to roll
    level_mps: float  # readings up to here are about zero
    clamp_mps: float  # below this the receiver may write zero for a rolling car


def standing_by_speed(time_s: Floats, speed_mps: Floats) -> Standing:
    """Return where the car stands, from reported speeds [n] (NaN where there is none)."""
    seen = np.isfinite(speed_mps)
    level = _rest_level(speed_mps[seen])
    # A fix without speed stands where its neighbours in time do.
    shown = np.interp(time_s, time_s[seen], speed_mps[seen])
    low = shown <= level
    for start, end in _runs(~low):
        if start > 0 and end < low.size:
            half_s = 0.5 * (time_s[end] - time_s[start - 1])
            low[start:end] = shown[start:end].max() > level + _LIVELIEST_MPS2 * half_s
    still, coming, leaving = (np.zeros(low.size, dtype=bool) for _ in range(3))
    for start, end in _runs(low):
        time = time_s[start:end]
        length = time[-1] - time[0]
        if length < _LEAST_REST_S:
            leaving[start:end] = True
            continue
        edge = min(EDGE_S, length / 3.0)
        if start > 0:
            coming[start:end] = time < time[0] + edge
        if end < low.size:
            leaving[start:end] = time > time[-1] - edge
        still[start:end] = ~coming[start:end] & ~leaving[start:end]
    return Standing(still, coming, leaving, level, _clamp(speed_mps[seen]))


def standing_by_position(time_s: Floats, east_m: Floats, north_m: Floats) -> Standing:
    """Return where the car stands, from positions [n].

    It stands where the mean places of the seconds before and after a moment are no further apart
    than a wandering position error takes them, for 8 s and more; a shorter excursion in between is
    taken for error as well.
    """
    before, after = _mean_places(time_s, east_m, north_m)
    apart = np.hypot(after[0] - before[0], after[1] - before[1])
    low = apart < _STILL_WAY_M
    for start, end in _runs(~low):
        inside = start > 0 and end < low.size
        brief = time_s[end - 1] - time_s[start] < _MEAN_S
        if inside and brief and apart[start:end].max() < 2.0 * _STILL_WAY_M:
            low[start:end] = True
    still = np.zeros(low.size, dtype=bool)
    for start, end in _runs(low):
        if time_s[end - 1] - time_s[start] >= 2.0 * _MEAN_S:
            still[start:end] = True
    none = np.zeros(low.size, dtype=bool)
    return Standing(still, none, none, 0.0, 0.0)


def _mean_places(
    time_s: Floats, east_m: Floats, north_m: Floats
) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Return the mean place [n] of the seconds before, and of those after, each moment."""
    here = np.arange(time_s.size)
    first = np.searchsorted(time_s, time_s - _MEAN_S, "left")
    last = np.searchsorted(time_s, time_s + _MEAN_S, "right")

    def mean(values: Floats, start: Ints, end: Ints) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(values)])
        return np.asarray((total[end] - total[start]) / (end - start))

    return (
        (mean(east_m, first, here + 1), mean(north_m, first, here + 1)),
        (mean(east_m, here, last), mean(north_m, here, last)),
    )


def _rest_level(speed: Floats) -> float:
    """Return the reading, m/s, below which the car may be standing.

    Four times the scatter of readings from one to the next (taken as the smaller half of it, for
    the larger half is driving), at least 0.15 and at most 0.7.
    """
    if speed.size < 3:
        return 0.15
    bend = np.abs(np.diff(speed, 2))
    bend = bend[(speed[2:] > 1.0) & (speed[:-2] > 1.0)]
    if bend.size == 0:
        return 0.15
    # Second differences of white noise have √6 times its deviation; 0.3186 is the normal quartile.
    scatter = float(np.quantile(bend, 0.25)) / 0.3186 / np.sqrt(6.0)
    return float(np.clip(4.0 * scatter, 0.15, 0.7))


def _clamp(speed: Floats) -> float:
    """Return the smallest moving speed of a receiver that writes zero when slow; else about 0."""
    zeros = np.count_nonzero(speed == 0.0)
    small = np.count_nonzero((speed > 0.0) & (speed < 0.15))
    if zeros == 0 or small > zeros:
        return 0.0
    moving = speed[speed > 0.0]
    return float(min(moving.min(), _MOST_CLAMP_MPS)) if moving.size else _MOST_CLAMP_MPS


def _runs(mask: Bools) -> list[tuple[int, int]]:
    """Return start and end (exclusive) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return list(zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True))
