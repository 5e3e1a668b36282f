"""Straightness of a stop: drift from the line of approach, and change of heading.

The line of approach is that of the last second before the stop. Where the road bends, the line is
carried on as the arc that the road is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.braking.courses import BEFORE_S
from roadtest.measures.braking.lateral import Path
from roadtest.measures.braking.stop import StopDraws

Floats = NDArray[np.float64]

APPROACH_S = 1.0  # formats: the line of approach is that of the last second before the stop


@dataclass(frozen=True)
class Sideways:
    """Figures of straightness in c draws, [c] each."""

    drift_m: Floats
    heading_change_rad: Floats
    distance_m: Floats  # from the beginning to rest
    approach_m: Floats  # half of the line of approach: it lags the heading by so much of a bend
    curvature_pm: Floats  # of the road before the stop


def straightness(path: Path, stop: StopDraws) -> Sideways:
    """Return drift and heading change against the line of approach, the road taken as straight."""
    start, end = stop.onset.time_s, np.minimum(stop.end_s, path.time_s[-1])
    before = start - APPROACH_S
    way0, way1, way2 = (np.interp(t, path.time_s, path.way_m) for t in (before, start, end))
    side0, side1, side2 = (_rows(path.time_s, path.aside_m, t) for t in (before, start, end))
    line = (side1 - side0) / np.maximum(way1 - way0, 1e-6)
    early = np.maximum(start - BEFORE_S, path.time_s[0])
    bent = _rows(path.time_s, path.heading_rad, start) - _rows(path.time_s, path.heading_rad, early)
    length = np.maximum(way1 - np.interp(early, path.time_s, path.way_m), 1e-6)
    return Sideways(
        drift_m=(side2 - side1 - line * (way2 - way1)) / np.sqrt(1.0 + line**2),
        heading_change_rad=_rows(path.time_s, path.heading_rad, end) - np.arctan(line),
        distance_m=way2 - way1,
        approach_m=0.5 * (way1 - way0),
        curvature_pm=bent / length,
    )


def _rows(time: Floats, values: Floats, at: Floats) -> Floats:
    """Return each row of `values` [c, m] at its own time [c]."""
    return np.array([np.interp(t, time, row) for t, row in zip(at, values, strict=True)])
