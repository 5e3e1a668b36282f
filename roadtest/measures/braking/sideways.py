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
_PARTS = 8  # of the time before the stop, in which the road's bend may change


@dataclass(frozen=True)
class Sideways:
    """Figures of straightness in c draws, [c] each."""

    drift_m: Floats
    heading_change_rad: Floats
    distance_m: Floats  # from the beginning to rest
    approach_m: Floats  # half of the line of approach: it lags the heading by so much of a bend
    turned_rad: Floats  # [8, c], in each eighth of the time looked at before the stop ...
    driven_m: Floats  # ... and how far the car went in it


def straightness(path: Path, stop: StopDraws) -> Sideways:
    """Return drift and heading change against the line of approach, the road taken as straight."""
    start, end = stop.onset.time_s, np.minimum(stop.end_s, path.time_s[-1])
    before = start - APPROACH_S
    aside = np.diff([rows_at(path.time_s, path.aside_m, t) for t in (before, start, end)], axis=0)
    along = np.diff([rows_at(path.time_s, path.along_m, t) for t in (before, start, end)], axis=0)
    line = np.arctan2(aside[0], along[0])
    early = np.maximum(start - BEFORE_S, path.time_s[0])
    way = [rows_at(path.time_s, path.way_m, t) for t in (before, start, end)]
    edges = [early + share * (start - early) for share in np.linspace(0.0, 1.0, _PARTS + 1)]
    turned, driven = (
        np.diff([rows_at(path.time_s, rows, t) for t in edges], axis=0)
        for rows in (path.heading_rad, path.way_m)
    )
    return Sideways(
        drift_m=aside[1] * np.cos(line) - along[1] * np.sin(line),
        heading_change_rad=rows_at(path.time_s, path.heading_rad, end) - line,
        distance_m=way[2] - way[1],
        approach_m=0.5 * (way[1] - way[0]),
        turned_rad=turned,
        driven_m=driven,
    )


def rows_at(time: Floats, values: Floats, at: Floats) -> Floats:
    """Return each row of `values` [c, m] at its own time [c]."""
    return np.array([np.interp(t, time, row) for t, row in zip(at, values, strict=True)])
