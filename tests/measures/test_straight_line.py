"""The line fit: invariants, honest uncertainty, bends, and points it must refuse."""

import math

import numpy as np
import pytest

from roadtest.measures.straight_line import StraightLine, curvature, fit_line, fit_line_by_scatter

X = np.array([13.0, 18.2, 22.1, 26.9, 31.0])
U_X = np.array([0.05, 0.04, 0.06, 0.05, 0.08])
U_Y = np.array([0.26, 0.26, 0.20, 0.26, 0.30])
Y = 1.04 * X + 0.5 + np.array([0.21, -0.33, 0.08, 0.17, -0.24])


def test_points_on_a_line_give_that_line() -> None:
    line = fit_line(X, 1.045 * X - 0.3, U_X, U_Y)
    assert (line.intercept, line.slope) == pytest.approx((-0.3, 1.045), abs=1e-12)
    assert line.chi_square == pytest.approx(0.0, abs=1e-20)
    assert line.degrees_of_freedom == 3


def test_swapping_x_and_y_gives_the_same_line() -> None:
    line, swapped = fit_line(X, Y, U_X, U_Y), fit_line(Y, X, U_Y, U_X)
    assert swapped.slope == pytest.approx(1.0 / line.slope, rel=1e-10)
    assert swapped.intercept == pytest.approx(-line.intercept / line.slope, rel=1e-10)
    assert swapped.chi_square == pytest.approx(line.chi_square, rel=1e-10)


def test_a_change_of_unit_scales_the_answers() -> None:
    line, mph = (
        fit_line(X, Y, U_X, U_Y),
        fit_line(X / 0.44704, Y / 0.44704, U_X / 0.44704, U_Y / 0.44704),
    )
    assert mph.slope == pytest.approx(line.slope, rel=1e-12)
    assert mph.u_slope == pytest.approx(line.u_slope, rel=1e-12)
    assert mph.u_intercept == pytest.approx(line.u_intercept / 0.44704, rel=1e-12)


def test_a_vanishing_error_of_x_tends_to_weighted_least_squares() -> None:
    exact, nearly = fit_line(X, Y, 0.0, U_Y), fit_line(X, Y, 1e-7, U_Y)
    assert nearly.slope == pytest.approx(exact.slope, rel=1e-10)
    assert nearly.u_intercept == pytest.approx(exact.u_intercept, rel=1e-10)


def test_weighted_least_squares_agrees_with_the_normal_equations() -> None:
    line = fit_line(X, Y, 0.0, U_Y)
    design = np.stack([np.ones_like(X), X], axis=1) / U_Y[:, None]
    covariance = np.linalg.inv(design.T @ design)
    assert (line.intercept, line.slope) == pytest.approx(
        covariance @ design.T @ (Y / U_Y), rel=1e-10
    )
    assert line.covariance == pytest.approx(covariance[0, 1], rel=1e-9)
    assert line.u_intercept == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)


def test_the_best_line_has_the_least_chi_square() -> None:
    line = fit_line(X, Y, U_X, U_Y)

    def chi_square(intercept: float, slope: float) -> float:
        return float(np.sum((Y - intercept - slope * X) ** 2 / (U_Y**2 + (slope * U_X) ** 2)))

    least = chi_square(line.intercept, line.slope)
    assert line.chi_square == pytest.approx(least, rel=1e-12)
    for d_intercept, d_slope in ((1e-3, 0.0), (-1e-3, 0.0), (0.0, 1e-4), (0.0, -1e-4)):
        assert chi_square(line.intercept + d_intercept, line.slope + d_slope) > least


def test_two_points_give_the_line_through_them_and_no_scatter() -> None:
    line = fit_line(np.array([10.0, 20.0]), np.array([11.0, 21.0]), 0.1, 0.1)
    assert (line.intercept, line.slope) == pytest.approx((1.0, 1.0), abs=1e-12)
    assert line.degrees_of_freedom == 0
    assert line.residual_deviation is None


def test_inputs_are_left_as_they_were() -> None:
    before = [values.copy() for values in (X, Y, U_X, U_Y)]
    fit_line(X, Y, U_X, U_Y)
    curvature(X, Y, U_X, U_Y)
    for values, copy in zip((X, Y, U_X, U_Y), before, strict=True):
        np.testing.assert_array_equal(values, copy)


def test_common_errors_of_x_and_y_move_the_intercept_only() -> None:
    line = fit_line(X, Y, U_X, U_Y)
    moved = line.with_common_errors(u_x=0.1, u_y=0.2)
    expected = math.sqrt(line.u_intercept**2 + 0.2**2 + (0.1 * line.slope) ** 2)
    assert moved.u_intercept == pytest.approx(expected, rel=1e-12)
    assert (moved.u_slope, moved.covariance) == (line.u_slope, line.covariance)


SEEDS = 1500


def coverage(u_x: float, common_u_y: float) -> tuple[float, float]:
    """Return how often 95 % intervals hold the true slope, and the true y at 25."""
    rng = np.random.default_rng(7)
    slope_hits = value_hits = 0
    for _ in range(SEEDS):
        x = X + u_x * rng.normal(size=X.size)
        y = 1.04 * X + 0.5 + U_Y * rng.normal(size=X.size) + common_u_y * rng.normal()
        line = fit_line(x, y, u_x, U_Y).with_common_errors(u_y=common_u_y)
        slope_hits += abs(line.slope - 1.04) < 1.96 * line.u_slope
        value, u = line.at(25.0)
        value_hits += abs(value - 26.5) < 1.96 * u
    return slope_hits / SEEDS, value_hits / SEEDS


@pytest.mark.parametrize(("u_x", "common_u_y"), [(0.0, 0.0), (0.2, 0.0), (0.2, 0.4)])
def test_intervals_hold_the_truth_95_times_in_100(u_x: float, common_u_y: float) -> None:
    margin = 3.0 * math.sqrt(0.95 * 0.05 / SEEDS)
    for share in coverage(u_x, common_u_y):
        assert share == pytest.approx(0.95, abs=margin)


def test_leaving_out_a_common_error_would_be_found_out() -> None:
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(SEEDS):
        y = 1.04 * X + 0.5 + U_Y * rng.normal(size=X.size) + 0.4 * rng.normal()
        value, u = fit_line(X, y, 0.0, U_Y).at(25.0)
        hits += abs(value - 26.5) < 1.96 * u
    assert hits / SEEDS < 0.8


def test_bend_of_a_parabola_is_found_exactly() -> None:
    bend = curvature(X, 3.0 + 1.1 * X - 0.004 * X**2, 0.0, U_Y)
    assert bend.value == pytest.approx(-0.004, rel=1e-9)
    # The middle of the arc stands over its chord by c·(Δx/2)².
    assert bend.bow == pytest.approx(0.004 * (0.5 * 18.0) ** 2, rel=1e-9)
    assert bend.bow / bend.u_bow == pytest.approx(-bend.value / bend.u, rel=1e-9)


def test_bend_agrees_with_the_normal_equations() -> None:
    design = np.stack([np.ones_like(X), X, X**2], axis=1) / U_Y[:, None]
    covariance = np.linalg.inv(design.T @ design)
    bend = curvature(X, Y, 0.0, U_Y)
    assert bend.value == pytest.approx((covariance @ design.T @ (Y / U_Y))[2], rel=1e-6)
    assert bend.u == pytest.approx(math.sqrt(covariance[2, 2]), rel=1e-6)


def test_straight_points_look_bent_one_time_in_twenty() -> None:
    rng = np.random.default_rng(9)
    alarms = 0
    for _ in range(SEEDS):
        x = X + 0.2 * rng.normal(size=X.size)
        y = 1.04 * X + 0.5 + U_Y * rng.normal(size=X.size)
        alarms += curvature(x, y, 0.2, U_Y).p_value < 0.05
    assert alarms / SEEDS == pytest.approx(0.05, abs=3.0 * math.sqrt(0.05 * 0.95 / SEEDS))


def test_three_points_are_enough_for_a_bend() -> None:
    bend = curvature(np.array([10.0, 20.0, 30.0]), np.array([0.0, 1.0, 0.0]), 0.0, 0.1)
    assert bend.bow == pytest.approx(1.0, rel=1e-12)
    # The bow is y2 − (y1 + y3)/2, so its variance is 1.5 times that of a point.
    assert bend.u_bow == pytest.approx(0.1 * math.sqrt(1.5), rel=1e-12)
    assert bend.p_value < 1e-10


def fit_two(u_x: float, u_y: float) -> StraightLine:
    return fit_line(np.array([1.0, 2.0]), np.array([1.0, 2.0]), u_x, u_y)


@pytest.mark.parametrize(
    ("u_x", "u_y", "message"),
    [
        (0.0, 0.0, "no uncertainty in x or y"),
        (-0.1, 0.1, "not negative"),
        (0.1, math.nan, "finite and not negative"),
        (math.inf, 0.1, "finite"),
    ],
)
def test_uncertainties_that_will_not_do(u_x: float, u_y: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_two(u_x, u_y)


@pytest.mark.parametrize(
    ("x", "y", "message"),
    [
        ([5.0], [5.0], "two different x"),
        ([5.0, 5.0], [4.0, 6.0], "two different x"),
        ([], [], "two different x"),
        ([1.0, 2.0], [1.0, 2.0, 3.0], "equally long"),
        ([1.0, math.nan], [1.0, 2.0], "finite"),
    ],
)
def test_points_that_fix_no_line(x: list[float], y: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_line(np.array(x), np.array(y), 0.1, 0.1)


def test_scatter_needs_three_points_and_a_bend_three_places() -> None:
    with pytest.raises(ValueError, match="three points or more, not 2"):
        fit_line_by_scatter(np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="three different x"):
        curvature(np.array([1.0, 2.0, 2.0]), np.array([1.0, 2.0, 3.0]), 0.1, 0.1)


def test_a_level_line_with_points_exact_in_y_is_refused() -> None:
    with pytest.raises(ValueError, match="exact in y"):
        fit_line(np.array([1.0, 2.0, 3.0]), np.array([4.0, 4.0, 4.0]), 0.1, 0.0)


def test_points_without_a_trend_still_settle() -> None:
    line = fit_line(X, np.array([5.0, 5.2, 4.9, 5.1, 5.0]), 0.1, 0.1)
    assert abs(line.slope) < 3.0 * line.u_slope
