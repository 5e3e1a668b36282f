"""Ranges and ticks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from roadtest.charts.model import Axis, Band, Chart, Level, Line, Panel, Points, Slope
from roadtest.charts.scale import clock_label, ticks, x_range, y_range


def _at_most(count: int, width: float):  # type: ignore[no-untyped-def]
    return lambda labels, step: width / step <= count


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5), st.integers(3, 12))
def test_ticks_are_round_numbers_inside_the_range(low: float, width: float, count: int) -> None:
    high = low + width
    assume(high > low and width > 1e-6 * abs(low))
    found = ticks(Axis("a"), (low, high), _at_most(count, width))
    values = [value for value, _ in found.major]
    assert values
    assert all(low - 1e-6 * width <= value <= high + 1e-6 * width for value in values)
    assert len(values) <= count + 1
    if len(values) > 1:
        step = values[1] - values[0]
        lead = step / 10.0 ** math.floor(math.log10(step * (1.0 + 1e-9)))
        assert min(abs(lead - nice) for nice in (1.0, 2.0, 5.0, 10.0)) < 1e-6 * lead
        np.testing.assert_allclose(np.diff(values), step, rtol=1e-6)
    labels = [label for _, label in found.major]
    assert len(set(labels)) == len(labels)
    for value, label in found.major:
        assert float(label.replace("−", "-")) == pytest.approx(value, abs=1e-6 * width)


def test_minor_ticks_lie_between_and_never_on_major_ones() -> None:
    found = ticks(Axis("a"), (0.0, 10.0), _at_most(6, 10.0))
    assert [value for value, _ in found.major] == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert found.minor[:4] == pytest.approx((0.5, 1.0, 1.5, 2.5))
    assert not {round(v, 6) for v in found.minor} & {round(v, 6) for v, _ in found.major}


def test_a_clock_steps_by_what_people_count_in() -> None:
    axis = Axis("t", scale="clock")
    found = ticks(axis, (0.0, 1860.0), _at_most(8, 1860.0))
    assert [label for _, label in found.major] == [
        "0:00",
        "5:00",
        "10:00",
        "15:00",
        "20:00",
        "25:00",
        "30:00",
    ]
    hours = ticks(axis, (0.0, 9000.0), _at_most(6, 9000.0))
    assert [label for _, label in hours.major][-1] == "2:30:00"


@pytest.mark.parametrize(
    ("seconds", "step", "label"),
    [
        (0.0, 1.0, "0:00"),
        (59.0, 1.0, "0:59"),
        (3600.0, 60.0, "1:00:00"),
        (-61.0, 1.0, "−1:01"),
        (-0.2, 1.0, "0:00"),
        (59.9999, 0.1, "1:00.0"),
        (2.5, 0.5, "0:02.5"),
    ],
)
def test_clock_labels(seconds: float, step: float, label: str) -> None:
    assert clock_label(seconds, step) == label


def test_whole_numbers_only_where_asked_for() -> None:
    found = ticks(Axis("stop", scale="whole"), (0.5, 3.5), _at_most(20, 3.0))
    assert [label for _, label in found.major] == ["1", "2", "3"]
    assert found.minor == ()


def test_named_places_stand_instead_of_numbers() -> None:
    axis = Axis("gear", labels=((1.0, "first"), (2.0, "second"), (9.0, "outside")))
    found = ticks(axis, (0.5, 2.5), _at_most(5, 2.0))
    assert found.major == ((1.0, "first"), (2.0, "second"))


def _chart(*marks: Line | Band | Points | Level | Slope, x: Axis | None = None) -> Chart:
    return Chart("c", "t", "It says so.", x or Axis("x"), (Panel(Axis("y"), marks),))


def test_ranges_take_in_intervals_limits_and_finite_ends_of_bands() -> None:
    x = np.array([0.0, 10.0])
    chart = _chart(
        Points(x, np.array([1.0, 2.0]), y_u95=np.array([4.0, 0.0])),
        Band(x, np.array([-1.0, -np.inf]), np.array([np.inf, 3.0])),
        Level(7.0),
        Level(100.0, in_view=False),
        Slope(1000.0),
    )
    low, high = y_range(chart, chart.panels[0])
    assert -4.0 < low < -3.0 and 7.0 < high < 8.0
    assert x_range(chart) == pytest.approx((-0.2, 10.2))


def test_a_fixed_x_range_decides_which_values_of_y_count() -> None:
    line = Line(np.array([0.0, 1.0, 50.0]), np.array([1.0, 2.0, 900.0]))
    chart = _chart(line, x=Axis("x", range=(0.0, 2.0)))
    assert x_range(chart) == (0.0, 2.0)
    assert y_range(chart, chart.panels[0])[1] < 3.0


@pytest.mark.parametrize("values", [[], [np.nan, np.nan], [5.0], [0.0, 0.0]])
def test_nothing_or_one_value_still_gives_a_range(values: list[float]) -> None:
    y = np.array(values, dtype=np.float64)
    chart = _chart(Line(np.arange(float(y.size)), y))
    for low, high in (x_range(chart), y_range(chart, chart.panels[0])):
        assert math.isfinite(low) and low < high


def test_from_zero_takes_zero_in_and_leaves_no_room_below() -> None:
    chart = Chart(
        "c",
        "t",
        "It says so.",
        Axis("x"),
        (Panel(Axis("y", from_zero=True), (Line(np.arange(3.0), np.array([4.0, 5.0, 6.0])),)),),
    )
    low, high = y_range(chart, chart.panels[0])
    assert low == 0.0
    assert 6.0 < high < 7.0
