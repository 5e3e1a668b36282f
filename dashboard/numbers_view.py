"""A chart's figures as a table, for whoever reads better than they see."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from dash import html

from dashboard.aria import aria, data
from roadtest.charts.model import Axis, Bars, Chart, Level, Line, Mark, Panel, Points, Slope, Span
from roadtest.quantity import Floats
from roadtest.wording import clock_text, number_text

MOST_POINTS: Final = 30  # of one kind, each told; of more, from where to where they are
_LINE_ROWS: Final = 9  # told of a line, evenly spread

Row = tuple[str, str, str]
Table = dict[str, str | list[Row]]


def numbers_of(chart: Chart) -> Any:
    """Return the figures of a chart, folded away: what stands where, a table for each panel.

    They are data, of which the browser makes tables once opened (assets/charts.js): cells by the
    hundred as components of the page slow it down, measured, fivefold.
    """
    tables = [_table(chart, panel) for panel in chart.panels]
    summary = html.Summary("Figures", **aria(label=f"Figures of the chart {chart.title}"))
    return html.Details([summary], className="numbers", **data(tables=json.dumps(tables)))


def _table(chart: Chart, panel: Panel) -> Table:
    heads = ("What", chart.x.title_text, panel.y.title_text)
    rows = [row for mark in panel.marks for row in _rows(mark, chart.x, panel.y)]
    caption = panel.title or panel.y.title or chart.title
    return {"caption": caption, "rows": [heads, *rows]}


def _rows(mark: Mark, x: Axis, y: Axis) -> Iterator[Row]:
    if isinstance(mark, Points):
        yield from _points(mark, x, y)
    elif isinstance(mark, Bars):
        for name, length in zip(mark.names, mark.length.tolist(), strict=False):
            yield name, _said(length, x), ""
    elif isinstance(mark, Line):
        good = np.flatnonzero(np.isfinite(mark.x) & np.isfinite(mark.y))
        if good.size:
            told = good[np.unique(np.linspace(0, good.size - 1, _LINE_ROWS).astype(int))]
            for row in told.tolist():
                yield _name(mark), _said(mark.x[row], x), _said(mark.y[row], y)
    elif isinstance(mark, Level) and mark.label:
        along_y = mark.axis == "y"
        said = _said(mark.value, y if along_y else x)
        yield mark.label, "" if along_y else said, said if along_y else ""
    elif isinstance(mark, Slope) and mark.label:
        yield mark.label, "", f"{number_text(mark.slope, 4)} for each 1 of {x.title.lower()}"
    elif isinstance(mark, Span) and mark.manoeuvre:
        yield mark.manoeuvre, f"{_said(mark.start, x)} to {_said(mark.end, x)}", ""


def _points(mark: Points, x: Axis, y: Axis) -> Iterator[Row]:
    if mark.x.size > MOST_POINTS:
        yield f"{mark.label}, {mark.x.size} points", _ends(mark.x, x), _ends(mark.y, y)
        return
    for row in range(mark.x.size):
        what = mark.names[row] if mark.names else mark.label
        at = _said(mark.x[row], x, mark.x_u95, row), _said(mark.y[row], y, mark.y_u95, row)
        yield (what, *at)


def _name(mark: Line) -> str:
    return mark.label or mark.manoeuvre or "line"


def _ends(values: Floats, axis: Axis) -> str:
    return f"{_said(np.nanmin(values), axis)} to {_said(np.nanmax(values), axis)}"


def _said(value: float, axis: Axis, u95: Floats | None = None, row: int = 0) -> str:
    label = dict(axis.labels).get(float(value))
    if label is not None:
        return label
    if axis.scale == "clock":
        return clock_text(float(value))
    known = u95 is not None and bool(np.isfinite(u95[row]))
    half = f" ± {number_text(float(u95[row]), 2)}" if u95 is not None and known else ""
    return f"{number_text(float(value), 4)}{half}" if np.isfinite(value) else ""
