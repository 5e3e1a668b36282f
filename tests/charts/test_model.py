"""Charts as data."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest

from roadtest.charts.focus import focused, window
from roadtest.charts.model import Axis, Chart, Line, Panel, Points, Span, same_drawing
from tests.charts.pictures import busy_chart


def test_arrays_are_held_read_only_and_apart_from_the_callers() -> None:
    x = np.arange(5.0)
    line = Line(x, x)
    x[0] = 99.0
    assert line.x[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        line.y[0] = 1.0
    with pytest.raises(FrozenInstanceError):
        line.label = "other"  # type: ignore[misc]


def test_arrays_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="different lengths"):
        Line(np.arange(3.0), np.arange(4.0))
    with pytest.raises(ValueError, match="2 names or manoeuvres for 3 points"):
        Points(np.arange(3.0), np.arange(3.0), names=("a", "b"))
    with pytest.raises(ValueError, match="dimensions"):
        Line(np.zeros((2, 2)), np.zeros((2, 2)))


def test_a_chart_must_say_what_it_shows() -> None:
    panel = Panel(Axis("y"), ())
    with pytest.raises(ValueError, match="sentence"):
        Chart("id", "title", "", Axis("x"), (panel,))
    with pytest.raises(ValueError, match="no panel"):
        Chart("id", "title", "It says so.", Axis("x"), ())


def test_manoeuvres_are_named_once_each() -> None:
    assert busy_chart().manoeuvres == ("hold-1", "stop-1", "pull-1")


def test_same_drawing_sees_a_changed_figure_and_a_changed_word() -> None:
    one = busy_chart()
    assert same_drawing(one, busy_chart())
    assert not same_drawing(one, replace(one, title="other"))
    first, second = one.panels
    line = second.marks[0]
    assert isinstance(line, Line)
    moved = replace(line, y=line.y + 1e-9)
    changed = replace(second, marks=(moved, *second.marks[1:]))
    assert not same_drawing(one, replace(one, panels=(first, changed)))


def test_focus_brings_out_one_manoeuvre_and_loses_no_point() -> None:
    chart = busy_chart()
    shown = focused(chart, "stop-1")
    before = [mark for mark in chart.marks if isinstance(mark, Points)]
    after = [mark for mark in shown.marks if isinstance(mark, Points)]
    assert sum(mark.x.size for mark in after) == sum(mark.x.size for mark in before)
    strong = max(after, key=lambda mark: mark.size)
    assert strong.manoeuvres == ("stop-1",)
    assert strong.x.tolist() == [420.0]
    assert strong.y_u95 is not None and strong.y_u95.tolist() == [3.0]
    spans = {mark.manoeuvre: mark for mark in shown.marks if isinstance(mark, Span)}
    assert spans["hold-1"].faint and not spans["stop-1"].faint
    assert "stop-1" in shown.says


def test_focus_on_what_is_not_there_changes_nothing() -> None:
    chart = busy_chart()
    assert focused(chart, "stop-9") is chart
    assert window(chart, "stop-9") is None


def test_the_window_puts_the_manoeuvre_in_the_middle_third() -> None:
    assert window(busy_chart(), "hold-1") == (-10.0, 140.0)
