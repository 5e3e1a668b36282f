"""Rows that may blend two gears: what they weigh, and how much they tell."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t as student

from roadtest.measures.gearing.blends import Errors

SD = 0.004
TAIL = 5.0


def test_where_rows_are_fast_errors_are_students() -> None:
    errors = Errors(np.zeros(3), TAIL, possible=False)
    misfit, variance = np.array([-0.01, 0.0, 0.03]), np.full(3, SD**2)
    assert errors.log_density(misfit, variance) == pytest.approx(
        student.logpdf(misfit, TAIL, scale=SD)
    )
    expected = (TAIL + 1.0) / (TAIL + (misfit / SD) ** 2)
    assert errors.weight(misfit, variance) == pytest.approx(expected)
    # Fisher's information of Student's t with unit scale is (ν + 1)/(ν + 3) (K. L. Lange, R. J. A.
    # Little, J. M. G. Taylor, J. Am. Stat. Assoc. 84 (1989), appendix B, from memory).
    assert errors.blunt(variance) == pytest.approx((TAIL + 3.0) / (TAIL + 1.0), rel=2e-3)


def test_the_densities_are_densities() -> None:
    off = np.linspace(-2.0, 2.0, 400_001)
    for changes in (0.0, 1.0, 2.0):
        errors = Errors(np.full(off.size, changes), TAIL, possible=True)
        density = np.exp(errors.log_density(off, np.full(off.size, SD**2)))
        assert np.trapezoid(density, off) == pytest.approx(1.0, abs=2e-4)


def test_a_row_next_to_a_change_is_doubted_sooner() -> None:
    misfit, variance = np.full(3, 5.0 * SD), np.full(3, SD**2)
    weight = Errors(np.array([0.0, 1.0, 2.0]), TAIL, possible=True).weight(misfit, variance)
    alone = Errors(np.zeros(1), TAIL, possible=False).weight(misfit[:1], variance[:1])
    assert weight[2] < weight[1] < weight[0] < alone[0]


def test_a_blend_is_doubted_however_large_an_error_rows_have_in_common() -> None:
    changes, misfit = np.array([0.0, 1.0]), np.full(2, 0.06)
    for white, shared in ((0.004, 0.0), (0.001, 0.01), (0.0005, 0.02)):
        errors = Errors(changes, TAIL, possible=True)
        own = errors.own(misfit, np.full(2, white**2), np.full(2, shared**2))
        assert np.sqrt(own[1] + shared**2) > 0.035
        fast = Errors(changes, TAIL, possible=False)
        assert fast.own(misfit, np.full(2, white**2), np.full(2, shared**2)) == pytest.approx(
            white**2 / fast.weight(misfit, np.full(2, white**2 + shared**2))
        )


@pytest.mark.parametrize(("changes", "share"), [(0.0, 0.02), (1.0, 0.27), (2.0, 0.45)])
def test_a_level_found_from_such_rows_is_as_good_as_it_says(changes: float, share: float) -> None:
    """Blends lie anywhere on the way to a gear 30 % away, as far as they are still taken for it."""
    rng = np.random.default_rng(3)
    rows, drives = 12, 1500
    held = []
    for _ in range(drives):
        off = SD * rng.normal(size=rows)
        blend = rng.random(rows) < share
        off[blend] += rng.choice([-1.0, 1.0], blend.sum()) * rng.uniform(0.0, 0.1, blend.sum())
        errors, variance = Errors(np.full(rows, changes), TAIL, possible=True), np.full(rows, SD**2)
        level = float(np.median(off))
        for _ in range(8):
            weight = errors.weight(off - level, variance)
            level = float(weight @ off / weight.sum())
        u = 1.0 / np.sqrt((weight / variance / errors.blunt(variance)).sum())
        held.append(abs(level) < 1.96 * u)
    assert 0.92 < np.mean(held) < 0.985
