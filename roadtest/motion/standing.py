"""When the car stands: then its speed is known exactly, whatever the receiver says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

EDGE_S = 1.0
"""Of standing, at either end, in which a reading near zero may still belong to a rolling car:
receivers smooth their speed over up to a second and more."""
_LEAST_REST_S = 1.5
_MOST_CLAMP_MPS = 2.5


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
    low = np.where(seen, speed_mps, np.inf) <= level
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
    """Return where the car stands, from positions [n]: less than 2 m of way in any 5 s, for 8 s."""
    half = 2.5
    ahead = np.interp(time_s + half, time_s, east_m), np.interp(time_s + half, time_s, north_m)
    behind = np.interp(time_s - half, time_s, east_m), np.interp(time_s - half, time_s, north_m)
    low = np.hypot(ahead[0] - behind[0], ahead[1] - behind[1]) < 2.0
    still = np.zeros(low.size, dtype=bool)
    for start, end in _runs(low):
        if time_s[end - 1] - time_s[start] >= 8.0:
            inner = time_s[start:end]
            first = inner[0] + (half if start > 0 else 0.0)
            last = inner[-1] - (half if end < low.size else 0.0)
            still[start:end] = (inner >= first) & (inner <= last)
    none = np.zeros(low.size, dtype=bool)
    return Standing(still, none, none, 0.0, 0.0)


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
