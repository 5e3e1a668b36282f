"""Fewer points for the same picture."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from roadtest.charts.model import Axis, Band, Chart, Line, Panel, Points
from roadtest.charts.reduce import reduce, reduced, rows_to_keep

_VALUES = st.one_of(st.floats(-1e6, 1e6), st.just(float("nan")))


@settings(derandomize=True, deadline=None)
@given(arrays(np.float64, st.integers(0, 3000), elements=_VALUES), st.integers(10, 500))
def test_extremes_ends_and_order_are_kept(y: np.ndarray, most: int) -> None:
    x = np.arange(y.size, dtype=np.float64)
    few_x, few_y = reduce(x, y, most)
    assert few_x.size <= max(most, 0)
    assert np.all(np.diff(few_x) > 0.0)
    if y.size:
        assert few_x[0] == x[0] and few_x[-1] == x[-1]
    if np.isfinite(y).any():
        assert np.nanmax(few_y) == np.nanmax(y)
        assert np.nanmin(few_y) == np.nanmin(y)
    else:
        assert not np.isfinite(few_y).any()
    np.testing.assert_array_equal(few_y, y[few_x.astype(int)])


def test_a_short_curve_stays_as_it_is() -> None:
    x = np.arange(50.0)
    y = np.sin(x)
    few_x, few_y = reduce(x, y, 50)
    np.testing.assert_array_equal(few_x, x)
    np.testing.assert_array_equal(few_y, y)


def test_one_spike_among_a_hundred_thousand_points_is_kept() -> None:
    y = np.zeros(100_000)
    y[73_211], y[12] = 5.0, -3.0
    _, few = reduce(np.arange(y.size, dtype=np.float64), y, 400)
    assert few.size <= 400
    assert few.max() == 5.0
    assert few.min() == -3.0


def test_a_gap_stays_a_gap() -> None:
    y = np.ones(10_000)
    y[4000:4003] = np.nan
    _, few = reduce(np.arange(y.size, dtype=np.float64), y, 200)
    assert np.isnan(few).any()


def test_of_two_curves_both_keep_their_extremes() -> None:
    rng = np.random.default_rng(1)
    low, high = rng.normal(size=5000), rng.normal(size=5000) + 9.0
    rows = rows_to_keep((low, high), 300)
    assert rows.size <= 300
    assert low[rows].min() == low.min()
    assert high[rows].max() == high.max()


def _chart(*marks: Line | Band | Points) -> Chart:
    return Chart("c", "t", "It says so.", Axis("x"), (Panel(Axis("y"), marks),))


def test_a_zoomed_chart_keeps_the_window_and_one_point_beyond_at_either_side() -> None:
    x = np.arange(100.0)
    line = reduced(_chart(Line(x, x)), 500, (19.5, 30.5)).marks[0]
    assert isinstance(line, Line)
    np.testing.assert_array_equal(line.x, np.arange(19.0, 32.0))


def test_a_window_between_two_points_keeps_both() -> None:
    x = np.arange(100.0)
    line = reduced(_chart(Line(x, x)), 500, (19.2, 19.8)).marks[0]
    assert isinstance(line, Line)
    np.testing.assert_array_equal(line.x, [19.0, 20.0])


def test_bands_are_reduced_and_points_are_not() -> None:
    x = np.arange(9000.0)
    chart = reduced(_chart(Band(x, x - 1.0, x + 1.0), Points(x, x)), 600)
    band, points = chart.marks
    assert isinstance(band, Band) and isinstance(points, Points)
    assert band.x.size <= 600
    np.testing.assert_array_equal(band.high - band.low, 2.0)
    assert points.x.size == 9000


def test_a_path_that_turns_back_keeps_the_extremes_of_both_coordinates() -> None:
    turn = np.linspace(0.0, 6.0 * np.pi, 20_001)
    east, north = 100.0 * np.cos(turn), 300.0 * np.sin(turn)
    line = reduced(_chart(Line(east, north, time_s=turn)), 900).marks[0]
    assert isinstance(line, Line) and line.time_s is not None
    assert line.x.size == line.time_s.size <= 900
    assert (line.x.min(), line.x.max()) == (east.min(), east.max())
    assert (line.y.min(), line.y.max()) == (north.min(), north.max())
