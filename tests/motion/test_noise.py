"""Size and tails of the noise, and the weights of fixes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roadtest.motion.noise import (
    POSITION_NOISE,
    SPEED_NOISE,
    Noise,
    NoisePrior,
    draw_noise,
    draw_weight,
)


def run(misfit: np.ndarray, rounding: np.ndarray, prior: NoisePrior, sweeps: int) -> np.ndarray:
    """Return draws [k, 2] of log size and tail."""
    rng, noise, kept = np.random.default_rng(3), Noise(prior.sd, 10.0), []
    for _ in range(sweeps):
        noise = draw_noise(misfit, rounding, noise, prior, rng)
        kept.append((np.log(noise.sd), noise.tail))
    return np.array(kept)


def test_draws_have_the_posterior_density_of_size_and_tails() -> None:
    """Against Bayes' rule on a grid with the library's Student density."""
    misfit = np.array([0.02, -0.05, 0.01, 0.4, -0.03])
    rounding = np.array([0.0, 1e-4, 0.0, 0.0, 2e-3])
    tails = np.array([3.0, 4.0, 6.0, 10.0, 20.0, 50.0, 200.0])
    logs = np.log(SPEED_NOISE.sd) + np.log(SPEED_NOISE.factor) * np.linspace(-4.0, 4.0, 81)
    density = np.empty((81, 7))
    for i, size in enumerate(np.exp(logs)):
        for j, tail in enumerate(tails):
            scale = np.sqrt(size**2 + rounding)
            density[i, j] = stats.t.logpdf(misfit, tail, scale=scale).sum()
    density += stats.norm.logpdf(logs, np.log(SPEED_NOISE.sd), np.log(SPEED_NOISE.factor))[:, None]
    weight = np.exp(density - density.max())
    weight /= weight.sum()
    drawn = run(misfit, rounding, SPEED_NOISE, 8000)
    size = weight.sum(axis=1)
    mean = size @ logs
    assert drawn[:, 0].mean() == pytest.approx(mean, abs=0.05)
    assert drawn[:, 0].std() == pytest.approx(np.sqrt(size @ (logs - mean) ** 2), rel=0.08)
    for j, tail in enumerate(tails):
        assert np.mean(drawn[:, 1] == tail) == pytest.approx(weight[:, j].sum(), abs=0.03)


@pytest.mark.parametrize("size", [0.02, 0.1, 0.3])
def test_many_misfits_overrule_the_prior(size: float) -> None:
    misfit = np.random.default_rng(1).normal(0.0, size, 5000)
    drawn = run(misfit, np.zeros(5000), SPEED_NOISE, 40)[10:]
    assert np.exp(drawn[:, 0]).mean() == pytest.approx(size, rel=0.08)
    assert np.median(drawn[:, 1]) >= 50.0  # no tails


def test_rounding_is_not_taken_for_noise() -> None:
    step = 0.5
    exact = np.random.default_rng(2).normal(0.0, 0.2, 4000)
    misfit = exact + np.random.default_rng(3).uniform(-0.5 * step, 0.5 * step, 4000)
    told = run(misfit, np.full(4000, step**2 / 12.0), SPEED_NOISE, 40)[10:]
    assert np.exp(told[:, 0]).mean() == pytest.approx(0.2, rel=0.1)


def test_heavy_tails_are_seen() -> None:
    misfit = 0.05 * np.random.default_rng(4).standard_t(4.0, 1500)
    drawn = run(misfit, np.zeros(1500), SPEED_NOISE, 60)[10:]
    assert 3.0 <= np.median(drawn[:, 1]) <= 6.0
    assert np.exp(drawn[:, 0]).mean() == pytest.approx(0.05, rel=0.1)


def test_no_misfits_leave_the_prior() -> None:
    drawn = run(np.zeros(0), np.zeros(0), POSITION_NOISE, 4000)[:, 0]
    assert drawn.mean() == pytest.approx(np.log(POSITION_NOISE.sd), abs=0.08)
    assert drawn.std() == pytest.approx(np.log(POSITION_NOISE.factor), rel=0.1)


def test_weights_have_the_mean_of_their_gamma_density() -> None:
    """(tail + axes) / (tail + Σ misfit² / variance) / variance for a mixture of normals."""
    noise = Noise(0.1, 4.0)
    misfit = np.array([[0.0, 0.1, 1.0], [0.0, 0.1, 0.0]])
    rounding = np.array([0.0, 0.01, 0.0])
    rng = np.random.default_rng(5)
    drawn = np.array([draw_weight(misfit, rounding, noise, rng) for _ in range(20_000)])
    variance = 0.01 + rounding
    expected = 6.0 / (4.0 + (misfit**2).sum(axis=0) / variance) / variance
    np.testing.assert_allclose(drawn.mean(axis=0), expected, rtol=0.02)


def test_an_outlier_loses_weight_and_takes_its_other_axis_with_it() -> None:
    rng = np.random.default_rng(6)
    misfit = np.array([[0.0, 50.0], [0.0, 0.0]])
    weight = draw_weight(misfit, np.zeros(2), Noise(1.0, 4.0), rng)
    assert weight[1] < 0.02 * weight[0]
