"""The linear system behind the motion estimate: knots, slow errors, standing still.

One axis is one chain with states [position,] speed, acceleration, jerk, and one state for each
slow error of the receiver. What is observed is position (or speed) + slow errors + white noise.
Fixes that are no knots are seen through the knots on either side.
A position log has two axes (east, north) that share everything but the observations, so they are
two right-hand sides of one matrix.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from roadtest.motion.between import Between, choose_knots
from roadtest.motion.chain import Band, Factor
from roadtest.motion.kinematics import SlowError, Steps, by_state, kinematic_steps, of_each
from roadtest.motion.terms import SummedTerms, Terms

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Shorts = NDArray[np.int32]

STILL_SPEED_SD = 0.003  # m/s: a car at rest rocks a little
STILL_ACCELERATION_SD = 0.02  # m/s²
_DIFFUSE_SD = 100.0  # of every kinematic state where a chain begins, from the reference
_LONG_S = 5.0
"""A gap over which next to nothing of the motion is known any more: what remains of it could drown
in the rounding of the matrix, so the knot after it begins afresh as well."""


@dataclass(frozen=True)
class Knots:
    """Times of fixes or of knots, and what is known at them beside the observations."""

    time_s: Floats  # [n], strictly increasing
    still: Bools  # [n], True where the car is known to stand
    cut: Bools  # [n-1], True where the chain is broken: a car that comes to rest stops slowing

    def part(self, pick: Ints) -> Knots:
        """Return those at the indices `pick`, in order; a cut between two of them stays one."""
        cuts = np.concatenate([[0], np.cumsum(self.cut)])  # before each
        return Knots(self.time_s[pick], self.still[pick], np.diff(cuts[pick]) > 0)


class MotionSystem:
    """Information matrices of one set of fixes, for any jerk intensity and any noise.

    There are n fixes and p knots.
    """

    def __init__(
        self, fixes: Knots, slow: tuple[SlowError, ...], reference: Floats | None = None
    ) -> None:
        """Prepare a system.

        Parameters
        ----------
        fixes : [n] times of fixes, observed or not
        slow : the slow errors
        reference : [c, n] float, m, a rough path the position is solved as a deviation from;
            None for a chain without position
        """
        with_position = reference is not None
        pick = choose_knots(fixes.time_s, fixes.cut)
        self.knots = fixes.part(pick)
        self.between = Between(fixes.time_s, pick, with_position)
        self.slow = slow
        self.kinematic = 4 if with_position else 3
        self.states = self.kinematic + len(slow)
        self._reference = None if reference is None else reference[:, pick]
        interval = np.diff(self.knots.time_s)
        self._whole = np.where(self.knots.cut, 0.0, 1.0)
        steps = kinematic_steps(interval, with_position)
        self._forward = of_each(steps.forward, steps.which)
        self._precision = of_each(steps.precision, steps.which)
        rows = self._rows()
        self._looks = self._looks_with(rows)
        self._terms = self._all_terms(steps, rows)
        self._shown_reference: Floats = np.zeros(fixes.time_s.size)
        if self._reference is not None:
            states = np.zeros((*self._reference.shape, self.states))
            states[:, :, 0] = self._reference
            self._shown_reference = self._shown(states)

    def _rows(self) -> Floats:
        """Return what a fix of each kind between knots sees of their states, [u, 2m]."""
        k, m, kinds = self.kinematic, self.states, self.between.bridge
        rows = np.zeros((kinds.since_s.size, 2 * m))
        rows[:, :k] = kinds.near[:, 0]
        rows[:, m : m + k] = kinds.far[:, 0]
        self._stray = kinds.covariance[:, 0, 0]
        self._slow_stray = np.zeros(kinds.since_s.size)
        for state, error in enumerate(self.slow, start=k):
            rows[:, state], rows[:, m + state], left = self.between.slow_shares(error)
            self._slow_stray += left
        return rows

    @property
    def _seen(self) -> list[int]:
        """The states that a fix sees which is a knot."""
        return [0, *range(self.kinematic, self.states)]

    def _looks_with(self, rows: Floats) -> csr_array:
        """Return the matrix [n, m·p] of what each fix sees of all states."""
        n, p, m = self.between.interval.size, self.knots.time_s.size, self.states
        inner = self.between.inner
        at_knot = m * np.arange(p, dtype=np.int32)[:, None] + np.array(self._seen, dtype=np.int32)
        before = (m * self.between.interval[inner]).astype(np.int32)[:, None]
        at_both = np.asarray(before + np.arange(2 * m, dtype=np.int32), dtype=np.int32)
        return _by_fix(
            n,
            m * p,
            (self.between.pick, at_knot, np.ones(at_knot.shape)),
            (np.asarray(inner, dtype=np.int64), at_both, rows[self.between.bridge.which]),
        )

    def _all_terms(self, steps: Steps, rows: Floats) -> SummedTerms:
        """Return the terms of the matrix: scales are weights [n], 1/intensities [p-1], and one."""
        n, p, m = self.between.interval.size, self.knots.time_s.size, self.states
        inner, one = self.between.inner, n + p - 1
        terms = Terms(p, m)
        own = np.zeros((1, m, m))
        own[0][np.ix_(self._seen, self._seen)] = 1.0
        terms.add_own(own, np.arange(p), np.zeros(p, dtype=np.int64), self.between.pick)
        terms.add_squares(rows, self.between.interval[inner], self.between.bridge.which, inner)
        moving = np.flatnonzero(~self.knots.cut)
        terms.add_pairs(self._jerk_blocks(steps), moving, steps.which[moving], n + moving)
        always = np.full(p, one)
        terms.add_pairs(self._slow_blocks(steps), np.arange(p - 1), steps.which, always[1:])
        for knots, precision in self._known():
            own = np.zeros((1, m, m))
            own[0, range(m), range(m)] = precision
            which = np.zeros(knots.size, dtype=np.int64)
            terms.add_own(own, knots, which, always[: knots.size])
        return terms.summed()

    def _jerk_blocks(self, steps: Steps) -> Floats:
        """Return what the jerk over intervals of each kind adds, intensity 1: [u, 2m, 2m]."""
        k, m = self.kinematic, self.states
        blocks = np.zeros((steps.interval_s.size, 2 * m, 2 * m))
        onward = -steps.precision @ steps.forward
        blocks[:, :k, :k] = -steps.forward.transpose(0, 2, 1) @ onward
        blocks[:, m : m + k, :k] = onward
        blocks[:, m : m + k, m : m + k] = steps.precision
        return blocks

    def _slow_blocks(self, steps: Steps) -> Floats:
        """Return what the slow errors' steps over intervals of each kind add, [u, 2m, 2m]."""
        m = self.states
        blocks = np.zeros((steps.interval_s.size, 2 * m, 2 * m))
        for i, error in enumerate(self.slow, start=self.kinematic):
            keep = np.exp(-steps.interval_s / error.memory_s)
            gain = 1.0 / (error.sd**2 * -np.expm1(-2.0 * steps.interval_s / error.memory_s))
            blocks[:, i, i], blocks[:, m + i, m + i] = keep**2 * gain, gain
            blocks[:, m + i, i] = -keep * gain
        return blocks

    def _known(self) -> Iterator[tuple[Ints, Floats]]:
        """Yield knots and the precisions [m] with which their states are known beforehand."""
        k, m = self.kinematic, self.states
        begins, first, rest = np.zeros(m), np.zeros(m), np.zeros(m)
        begins[:k] = 1.0 / _DIFFUSE_SD**2
        first[k:] = [1.0 / error.sd**2 for error in self.slow]
        rest[k - 3 : k - 1] = 1.0 / STILL_SPEED_SD**2, 1.0 / STILL_ACCELERATION_SD**2
        afresh = self.knots.cut | (np.diff(self.knots.time_s) > _LONG_S)
        yield np.flatnonzero(np.concatenate([[True], afresh])), begins
        yield np.array([0]), first
        yield np.flatnonzero(self.knots.still), rest

    def _shown(self, states: Floats) -> Floats:
        """Return what fixes [c, n] show of states [c, p, m]."""
        return np.asarray((self._looks @ states.reshape(states.shape[0], -1).T).T)

    def stray(self, intensity: Floats) -> Floats:
        """Return the variance [n] of what fixes see beside the states at their knots."""
        inner, kind = self.between.inner, self.between.bridge.which
        found = np.zeros(self.between.interval.size)
        found[inner] = self._stray[kind] * intensity[self.between.interval[inner]]
        found[inner] += self._slow_stray[kind]
        return found

    def band(self, intensity: Floats, weight: Floats) -> Band:
        """Return the information matrix.

        Parameters
        ----------
        intensity : [p-1] float, (m/s³)²·s, of the jerk between knots
        weight : [n] float, 1 / variance of each observation's white noise, 0 where there is none
        """
        return self._terms.band(np.concatenate([weight, 1.0 / intensity, [1.0]]))

    def rhs(self, observed: Floats, intensity: Floats, weight: Floats) -> Floats:
        """Return the right-hand sides [c, p, m] for `observed` [c, n] (finite where weight > 0)."""
        pull = np.where(weight > 0.0, weight * (observed - self._shown_reference), 0.0)
        rhs = np.ascontiguousarray((self._looks.T @ pull.T).T)
        rhs = rhs.reshape(observed.shape[0], -1, self.states)
        if self._reference is not None:
            step = -np.diff(self._reference)  # what the reference itself breaks of x[k+1] = F·x[k]
            broken = self._precision[:, 0, None] * (step * self._whole / intensity)
            rhs[:, 1:, :4] += broken.transpose(1, 2, 0)
            rhs[:, :-1, :4] -= np.einsum("ijn,icn->cnj", self._forward, broken)
        return rhs

    def kinematics(self, solution: Floats) -> Floats:
        """Return [c, p, k] kinematic states of `solution` [c, p, m], the reference added back.

        With c a multiple of the axes, those of several solutions.
        """
        states = by_state(solution[:, :, : self.kinematic])
        if self._reference is not None:
            states[0] += np.tile(self._reference, (states.shape[1] // self._reference.shape[0], 1))
        return states.transpose(1, 2, 0)

    def jerk_energy(self, kinematics: Floats) -> Floats:
        """Return [p-1]: eᵀ·Q⁻¹·e summed over axes, for intensity 1, of the steps in `kinematics`.

        Over c axes it is the intensity times a chi-square of c·k degrees of freedom.
        """
        states = by_state(kinematics)
        step = states[:, :, 1:] - np.einsum("ijn,jcn->icn", self._forward, states[:, :, :-1])
        energy = np.einsum("icn,ijn,jcn->n", step, self._precision, step)
        return np.asarray(energy * self._whole, dtype=np.float64)

    def misfit(self, solution: Floats, observed: Floats) -> Floats:
        """Return [c, n]: `observed` less what `solution` [c, p, m] shows, white noise aside."""
        return np.asarray(observed - self._shown_reference - self._shown(solution))

    def factor(self, intensity: Floats, weight: Floats) -> Factor:
        """Return the factored information matrix."""
        return Factor(self.band(intensity, weight), overwrite=True)


def _by_fix(count: int, width: int, *parts: tuple[Ints, Shorts, Floats]) -> csr_array:
    """Return the sparse matrix [count, width] of rows given in parts that share none.

    A part is the rows' numbers [f], and columns and values [f, r] of their elements.
    """
    starts = np.zeros(count + 1, dtype=np.int32)
    for rows, columns, _ in parts:
        starts[rows + 1] = columns.shape[1]
    np.cumsum(starts, out=starts)
    column, value = np.empty(starts[-1], dtype=np.int32), np.empty(starts[-1])
    for rows, columns, values in parts:
        place = starts[rows][:, None] + np.arange(columns.shape[1], dtype=np.int32)
        column[place], value[place] = columns, values
    return csr_array((value, column, starts), shape=(count, width))
