"""A stop from above: its place aside of the line of approach, along the way from its beginning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.braking.lateral import Path
from roadtest.measures.braking.sideways import APPROACH_S, rows_at
from roadtest.measures.braking.stop import StopDraws
from roadtest.quantity import COVERAGE_FACTOR_95

Floats = NDArray[np.float64]

_STEPS = 60


@dataclass(frozen=True)
class FromAbove:
    """[k] each: where the car was aside of its line (to the right positive), and how sure it is."""

    way_m: Floats  # from the beginning of braking
    aside_m: Floats
    u95_m: Floats


def from_above(path: Path, stop: StopDraws, curvature_pm: Floats | None) -> FromAbove:
    """Return the path of a stop against its line of approach, as `sideways.straightness` has it.

    With a curvature [c] the line is carried on as the arc that the road is. Draws are put together
    at like shares of their own ways, so that the path ends where all of them end.
    """
    start = stop.onset.time_s
    end = np.minimum(stop.end_s, path.time_s[-1])
    way0, way1, way2 = (
        rows_at(path.time_s, path.way_m, t) for t in (start - APPROACH_S, start, end)
    )
    typical = float(np.nanmedian(way2 - way1))
    ways = np.where(np.isfinite(way2 - way1), way2 - way1, typical)
    share = np.linspace(0.0, 1.0, _STEPS)
    bend = np.zeros(start.size) if curvature_pm is None else curvature_pm
    rows = np.full((start.size, _STEPS), np.nan)
    for c, aside in enumerate(path.aside_m):
        at0, at1 = np.interp([start[c] - APPROACH_S, start[c]], path.time_s, aside)
        grid = share * ways[c]
        line = (at1 - at0) / max(way1[c] - way0[c], 1e-6)
        across = np.interp(way1[c] + grid, path.way_m[c], aside) - at1 - line * grid
        ahead, half = bend[c] * 0.5 * (way1[c] - way0[c]), 0.5 * bend[c] * grid
        arc = grid * np.sinc(half / np.pi) * np.sin(ahead + half)
        rows[c] = across / np.sqrt(1.0 + line**2) - arc
    return FromAbove(
        typical * share, rows.mean(axis=0), COVERAGE_FACTOR_95 * rows.std(axis=0, ddof=1)
    )
