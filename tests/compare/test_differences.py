"""The interval of a difference: shared errors cancel, runs' own variation counts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom, ttest_ind

from roadtest.compare.differences import difference, mean_of
from roadtest.compare.figures import Sample
from roadtest.quantity import Quantity

_SEED = 8


def _one(value: float, u95: float, own_error: float = 0.0) -> Sample:
    return Sample((Quantity(value, u95, "1"),), own_error=own_error)


def test_independent_figures_add_in_quadrature() -> None:
    found = difference(_one(10.0, 0.3), _one(11.0, 0.4), 0.0)
    assert found.value.value == pytest.approx(1.0)
    assert found.value.u95 == pytest.approx(0.5)
    assert found.change == "changed"


@pytest.mark.parametrize(("step", "change"), [(0.49, "no change shown"), (0.51, "changed")])
def test_a_change_is_real_when_its_interval_excludes_0(step: float, change: str) -> None:
    assert difference(_one(10.0, 0.3), _one(10.0 - step, 0.4), 0.0).change == change


def test_a_shared_factor_cancels_in_equal_figures_and_scales_the_rest() -> None:
    own, shared = 0.002, 0.026
    u95 = 4.0 * math.hypot(own, shared)
    same = difference(_one(4.0, u95, own), _one(4.0, u95, own), shared)
    assert same.value.u95 == pytest.approx(4.0 * own * math.sqrt(2.0))
    smaller = 3.0 * math.hypot(own, shared)
    other = difference(_one(4.0, u95, own), _one(3.0, smaller, own), shared)
    assert other.value.u95 == pytest.approx(math.hypot(4.0 * own, 3.0 * own, shared))


def test_no_more_is_shared_than_the_figures_hold() -> None:
    known_better = 4.0 * math.hypot(0.002, 0.01)  # the drive itself knew the tyre to 1 %
    found = difference(_one(4.0, known_better, 0.002), _one(4.0, known_better, 0.002), 0.026)
    assert found.value.u95 == pytest.approx(4.0 * 0.002 * math.sqrt(2.0))


def test_runs_are_compared_as_by_student() -> None:
    first, later = [6.70, 6.76, 6.88, 6.68], [7.13, 7.23, 7.09, 7.36, 7.15]
    a, b = (
        Sample(tuple(Quantity(x, 0.0, "m/s²") for x in runs), runs=True) for runs in (first, later)
    )
    low, high = ttest_ind(later, first).confidence_interval(0.95)
    found = difference(a, b, 0.0).value
    assert (found.low, found.high) == pytest.approx((low, high))


def test_one_run_each_says_only_that_the_runs_differ() -> None:
    a, b = (Sample((Quantity(x, 0.1, "s"),), runs=True) for x in (5.0, 6.0))
    assert difference(a, b, 0.0).change == "runs differ"
    twice = Sample((*b.values, Quantity(6.1, 0.1, "s")), runs=True)
    assert difference(a, twice, 0.0).change == "no change shown"  # with t of one degree: 12.7


def test_the_mean_of_one_run_is_that_run() -> None:
    assert mean_of(_one(5.0, 0.1)) == Quantity(5.0, 0.1, "1")


def test_intervals_cover_the_true_difference_where_a_factor_is_shared() -> None:
    rng = np.random.default_rng(_SEED)
    trials, own, shared = 2000, 0.003, 0.02
    factor = 1.0 + shared / 1.96 * rng.normal(size=trials)
    hits = 0
    for one in factor:
        y1, y2 = np.array([4.22, 3.9]) * one * (1.0 + own / 1.96 * rng.normal(size=2))
        u = math.hypot(own, shared)
        found = difference(_one(y1, u * y1, own), _one(y2, u * y2, own), shared).value
        hits += found.low <= 3.9 - 4.22 <= found.high
    low, high = binom.interval(0.999, trials, 0.95)
    assert low <= hits <= high
