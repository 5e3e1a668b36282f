"""The screen's drawer against the one for paper, on the same charts."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.plotly_drawer import Figure, draw_plotly
from dashboard.work import Work
from roadtest.charts.frames import laid_out
from roadtest.charts.model import (
    Axis,
    Band,
    Bars,
    Chart,
    Level,
    Line,
    Note,
    Panel,
    Points,
    Slope,
    Span,
)
from roadtest.charts.palette import DARK, LIGHT
from roadtest.charts.reduce import MOST
from roadtest.charts.svg import draw_svg

X = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
GAPPY = np.array([1.0, 3.0, np.nan, 2.0, 5.0])


def chart_of(*marks: Any, x: Axis | None = None, y: Axis | None = None) -> Chart:
    panel = Panel(y or Axis("Speed", "mph"), marks)
    return Chart("c", "A chart", "It shows something.", x or Axis("Time", "s"), (panel,))


def legend_of(figure: Figure) -> set[str]:
    return {trace["name"] for trace in figure["data"] if trace.get("showlegend")}


def words_in(chart: Chart) -> str:
    return " ".join(ET.fromstring(draw_svg(chart)).itertext())


def test_every_chart_of_a_drive_is_a_figure_that_plotly_takes(checked_work: Work) -> None:
    assert len(checked_work.charts) > 10
    for chart in checked_work.charts:
        for palette in (LIGHT, DARK):
            go.Figure(draw_plotly(chart, palette))  # raises on an unknown property or bad value


def test_both_drawers_show_the_same_axes_and_legend(checked_work: Work) -> None:
    for chart in checked_work.charts:
        figure = draw_plotly(chart)
        paper = laid_out(chart, 480.0, 480.0 * chart.height, headed=False)
        assert {entry.label for entry in paper.legend} <= legend_of(figure), chart.id
        for number, frame in enumerate(paper.frames):
            axis = figure["layout"]["yaxis" if number == 0 else f"yaxis{number + 1}"]
            expected = frame.y[::-1] if frame.panel.y.reverse else frame.y
            across = figure["layout"]["xaxis"]["range"]
            if frame.panel.y.equal or chart.x.equal:  # paper widens one of them to fit its frame
                assert axis["scaleanchor"] == "x", chart.id
                continue
            assert axis["range"] == pytest.approx(list(expected)), chart.id
            assert across == pytest.approx(list(frame.x)), chart.id


def test_both_drawers_use_the_same_colours(checked_work: Work) -> None:
    for chart in checked_work.charts:
        figure = json.dumps(draw_plotly(chart))
        for mark in chart.marks:
            if isinstance(mark, Line | Points):
                assert LIGHT.roles[mark.role] in figure
                assert LIGHT.roles[mark.role] in draw_svg(chart)


def test_every_kind_of_mark_is_drawn_where_it_stands() -> None:
    chart = chart_of(
        Band(X, X, X + 1.0, "band"),
        Line(X, GAPPY, "line"),
        Points(X, X, "points", x_u95=X, y_u95=X / 2.0),
        Bars(np.array([1.0]), np.array([3.0]), "bars", names=("bar",)),
        Span(1.0, 2.0, "hold-1", role="hold", manoeuvre="hold-1"),
        Level(2.5, "limit", allowed="below"),
        Slope(0.5, 1.0, "slope"),
        Note(1.0, 1.0, "a note"),
    )
    figure = draw_plotly(chart)
    by_name = {trace["name"]: trace for trace in figure["data"]}
    assert {"band", "line", "points", "bars", "slope", "hold"} == legend_of(figure)
    assert by_name["line"]["y"] == [1.0, 3.0, None, 2.0, 5.0]
    assert by_name["points"]["error_y"]["array"] == (X / 2.0).tolist()
    assert by_name["band"]["y"] == [*X.tolist(), *(X + 1.0).tolist()[::-1]]
    low, high = figure["layout"]["xaxis"]["range"]
    assert by_name["slope"]["y"] == [0.5 * low + 1.0, 0.5 * high + 1.0]
    assert by_name["hold"]["x"] == [1.5]
    shapes = figure["layout"]["shapes"]
    assert [(s["x0"], s["x1"]) for s in shapes if s.get("xref") == "x"] == [(1.0, 2.0)]
    assert [s["y0"] for s in shapes if s["type"] == "line"] == [2.5]
    said = {note["text"] for note in figure["layout"]["annotations"]}
    assert {"limit", "a note", "bar"} <= said
    go.Figure(figure)
    assert all(word in words_in(chart) for word in ("limit", "a note", "bar"))


def test_a_band_with_a_gap_is_two_areas() -> None:
    band = Band(X, GAPPY, GAPPY + 1.0, "band")
    (trace,) = draw_plotly(chart_of(band))["data"]
    assert trace["x"] == [0.0, 1.0, 1.0, 0.0, None, 3.0, 4.0, 4.0, 3.0]


def test_what_is_not_allowed_is_shaded_on_the_right_side() -> None:
    shapes = draw_plotly(chart_of(Line(X, X), Level(2.0, allowed="above")))["layout"]["shapes"]
    (shade,) = (shape for shape in shapes if shape["type"] == "rect")
    assert shade["y0"] == 2.0 and shade["y1"] < X.min()


def test_a_long_line_is_thinned_its_extremes_kept_and_refined_when_closer() -> None:
    x = np.arange(40_000.0)
    y = np.zeros(x.size)
    y[12_345], y[33_333] = 7.0, -5.0
    chart = chart_of(Line(x, y, "line"), x=Axis("Time", "min:s", scale="clock"))
    (whole,) = draw_plotly(chart)["data"]
    assert len(whole["y"]) <= MOST
    assert (max(whole["y"]), min(whole["y"])) == (7.0, -5.0)
    closer = draw_plotly(chart, between=(12_000.0, 13_000.0))
    assert closer["data"][0]["x"] == x[11_999:13_002].tolist()
    assert closer["layout"]["xaxis"]["range"] == [12_000.0, 13_000.0]


def test_words_from_files_are_shown_as_they_stand() -> None:
    evil = '<a href="javascript:alert(1)">%{y}</a>\n'
    chart = chart_of(Line(X, X, evil), Points(X[:1], X[:1], names=(evil,)), Note(0.0, 0.0, evil))
    assert "<a " not in json.dumps(draw_plotly(chart))
    go.Figure(draw_plotly(chart))


def test_seen_from_above_right_stays_right() -> None:
    axis = Axis("Aside", "m", range=(-2.0, 3.0), reverse=True)
    assert draw_plotly(chart_of(Line(X, X), y=axis))["layout"]["yaxis"]["range"] == [3.0, -2.0]
