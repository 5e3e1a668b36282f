"""Fixes between knots: which fixes are knots, and what the others are given those."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.motion.between import KNOT_SPACING_S, Between, choose_knots
from roadtest.motion.chain import Band, neighbour_covariances
from roadtest.motion.kinematics import SlowError, kinematic_steps

HALF = 0.5 * KNOT_SPACING_S
STEPS = st.lists(
    st.one_of(st.floats(1e-3, 0.05), st.floats(0.05, 0.4), st.floats(0.4, 100.0)),
    min_size=1,
    max_size=60,
)


@settings(derandomize=True, deadline=None)
@given(steps=STEPS, seed=st.integers(0, 1000))
def test_knots_are_as_close_as_promised_and_keep_every_cut(steps: list[float], seed: int) -> None:
    time = np.concatenate([[0.0], np.cumsum(steps)])
    cut = np.random.default_rng(seed).random(len(steps)) < 0.1
    pick = choose_knots(time, cut)
    assert np.all(np.diff(pick) > 0)
    assert pick[0] == 0
    assert pick[-1] == time.size - 1
    assert set(np.flatnonzero(cut)) | set(np.flatnonzero(cut) + 1) <= set(pick.tolist())
    ends = {0, time.size - 1} | set(np.flatnonzero(cut)) | set(np.flatnonzero(cut) + 1)
    for before, after in pairwise(pick.tolist()):
        spacing = time[after] - time[before]
        if cut[before]:
            continue
        assert spacing >= HALF - 1e-5 or {before, after} <= ends
        if spacing > KNOT_SPACING_S + 1e-5:
            # Then no fix lies where a knot would be well placed.
            inside = time[before + 1 : after] - time[before]
            close = np.minimum(inside, spacing - inside) < HALF + 1e-5
            assert np.all(close) or (after in ends and spacing < KNOT_SPACING_S + HALF)


@pytest.mark.parametrize(("rate_hz", "every"), [(1, 1), (5, 1), (8, 1), (10, 2), (20, 4), (25, 5)])
def test_knots_of_steady_logs(rate_hz: int, every: int) -> None:
    time = np.arange(201) / rate_hz
    pick = choose_knots(time, np.zeros(200, dtype=bool))
    inside = pick[pick <= 190]
    np.testing.assert_array_equal(inside, np.arange(0, inside[-1] + 1, every))


def uneven(seed: int, n: int = 40) -> np.ndarray:
    return np.cumsum(np.random.default_rng(seed).uniform(0.02, 0.13, n))


@pytest.mark.parametrize("with_position", [False, True])
def test_mean_and_covariance_are_those_of_a_chain_with_a_knot_at_every_fix(
    with_position: bool,
) -> None:
    """Of all fixes under white jerk, given the states at the knots, nothing else observed."""
    time = uneven(1, 12)
    n, k = time.size, 4 if with_position else 3
    pick = choose_knots(time, np.zeros(n - 1, dtype=bool))
    steps = kinematic_steps(np.diff(time), with_position)
    precision = np.zeros((n, k, n, k))
    for i, kind in enumerate(steps.which):
        forward, inverse = steps.forward[kind], steps.precision[kind]
        precision[i, :, i] += forward.T @ inverse @ forward
        precision[i + 1, :, i + 1] += inverse
        precision[i, :, i + 1] -= forward.T @ inverse
        precision[i + 1, :, i] -= inverse @ forward
    inner, states_of = np.setdiff1d(np.arange(n), pick), np.arange(k)
    assert inner.size >= 4
    flat = precision[np.ix_(inner, states_of, inner, states_of)].reshape(inner.size * k, -1)
    given_knots = precision[np.ix_(inner, states_of, pick, states_of)].reshape(inner.size * k, -1)
    scale = 1.0 / np.sqrt(np.diag(flat))
    covariance = np.linalg.inv(flat * np.outer(scale, scale)) * np.outer(scale, scale)
    states = np.random.default_rng(2).normal(size=(pick.size, k))
    expected = (-covariance @ given_knots @ states.ravel()).reshape(-1, k)

    between = Between(time, pick, with_position)
    found = between.mean(states[None])[0]
    np.testing.assert_array_equal(found[pick], states)
    np.testing.assert_allclose(found[inner], expected, atol=1e-5 * np.abs(expected).max())
    spread = np.sqrt(np.diag(covariance)).reshape(-1, k)
    for i in range(inner.size):
        block = covariance[i * k : (i + 1) * k, i * k : (i + 1) * k]
        off = (between.bridge.covariance[between.bridge.which[i]] - block) / np.outer(
            spread[i], spread[i]
        )
        assert np.abs(off).max() < 1e-4

    count = 20_000
    same = np.broadcast_to(states, (count, pick.size, k))
    drawn = between.draw(same, np.ones(pick.size - 1), np.random.default_rng(3))
    np.testing.assert_array_equal(drawn[:, pick], same)
    z = ((drawn - found)[:, inner] / spread).reshape(count, -1)
    joint = covariance / np.outer(spread.ravel(), spread.ravel())
    assert np.abs(z.mean(axis=0)).max() < 5.0 / np.sqrt(count)
    assert np.abs(np.cov(z.T) - joint).max() < 5.0 * np.sqrt(2.0 / count)


def test_straying_grows_with_the_root_of_intensity() -> None:
    time = uneven(3)
    pick = choose_knots(time, np.zeros(time.size - 1, dtype=bool))
    between = Between(time, pick, False)
    states = np.zeros((1, pick.size, 3))
    calm, lively = (
        between.draw(states, np.full(pick.size - 1, q), np.random.default_rng(4))
        for q in (1.0, 9.0)
    )
    np.testing.assert_allclose(lively, 3.0 * calm)


def test_variance_at_fixes_follows_from_covariances_at_knots() -> None:
    """Against draws of the knots from a chain, and of the fixes between them."""
    time = uneven(5, 10)
    pick = choose_knots(time, np.zeros(time.size - 1, dtype=bool))
    between = Between(time, pick, False)
    p = pick.size
    rng = np.random.default_rng(6)
    band = Band.empty(p, 3)
    band.entries[0] = rng.uniform(2.0, 4.0, 3 * p)
    band.within(1, 0)[:] = rng.uniform(-0.5, 0.5, p)
    band.onward(0, 0)[:] = rng.uniform(-0.9, 0.9, p - 1)
    own, onward = neighbour_covariances(band)
    intensity = rng.uniform(0.5, 2.0, p - 1)
    every = [between.variance(state, own, onward, intensity) for state in range(3)]
    np.testing.assert_array_equal(np.array(every)[:, pick].T, np.diagonal(own, axis1=1, axis2=2))
    dense = np.zeros((3 * p, 3 * p))
    for d in range(6):
        diagonal = band.entries[d, : 3 * p - d]
        dense += np.diag(diagonal, -d) + (np.diag(diagonal, d) if d else 0.0)
    whole = np.linalg.inv(dense)
    for fix, left in zip(between.inner, between.interval[between.inner], strict=True):
        kinds = between.bridge
        i = kinds.which[int(np.flatnonzero(between.inner == fix)[0])]
        share = np.zeros((3, 3 * p))
        share[:, 3 * left : 3 * left + 3] = kinds.near[i]
        share[:, 3 * left + 3 : 3 * left + 6] = kinds.far[i]
        expected = share @ whole @ share.T + kinds.covariance[i] * intensity[left]
        found = [row[fix] for row in every]
        np.testing.assert_allclose(found, np.diag(expected), atol=1e-9)


def test_gathered_weights_give_the_same_sum() -> None:
    time = uneven(7)
    pick = choose_knots(time, np.zeros(time.size - 1, dtype=bool))
    between = Between(time, pick, True)
    rng = np.random.default_rng(8)
    states = rng.normal(size=(2, pick.size, 4))
    weights = rng.normal(size=(2, time.size, 4))
    kept = weights.copy()
    at_fixes = float((weights * between.mean(states)).sum())
    assert float((between.gather(weights) * states).sum()) == pytest.approx(at_fixes, rel=1e-9)
    np.testing.assert_array_equal(weights, kept)


@settings(derandomize=True, deadline=None)
@given(st.floats(0.1, 100.0), st.floats(0.001, 3.0))
def test_slow_error_between_knots_is_the_conditional_of_its_covariance(
    memory_s: float, sd: float
) -> None:
    """The covariance of an Ornstein-Uhlenbeck process is sd²·exp(-|t|/memory)."""
    time = np.array([0.0, 0.07, 0.2])
    between = Between(time, np.array([0, 2]), False)
    near, far, left = between.slow_shares(SlowError(sd, memory_s))
    covariance = sd**2 * np.exp(-np.abs(time[:, None] - time) / memory_s)
    shares = np.linalg.solve(covariance[np.ix_([0, 2], [0, 2])], covariance[[0, 2], 1])
    assert near[0] == pytest.approx(shares[0], rel=1e-6)
    assert far[0] == pytest.approx(shares[1], rel=1e-6)
    assert left[0] == pytest.approx(sd**2 - shares @ covariance[[0, 2], 1], abs=1e-9 * sd**2)
