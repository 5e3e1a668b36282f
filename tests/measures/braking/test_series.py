"""A series of stops: which are alike, their spread, and fade told from the driver's variation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from roadtest.measures.braking.series import like_stops, spread_of, trend_of
from roadtest.quantity import Quantity

COUNT = 200


def level(rng: np.random.Generator, true: np.ndarray, sd: float) -> np.ndarray:
    """Return draws [n, COUNT] of stops measured with error sd."""
    seen = true + sd * rng.standard_normal(true.size)
    return seen[:, None] + sd * rng.standard_normal((true.size, COUNT))


@pytest.mark.parametrize(
    ("speeds", "like"),
    [
        ([], []),
        ([20.0], [False]),
        ([20.0, 25.0], [False, False]),
        ([20.0, 22.0, 26.0], [True, True, False]),
        ([20.0, 22.5, 24.0, 24.7], [False, True, True, True]),
        ([20.0, 21.0, 27.0, 28.0], [False, False, True, True]),
    ],
)
def test_like_stops_are_the_largest_group_within_ten_percent(
    speeds: list[float], like: list[bool]
) -> None:
    assert like_stops(np.array(speeds)).tolist() == like


def test_interval_of_spread_holds_the_true_spread_of_the_stops() -> None:
    held = trials = 0
    errors = []
    for seed in range(150):
        rng = np.random.default_rng(seed)
        true = 6.0 * (1.0 + rng.uniform(0.01, 0.08) * rng.standard_normal(5))
        figure = Quantity.from_draws(spread_of(level(rng, true, 0.12), rng), "1")
        assert figure is not None
        spread = float(true.std(ddof=1) / true.mean())
        trials += 1
        held += figure.low <= spread <= figure.high
        errors.append(figure.value - spread)
    assert binom.cdf(held, trials, 0.95) > 0.002
    assert abs(np.mean(errors)) < 0.005


def test_scatter_of_the_measurement_is_not_taken_for_the_drivers() -> None:
    rng = np.random.default_rng(1)
    alike = np.full(6, 6.0)
    noisy = level(rng, alike, 0.3)
    assert spread_of(noisy, rng).mean() < 0.75 * (noisy.std(axis=0, ddof=1) / 6.0).mean()


def test_fade_beyond_the_drivers_variation_is_told_and_its_size_held() -> None:
    rng = np.random.default_rng(2)
    true = 7.0 * (1.0 - 0.04 * np.arange(8)) * (1.0 + 0.01 * rng.standard_normal(8))
    trend = trend_of(level(rng, true, 0.05), np.arange(8.0), rng)
    assert trend is not None
    slope = Quantity.from_draws(trend.slope, "1")
    assert slope is not None
    assert slope.high < 0.0
    assert slope.low < -0.04 < slope.high


def test_a_driver_alone_is_told_to_fade_in_one_series_of_twenty() -> None:
    told = 0
    for seed in range(150):
        rng = np.random.default_rng([seed, 3])
        true = 7.0 * (1.0 + 0.05 * rng.standard_normal(5))
        trend = trend_of(level(rng, true, 0.05), np.arange(5.0), rng)
        assert trend is not None
        slope = Quantity.from_draws(trend.slope, "1")
        assert slope is not None
        told += not slope.low <= 0.0 <= slope.high
    assert binom.ppf(0.001, 150, 0.05) <= told <= binom.ppf(0.999, 150, 0.05)


def test_trend_per_unit_of_x_follows_the_unit() -> None:
    draws = level(np.random.default_rng(4), np.array([7.0, 6.8, 6.5, 6.4]), 0.02)
    x = np.array([0.0, 1.0, 2.0, 3.0])
    one = trend_of(draws, x, np.random.default_rng(5))
    thousand = trend_of(draws, 1000.0 * x, np.random.default_rng(5))
    assert one is not None
    assert thousand is not None
    np.testing.assert_allclose(one.slope, 1000.0 * thousand.slope, rtol=1e-9)


def test_two_stops_or_one_energy_give_no_trend() -> None:
    draws = level(np.random.default_rng(6), np.array([7.0, 6.8]), 0.02)
    assert trend_of(draws, np.array([0.0, 1.0]), np.random.default_rng(6)) is None
    assert trend_of(np.vstack([draws, draws]), np.zeros(4), np.random.default_rng(6)) is None
