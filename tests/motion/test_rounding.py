"""How coarsely a log writes its speeds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.motion.rounding import rounding_variance, speed_step

KNOT, KMH, MPH = 1852.0 / 3600.0, 1.0 / 3.6, 0.44704


def speeds(seed: int = 0, n: int = 800) -> np.ndarray:
    return np.abs(15.0 + np.random.default_rng(seed).normal(0.0, 6.0, n))


@pytest.mark.parametrize(
    "step", [0.01 * KNOT, 0.1 * KNOT, KNOT, 0.1 * KMH, KMH, 0.01, 0.1, 1.0, MPH, 0.1 * MPH]
)
@pytest.mark.parametrize("seed", [0, 1])
def test_usual_steps_are_found(step: float, seed: int) -> None:
    found = speed_step(step * np.round(speeds(seed) / step))
    assert found == pytest.approx(step, rel=1e-12)


@pytest.mark.parametrize("step", [0.1 * KNOT, KNOT, 0.1 * KMH, KMH])
def test_steps_are_found_after_conversion_to_three_decimals(step: float) -> None:
    written = np.round(step * np.round(speeds() / step), 3)
    assert speed_step(written) == pytest.approx(step, rel=1e-12)


def test_a_hundredth_of_a_knot_in_metres_to_three_decimals_is_taken_for_no_coarser_step() -> None:
    step = 0.01 * KNOT
    assert speed_step(np.round(step * np.round(speeds() / step), 3)) <= step * (1.0 + 1e-12)


@pytest.mark.parametrize("decimals", [3, 4, 9])
def test_fine_speeds_have_no_step(decimals: int) -> None:
    assert speed_step(np.round(speeds(), decimals)) == 0.0


def test_a_few_odd_readings_do_not_hide_the_step() -> None:
    written = KMH * np.round(speeds() / KMH)
    written[:5] += 0.07
    written[5:9] = np.nan
    written[9:40] = 0.0
    assert speed_step(written) == pytest.approx(KMH)
    written[:100] += np.random.default_rng(1).uniform(0.0, 0.2, 100)
    assert speed_step(written) == 0.0


def test_too_few_different_speeds_tell_nothing() -> None:
    assert speed_step(np.array([1.0, 2.0, 3.0, 4.0] * 50)) == 0.0
    assert speed_step(np.full(50, np.nan)) == 0.0
    assert speed_step(np.zeros(0)) == 0.0


@settings(derandomize=True, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 30), st.integers(1, 9)), min_size=1, max_size=30))
def test_a_run_of_equal_readings_counts_as_one(runs: list[tuple[int, int]]) -> None:
    """The information of a run, Σ 1/variance, is that of one reading."""
    joined: list[tuple[int, int]] = []
    for level, length in runs:
        if joined and joined[-1][0] == level:
            joined[-1] = (level, joined[-1][1] + length)
        else:
            joined.append((level, length))
    values = 0.5 * np.repeat([level for level, _ in joined], [length for _, length in joined])
    kept = values.copy()
    variance = rounding_variance(values, 0.5)
    start = 0
    for _, length in joined:
        run = variance[start : start + length]
        assert np.sum(1.0 / run) == pytest.approx(12.0 / 0.5**2)
        assert np.all(run == run[0])
        start += length
    np.testing.assert_array_equal(values, kept)


def test_no_rounding_adds_nothing() -> None:
    assert not rounding_variance(speeds(), 0.0).any()
    assert rounding_variance(np.zeros(0), 0.1).size == 0
