"""The linear system behind the estimate, against matrices built by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.motion.between import Between, choose_knots
from roadtest.motion.kinematics import SlowError, kinematic_steps
from roadtest.motion.system import STILL_ACCELERATION_SD, STILL_SPEED_SD, Knots, MotionSystem

SLOW = (SlowError(0.02, 2.0), SlowError(0.01, 60.0))
DIFFUSE_SD = 100.0


def fixes(time: np.ndarray, still: slice = slice(0, 0), cuts: tuple[int, ...] = ()) -> Knots:
    at_rest = np.zeros(time.size, dtype=bool)
    at_rest[still] = True
    cut = np.zeros(time.size - 1, dtype=bool)
    cut[list(cuts)] = True
    return Knots(time, at_rest, cut)


class Dense:
    """The same system as sums of squares of rows, one state vector for all knots."""

    def __init__(self, at: Knots, pick: np.ndarray, with_position: bool) -> None:
        self.k, self.m = (4, 4 + len(SLOW)) if with_position else (3, 3 + len(SLOW))
        self.p = pick.size
        self.matrix = np.zeros((self.p * self.m,) * 2)
        self.at, self.pick = at, pick
        self.between = Between(at.time_s, pick, with_position)
        self.steps = kinematic_steps(np.diff(at.time_s[pick]), with_position)

    def add(self, shares: dict[tuple[int, int], float], precision: float) -> None:
        """Add one row: knot and state give the share."""
        row = np.zeros(self.p * self.m)
        for (knot, state), share in shares.items():
            row[knot * self.m + state] += share
        self.matrix += precision * np.outer(row, row)

    def motion(self, intensity: np.ndarray) -> None:
        """Add the starts and the transitions."""
        for knot in range(self.p):
            cut = knot > 0 and bool(self.at.cut[self.pick[knot] - 1])
            for state in range(self.k):
                if knot == 0 or cut:
                    self.add({(knot, state): 1.0}, DIFFUSE_SD**-2)
            if knot == 0 or cut:
                continue
            kind = self.steps.which[knot - 1]
            root = np.linalg.cholesky(self.steps.precision[kind]).T
            step = -root @ self.steps.forward[kind]
            for i in range(self.k):
                shares = {(knot - 1, j): step[i, j] for j in range(self.k)}
                shares |= {(knot, j): root[i, j] for j in range(self.k)}
                self.add(shares, 1.0 / intensity[knot - 1])

    def slow(self) -> None:
        """Add the slow errors, which know nothing of cuts."""
        time = self.at.time_s[self.pick]
        for state, error in enumerate(SLOW, start=self.k):
            self.add({(0, state): 1.0}, error.sd**-2)
            for knot in range(1, self.p):
                keep = np.exp(-(time[knot] - time[knot - 1]) / error.memory_s)
                shares = {(knot, state): 1.0, (knot - 1, state): -keep}
                self.add(shares, 1.0 / (error.sd**2 * (1.0 - keep**2)))

    def rest(self) -> None:
        """Add what is known at rest."""
        for knot in np.flatnonzero(self.at.still[self.pick]):
            self.add({(int(knot), self.k - 3): 1.0}, STILL_SPEED_SD**-2)
            self.add({(int(knot), self.k - 2): 1.0}, STILL_ACCELERATION_SD**-2)

    def look(self, fix: int) -> dict[tuple[int, int], float]:
        """Return the shares of states in what a fix shows."""
        if fix in self.pick:
            knot = int(np.flatnonzero(self.pick == fix)[0])
            return {(knot, state): 1.0 for state in [0, *range(self.k, self.m)]}
        kinds = self.between.bridge
        i = kinds.which[int(np.flatnonzero(self.between.inner == fix)[0])]
        left = int(self.between.interval[fix])
        shares = {(left, j): float(kinds.near[i, 0, j]) for j in range(self.k)}
        shares |= {(left + 1, j): float(kinds.far[i, 0, j]) for j in range(self.k)}
        for state, error in enumerate(SLOW, start=self.k):
            near, far, _ = self.between.slow_shares(error)
            shares |= {(left, state): float(near[i]), (left + 1, state): float(far[i])}
        return shares


def dense_of(band_entries: np.ndarray) -> np.ndarray:
    size = band_entries.shape[1]
    lower = sum(np.diag(row[: size - d], -d) for d, row in enumerate(band_entries) if d < size)
    return np.asarray(lower + np.tril(lower, -1).T)


@pytest.mark.parametrize("with_position", [False, True])
@settings(derandomize=True, deadline=None, max_examples=25)
@given(seed=st.integers(0, 10_000))
def test_information_matrix_and_right_hand_side_are_those_built_by_hand(
    seed: int, with_position: bool
) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 12))
    time = np.cumsum(rng.choice([0.04, 0.1, 0.2, 1.0], n))
    at = fixes(time, slice(n // 2, n // 2 + 2), (0,) if n > 4 else ())
    reference = rng.normal(size=(2, n)) if with_position else None
    system = MotionSystem(at, SLOW, reference)
    pick = choose_knots(time, at.cut)
    intensity, weight = rng.uniform(0.1, 10.0, pick.size - 1), rng.uniform(0.0, 900.0, n)
    weight[rng.random(n) < 0.2] = 0.0
    observed = rng.normal(size=(2 if with_position else 1, n))
    dense = Dense(at, pick, with_position)
    dense.motion(intensity)
    dense.slow()
    dense.rest()
    without_looks = dense.matrix.copy()
    for fix in range(n):
        dense.add(dense.look(fix), weight[fix])
    found = dense_of(system.band(intensity, weight).entries)
    scale = np.sqrt(np.diag(dense.matrix))
    assert np.abs((found - dense.matrix) / np.outer(scale, scale)).max() < 1e-9
    if not with_position:
        rhs = np.zeros(dense.p * dense.m)
        for fix in range(n):
            for (knot, state), share in dense.look(fix).items():
                rhs[knot * dense.m + state] += weight[fix] * share * observed[0, fix]
        np.testing.assert_allclose(system.rhs(observed, intensity, weight).ravel(), rhs, atol=1e-9)
    assert not np.array_equal(without_looks, dense.matrix) or not weight.any()


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_reference_path_leaves_the_solution_unchanged(rate_hz: float) -> None:
    """But for the weak pull toward it where the chain begins."""
    rng = np.random.default_rng(1)
    time = np.arange(40) / rate_hz
    place = np.array([15.0 * time, 3.0 * time])
    observed = place + rng.normal(0.0, 0.3, place.shape)
    at = fixes(time)
    weight = np.full(time.size, 1.0 / 0.3**2)
    weight[10:14] = 0.0
    solved = []
    for reference in (observed, place + rng.normal(0.0, 2.0, place.shape)):
        system = MotionSystem(at, (SlowError(2.0, 120.0),), reference)
        intensity = np.full(system.knots.time_s.size - 1, 0.5)
        rhs = system.rhs(observed, intensity, weight)
        solved.append(system.kinematics(system.factor(intensity, weight).solve(rhs)))
        misfit = system.misfit(system.factor(intensity, weight).solve(rhs), observed)
        assert np.sqrt(np.mean(misfit[:, weight > 0.0] ** 2)) < 0.4
    np.testing.assert_allclose(solved[0], solved[1], atol=5e-3)


def test_a_cut_breaks_the_chain_of_motion_but_not_that_of_slow_errors() -> None:
    time = np.arange(20) * 0.2
    observed = np.full((1, 20), 5.0)
    bumped = observed.copy()
    bumped[0, 5:10] = 8.0
    weight = np.full(20, 400.0)

    def solve(values: np.ndarray, slow: tuple[SlowError, ...]) -> np.ndarray:
        system = MotionSystem(fixes(time, cuts=(9,)), slow)
        intensity = np.full(19, 1.0)
        rhs = system.rhs(values, intensity, weight)
        return np.asarray(system.factor(intensity, weight).solve(rhs)[0])

    change = solve(bumped, ()) - solve(observed, ())
    np.testing.assert_allclose(change[10:], 0.0, atol=1e-12)
    assert change[6:10, 0].min() > 2.0
    linked = solve(bumped, SLOW) - solve(observed, SLOW)
    assert np.abs(linked[10:, 3:]).max() > 1e-3 * np.abs(linked[:10, 3:]).max() > 1e-6


def test_energy_is_that_of_the_steps_and_nil_over_a_cut() -> None:
    rng = np.random.default_rng(3)
    time = np.cumsum(rng.uniform(0.15, 0.3, 8))
    system = MotionSystem(fixes(time, cuts=(4,)), ())
    states = rng.normal(size=(1, 8, 3))
    steps = kinematic_steps(np.diff(time), False)
    energy = system.jerk_energy(states)
    for k in range(7):
        kind = steps.which[k]
        step = states[0, k + 1] - steps.forward[kind] @ states[0, k]
        expected = 0.0 if k == 4 else step @ steps.precision[kind] @ step
        assert energy[k] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("rate_hz", "intensity"), [(25.0, 1.0), (25.0, 100.0), (10.0, 10.0)])
def test_seeing_fixes_through_knots_costs_next_to_nothing(rate_hz: float, intensity: float) -> None:
    """Mean and spread at every fix equal those of a chain with a knot at every fix.

    The straying between knots enters as noise of its own, unlinked from fix to fix.
    """
    rng = np.random.default_rng(4)
    time = np.arange(int(3 * rate_hz) + 1) / rate_hz
    n, noise = time.size, 0.03
    observed = (15.0 - 4.0 * np.clip(time - 1.5, 0.0, None) + rng.normal(0.0, noise, n))[None]
    system = MotionSystem(fixes(time), SLOW)
    assert system.knots.time_s.size < 0.6 * n
    jerk = np.full(system.knots.time_s.size - 1, intensity)
    weight = 1.0 / (noise**2 + system.stray(jerk))
    factor = system.factor(jerk, weight)
    found = system.between.mean(system.kinematics(factor.solve(system.rhs(observed, jerk, weight))))

    dense = Dense(fixes(time), np.arange(n), False)
    dense.motion(np.full(n - 1, intensity))
    dense.slow()
    for fix in range(n):
        dense.add(dense.look(fix), noise**-2)
    rhs = np.zeros((n, dense.m))
    rhs[:, [0, *range(3, dense.m)]] = observed[0, :, None] * noise**-2
    scale = 1.0 / np.sqrt(np.diag(dense.matrix))
    covariance = np.linalg.inv(dense.matrix * np.outer(scale, scale)) * np.outer(scale, scale)
    expected = (covariance @ rhs.ravel()).reshape(n, dense.m)
    u = np.sqrt(np.diag(covariance)).reshape(n, dense.m)
    for state in (0, 1):
        off = (found[0, :, state] - expected[:, state]) / u[:, state]
        assert np.sqrt(np.mean(off**2)) < 0.1
        assert np.abs(off).max() < 0.35


@pytest.mark.parametrize("gap_s", [6.0, 70.0, 3600.0])
def test_nothing_seen_between_a_gap_and_a_cut_can_be_solved(gap_s: float) -> None:
    """A few steps of very little jerk, with no observation, and then the car has come to rest.

    What the gap leaves of the motion is smaller than the rounding of the steps' entries.
    """
    after = 10.0 + gap_s + 0.2 * np.arange(60.0)
    time = np.concatenate([np.arange(0.0, 10.0, 0.1), after])
    system = MotionSystem(fixes(time, slice(105, 160), (104,)), SLOW)
    knots = system.knots.time_s
    weight = np.where(time < 10.0, 400.0, 0.0)
    for seed in range(20):
        quiet = 10.0 ** np.random.default_rng(seed).uniform(-3.0, -1.0, knots.size - 1)
        intensity = np.where(np.diff(knots) > 1.0, 600.0, quiet)
        assert np.isfinite(system.factor(intensity, weight).log_determinant)
