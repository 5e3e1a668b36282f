"""What altitudes say of the coasts' road whenever else the car went over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.stretch import Stretch
from roadtest.measures.windows import ALTITUDE_WHITE_M, JUMP_M, STEEPEST

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

_NEAR_M: Final = 200.0  # of a run's path: over less, heights are alike on any road (our choice)
_WINDOW_S: Final = 4.0
_MOST_WINDOWS: Final = 120
_BREAK_S: Final = 10.0  # after a longer gap the satellites may be others (our choice)
_PATH_EVERY: Final = 10  # of a run's points: 2 s


@dataclass(frozen=True)
class Passes:
    """Mean altitudes over w windows of time on the coasts' road, none of them in a coast.

    `breaks_s` are moments at which the log's altitudes may have come to stand on another zero.
    """

    ends_s: Floats  # [w, 2], first and last fix
    east_m: Floats  # [w, 2], there
    north_m: Floats  # [w, 2]
    altitude_m: Floats  # [w]
    variance: Floats  # [w], white part
    breaks_s: Floats


def passes_over(evidence: Evidence, runs: Sequence[Stretch]) -> Passes:
    """Return the altitudes seen near the paths of `runs`, those in the runs themselves left out."""
    time = evidence.gps.time_s - evidence.start_unix_s
    altitude, ground = evidence.gps.altitude_m, evidence.ground
    east, north = (
        np.interp(time, ground.time_s, row, np.nan, np.nan)
        for row in (ground.east_m, ground.north_m)
    )
    seen = np.flatnonzero(np.isfinite(altitude) & np.isfinite(east))
    time, altitude, east, north = (row[seen] for row in (time, altitude, east, north))
    breaks = _breaks(time, altitude, east, north)
    begun, over = (
        np.searchsorted(np.sort([run.time_s[at] for run in runs]), time) for at in (0, -1)
    )
    ends = _windows(time, begun + over)
    ends = ends[(begun == over)[ends[:, 0]]]  # runs may overlap
    ends = ends[_near(east[ends], north[ends], runs)]
    ends = ends[:: 1 + ends.shape[0] // _MOST_WINDOWS]
    total = np.concatenate([[0.0], np.cumsum(altitude)])
    count = ends[:, 1] + 1 - ends[:, 0]
    return Passes(
        ends_s=time[ends],
        east_m=east[ends],
        north_m=north[ends],
        altitude_m=(total[ends[:, 1] + 1] - total[ends[:, 0]]) / count,
        variance=ALTITUDE_WHITE_M**2 / count,
        breaks_s=breaks,
    )


def _windows(time_s: Floats, driven: Ints) -> Ints:
    """Return the first and last fix [w, 2] of windows that end where a run begins or ends."""
    number = np.floor(time_s / _WINDOW_S)
    new = (np.diff(number, prepend=-1.0) != 0.0) | (np.diff(driven, prepend=-1) != 0)
    first = np.flatnonzero(new)
    return np.stack([first, np.append(first, time_s.size)[1:] - 1], axis=1)


def _near(east_m: Floats, north_m: Floats, runs: Sequence[Stretch]) -> Bools:
    """Return which windows [w] lie near the path of a run with both ends [w, 2]."""
    near = np.zeros(east_m.shape[0], dtype=np.bool_)
    for run in runs:
        path = run.east_m[::_PATH_EVERY], run.north_m[::_PATH_EVERY]
        gap = np.hypot(east_m[:, :, None] - path[0], north_m[:, :, None] - path[1])
        near |= (gap.min(axis=2) < _NEAR_M).all(axis=1)
    return near


def _breaks(time_s: Floats, altitude_m: Floats, east_m: Floats, north_m: Floats) -> Floats:
    """Return the moments after a gap, and after a step that no road makes."""
    walked = np.hypot(np.diff(east_m), np.diff(north_m))
    step = np.abs(np.diff(altitude_m)) > STEEPEST * walked + JUMP_M
    return time_s[1:][step | (np.diff(time_s) > _BREAK_S)]
