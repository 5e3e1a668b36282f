"""A chart with one manoeuvre brought out, for whoever follows a finding to what shows it."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.charts.model import Band, Chart, Line, Mark, Points, Span
from roadtest.quantity import Floats

_STRONG: Final = 2.0
_FAINT: Final = 0.5


def focused(chart: Chart, manoeuvre: str) -> Chart:
    """Return `chart` with what belongs to `manoeuvre` drawn stronger and the rest fainter.

    A chart that does not show it comes back as it is.
    """
    if manoeuvre not in chart.manoeuvres:
        return chart
    panels = tuple(
        replace(
            panel,
            marks=tuple(part for mark in panel.marks for part in _focused(mark, manoeuvre)),
        )
        for panel in chart.panels
    )
    return replace(chart, panels=panels, says=f"{chart.says} {manoeuvre} is brought out.")


def _focused(mark: Mark, manoeuvre: str) -> tuple[Mark, ...]:
    if isinstance(mark, Line) and mark.manoeuvre:
        mine = mark.manoeuvre == manoeuvre
        return (replace(mark, width=mark.width * (_STRONG if mine else _FAINT)),)
    if isinstance(mark, Band) and mark.manoeuvre:
        return (mark,) if mark.manoeuvre == manoeuvre else ()
    if isinstance(mark, Span) and mark.manoeuvre:
        return (mark,) if mark.manoeuvre == manoeuvre else (replace(mark, label="", faint=True),)
    if isinstance(mark, Points) and manoeuvre in mark.manoeuvres:
        of_it = np.array([name == manoeuvre for name in mark.manoeuvres])
        strong = replace(_part(mark, of_it), size=mark.size * _STRONG, label="", named=True)
        return (_part(mark, ~of_it), strong)
    return (mark,)


def _part(mark: Points, these: NDArray[np.bool_]) -> Points:
    """Return some of the points."""

    def cut(values: Floats | None) -> Floats | None:
        return None if values is None else values[these]

    rows = np.flatnonzero(these).tolist()
    return replace(
        mark,
        x=mark.x[these],
        y=mark.y[these],
        x_u95=cut(mark.x_u95),
        y_u95=cut(mark.y_u95),
        names=tuple(mark.names[k] for k in rows) if mark.names else (),
        manoeuvres=tuple(mark.manoeuvres[k] for k in rows),
    )


def window(chart: Chart, manoeuvre: str) -> tuple[float, float] | None:
    """Return the stretch of x to show so that `manoeuvre` fills the middle third; None without.

    Only charts that mark it as a region of their x axis have one.
    """
    for mark in chart.marks:
        if isinstance(mark, Span) and mark.manoeuvre == manoeuvre:
            wide = max(mark.end - mark.start, 1.0)
            return mark.start - wide, mark.end + wide
    return None
