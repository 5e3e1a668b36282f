"""How coarsely a log writes its speeds."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.motion.rounding import rounding_variance, speed_step

KNOT = 1852.0 / 3600.0
SPEEDS = np.abs(
    20.0 + 8.0 * np.sin(np.arange(600) / 40.0) + np.random.default_rng(3).normal(0, 0.1, 600)
)


@pytest.mark.parametrize("step", [0.01 * KNOT, 0.1 * KNOT, KNOT, 0.1 / 3.6, 1.0 / 3.6, 0.01, 0.1])
def test_the_step_is_found(step: float) -> None:
    assert speed_step(step * np.round(SPEEDS / step)) == pytest.approx(step)


def test_knots_turned_into_metres_with_three_decimals_are_seen_through() -> None:
    rounded = np.round(0.1 * KNOT * np.round(SPEEDS / (0.1 * KNOT)), 3)
    assert speed_step(rounded) == pytest.approx(0.1 * KNOT)


def test_unrounded_speeds_and_empty_logs_have_none() -> None:
    assert speed_step(SPEEDS) == 0.0
    assert speed_step(np.full(5, np.nan)) == 0.0


def test_a_run_of_equal_readings_tells_as_much_as_one() -> None:
    values = np.array([10.0, 10.0, 10.0, 11.0, 12.0, 12.0])
    expected = np.array([3, 3, 3, 1, 2, 2]) / 12.0
    np.testing.assert_allclose(rounding_variance(values, 1.0), expected, rtol=1e-12)
    assert (rounding_variance(values, 0.0) == 0.0).all()


def test_the_mean_of_a_steady_stretch_is_as_doubtful_as_one_reading() -> None:
    variance = rounding_variance(np.full(50, 13.0), 1.0)
    assert 1.0 / np.sum(1.0 / variance) == pytest.approx(1.0 / 12.0)
