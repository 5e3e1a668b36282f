"""The liveliness of the jerk: bins, their ties, and a sampler that keeps to the right density."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.motion.intensity import (
    ANCHOR_FREEDOM,
    ANCHOR_INTENSITY,
    BIN_S,
    MOST_INTENSITY,
    TIE,
    Bins,
    bins_for,
    draw_anchor,
    draw_precision,
)


@settings(derandomize=True, deadline=None)
@given(st.lists(st.floats(0.02, 3.0), min_size=1, max_size=80))
def test_bins_hold_neighbours_and_all_freedom(steps: list[float]) -> None:
    time = np.concatenate([[100.0], 100.0 + np.cumsum(steps)])
    freedom = np.random.default_rng(0).integers(0, 5, len(steps)).astype(float)
    bins = bins_for(time, freedom)
    assert bins.of_interval.size == len(steps)
    assert set(np.diff(bins.of_interval).tolist()) <= {0, 1}
    assert bins.of_interval[0] == 0
    assert bins.count == bins.of_interval[-1] + 1
    assert bins.tie.size == bins.count - 1
    assert bins.freedom.sum() == freedom.sum()
    middle = 0.5 * (time[1:] + time[:-1])
    for k in range(bins.count):
        inside = middle[bins.of_interval == k]
        assert inside[-1] - inside[0] <= BIN_S
        assert bins.freedom[k] == freedom[bins.of_interval == k].sum()
    assert np.all((bins.tie > 0.0) & (bins.tie <= TIE))


def test_bins_further_apart_are_tied_more_weakly() -> None:
    ends = (0.75, 1.5, 3.0, 180.0)
    ties = [bins_for(np.linspace(0.0, end, 4), np.ones(3)).tie[0] for end in ends]
    assert ties[0] == TIE
    assert np.all(np.diff(ties) < 0.0)


def exact(energy: np.ndarray, bins: Bins, anchor: float) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and covariance of log precision, by sums over a grid.

    With the links integrated out the density of precisions p is the product of
    p^(f/2 + a/2 - 1)·exp(-p·(E/2 + a·anchor/2)) over bins and of
    (p·p')^t / (p + p')^(2t) over ties.
    """
    axis = np.linspace(-14.0, 9.0, 161 if bins.count == 2 else 81)
    logs = np.array(np.meshgrid(*[axis] * bins.count, indexing="ij"))
    p = np.exp(logs)
    shape = 0.5 * (bins.freedom + ANCHOR_FREEDOM)
    rate = 0.5 * (np.bincount(bins.of_interval, energy) + ANCHOR_FREEDOM * anchor)
    density = np.tensordot(shape, logs, 1) - np.tensordot(rate, p, 1)  # of log p
    for k, tie in enumerate(bins.tie):
        density += tie * (logs[k] + logs[k + 1]) - 2.0 * tie * np.log(p[k] + p[k + 1])
    weight = np.exp(density - density.max())
    weight /= weight.sum()
    mean = np.array([(weight * x).sum() for x in logs])
    off = logs - mean.reshape(-1, *[1] * bins.count)
    return mean, np.array([[(weight * a * b).sum() for a in off] for b in off])


@pytest.mark.parametrize(
    ("freedom", "energy", "tie"),
    [
        ([3.0, 3.0], [0.6, 40.0], [1.0]),
        ([3.0, 0.0], [3.0, 0.0], [1.0]),  # a bin that only its neighbour tells about
        ([6.0, 3.0, 3.0], [2.0, 30.0, 300.0], [1.0, 0.25]),
    ],
)
def test_sampler_keeps_to_its_density(
    freedom: list[float], energy: list[float], tie: list[float]
) -> None:
    bins = Bins(np.arange(len(freedom)), np.array(freedom), np.array(tie))
    rng = np.random.default_rng(5)
    precision = np.ones(bins.count)
    anchor = 0.2
    drawn = np.empty((20_000, bins.count))
    for k in range(drawn.shape[0]):
        precision = draw_precision(np.array(energy), precision, bins, anchor, rng)
        drawn[k] = np.log(precision)
    mean, covariance = exact(np.array(energy), bins, anchor)
    blocks = drawn.reshape(50, -1, bins.count).mean(axis=1)  # long against the chain's memory
    error = blocks.std(axis=0, ddof=1) / np.sqrt(50)
    assert np.abs((drawn.mean(axis=0) - mean) / error).max() < 4.0
    spread = np.sqrt(np.diag(covariance))
    off = (np.cov(drawn.T) - covariance) / np.outer(spread, spread)
    assert np.abs(off).max() < 0.1


def test_precision_follows_the_energy_where_the_log_says_much() -> None:
    rng = np.random.default_rng(6)
    true = np.repeat([0.01, 30.0], 400)
    energy = true * rng.chisquare(30.0, true.size)
    bins = Bins(np.arange(800), np.full(800, 30.0), np.full(799, TIE))
    precision = np.ones(800)
    kept = []
    for _ in range(40):
        precision = draw_precision(energy, precision, bins, 0.2, rng)
        kept.append(np.log(precision))
    off = np.mean(kept[10:], axis=0) + np.log(true)
    assert abs(np.mean(off)) < 0.1  # a logarithm of scattered energies is low by a thirtieth
    assert np.std(off) < 0.4


def test_no_jerk_is_livelier_than_any_car_survives() -> None:
    # A chain that ran on to 2e7 left a matrix too ill-conditioned to be factored.
    bins = bins_for(np.linspace(0.0, 1.6, 9), np.full(8, 3.0))
    rng = np.random.default_rng(8)
    precision = draw_precision(np.full(8, 1e12), np.ones(bins.count), bins, 0.2, rng)
    assert np.all(precision >= 1.0 / MOST_INTENSITY)


def test_input_is_not_written_to() -> None:
    bins = bins_for(np.linspace(0.0, 1.6, 9), np.full(8, 3.0))
    energy, precision = np.full(8, 2.0), np.ones(bins.count)
    draw_precision(energy, precision, bins, 0.2, np.random.default_rng(1))
    assert np.all(energy == 2.0)
    assert np.all(precision == 1.0)


def test_anchor_goes_from_its_usual_value_to_that_of_the_log() -> None:
    rng = np.random.default_rng(7)
    none = [draw_anchor(np.ones(0), rng) for _ in range(4000)]
    assert np.mean(none) == pytest.approx(ANCHOR_INTENSITY, rel=0.1)
    calm = [draw_anchor(np.full(5000, 1.0 / 0.004), rng) for _ in range(200)]
    assert np.mean(calm) == pytest.approx(0.004, rel=0.05)
