"""Fewer points for the same picture: what a screen or a page can show, extremes never lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.charts.model import Band, Chart, Line, Mark
from roadtest.quantity import Floats

MOST: Final = 2000  # points of one line: about the pixels across a screen


def reduce(x: Floats, y: Floats, most: int = MOST) -> tuple[Floats, Floats]:
    """Return at most `most` of the points x, y ([n] float), which look like all of them.

    Each of equally large runs of points keeps its lowest, its highest and its first, in order. The
    first and last point are kept, and at least one NaN of every run that has one, so a gap stays a
    gap. The largest and the smallest y of the whole are always kept.
    """
    rows = rows_to_keep((y,), most)
    return x[rows], y[rows]


def rows_to_keep(curves: Sequence[Floats], most: int = MOST) -> NDArray[np.intp]:
    """Return the rows ([m], rising) of `curves` ([n] float each) to keep; see `reduce`."""
    size = curves[0].size
    each = 3 * len(curves) + 1  # from one run: first, and of each curve lowest, highest, a gap
    if size <= most:
        return np.arange(size)
    runs = max((most - 1) // each, 1)
    edges = np.linspace(0, size, runs + 1).astype(np.intp)
    kept = [edges[:-1], np.array([size - 1], dtype=np.intp)]
    for curve in curves:
        missing = ~np.isfinite(curve)
        low, high = np.where(missing, np.inf, curve), np.where(missing, -np.inf, curve)
        kept += [_first_of(low == _over(np.minimum, low, edges), edges)]
        kept += [_first_of(high == _over(np.maximum, high, edges), edges)]
        kept += [_first_of(missing, edges)]
    return np.unique(np.concatenate(kept))


def _over(ufunc: np.ufunc, values: Floats, edges: NDArray[np.intp]) -> Floats:
    """Return `ufunc` taken over each run of `values`, for every row of the run."""
    taken: Floats = ufunc.reduceat(values, edges[:-1])
    return np.repeat(taken, np.diff(edges))


def _first_of(true: NDArray[np.bool_], edges: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the first row of each run at which `true` holds; runs without one give none."""
    rows = np.flatnonzero(true)
    run = np.searchsorted(edges, rows, side="right")
    return rows[np.unique(run, return_index=True)[1]]


def reduced(chart: Chart, most: int = MOST, between: tuple[float, float] | None = None) -> Chart:
    """Return the chart with no more than about `most` points a line or band.

    `between` (low and high x) leaves out what lies outside but for the next point on either side,
    for a page that has been zoomed.
    """
    panels = tuple(
        replace(panel, marks=tuple(_reduced_mark(mark, most, between) for mark in panel.marks))
        for panel in chart.panels
    )
    return replace(chart, panels=panels)


def _reduced_mark(mark: Mark, most: int, between: tuple[float, float] | None) -> Mark:
    if isinstance(mark, Line):
        rows = _rows_between(mark.x, between) if mark.time_s is None else np.arange(mark.x.size)
        # A path turns back on itself, so both of its coordinates have extremes to keep.
        curves = (mark.y[rows],) if mark.time_s is None else (mark.x[rows], mark.y[rows])
        rows = rows[rows_to_keep(curves, most)]
        time_s = None if mark.time_s is None else mark.time_s[rows]
        return replace(mark, x=mark.x[rows], y=mark.y[rows], time_s=time_s)
    if isinstance(mark, Band):
        rows = _rows_between(mark.x, between)
        rows = rows[rows_to_keep((mark.low[rows], mark.high[rows]), most)]
        return replace(mark, x=mark.x[rows], low=mark.low[rows], high=mark.high[rows])
    return mark


def _rows_between(x: Floats, between: tuple[float, float] | None) -> NDArray[np.intp]:
    """Return the rows with x between two values, and the next row on either side."""
    if between is None or x.size == 0:
        return np.arange(x.size)
    inside = np.flatnonzero((x >= between[0]) & (x <= between[1]))
    if inside.size == 0:
        before = np.flatnonzero(x < between[0])
        first = int(before[-1]) if before.size else 0
        return np.arange(first, min(first + 2, x.size))
    return np.arange(max(int(inside[0]) - 1, 0), min(int(inside[-1]) + 2, x.size))
