"""The linear system behind the motion estimate: knots, slow errors, standing still.

One axis is one chain with states [position,] speed, acceleration, jerk, and one state for each
slow error of the receiver. What is observed is position (or speed) + slow errors + white noise.
Fixes that are no knots are seen through the knots on either side.
A position log has two axes (east, north) that share everything but the observations, so they are
two right-hand sides of one matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from roadtest.motion.between import Between, choose_knots
from roadtest.motion.chain import Band, Factor
from roadtest.motion.kinematics import SlowError, kinematic_steps

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
        self._interval = np.diff(self.knots.time_s)
        steps = kinematic_steps(self._interval, with_position)
        self._whole = np.where(self.knots.cut, 0.0, 1.0)
        self._forward = steps.forward
        self._precision = steps.precision
        onward = -steps.precision @ steps.forward
        before = -steps.forward.transpose(0, 2, 1) @ onward
        self._from_before, self._from_after = self._jerk_part(before, steps.precision, onward)
        self._scaled = np.empty_like(self._from_before), np.empty_like(self._from_after)
        self._fixed = self._fixed_part()
        self._prepare_looks()

    def _jerk_part(self, before: Floats, after: Floats, onward: Floats) -> tuple[Floats, Floats]:
        """Return what the jerk between knots adds to the columns of its two knots, intensity 1.

        That is [p-1, k, m + k] and [p-1, k, k] float, column by column as the band is stored.
        """
        k, m = self.kinematic, self.states
        to_before, to_after = np.zeros((before.shape[0], k, m + k)), np.zeros(before.shape)
        for i in range(k):
            for j in range(k):
                if i >= j:
                    to_before[:, j, i - j] = before[:, i, j]
                    to_after[:, j, i - j] = after[:, i, j]
                to_before[:, j, m + i - j] = onward[:, i, j]
        return to_before, to_after

    def _prepare_looks(self) -> None:
        """Work out how each fix sees the states of its two knots, and what that leaves open."""
        n, p, m = self.between.interval.size, self.knots.time_s.size, self.states
        inner = np.asarray(self.between.inner, dtype=np.int64)
        seen = np.array([0, *range(self.kinematic, m)], dtype=np.int32)  # by a fix that is a knot
        at_knot = m * np.arange(p, dtype=np.int32)[:, None]
        rows = np.zeros((inner.size, 2 * m))  # shares of the states at the knots before and after
        rows[:, : self.kinematic] = self.between.near[:, 0]
        rows[:, m : m + self.kinematic] = self.between.far[:, 0]
        self._slow_stray = np.zeros(n)
        for state, error in enumerate(self.slow, start=self.kinematic):
            near, far, left = self.between.slow_shares(error)
            rows[:, state], rows[:, m + state] = near, far
            self._slow_stray[inner] += left
        self._stray = np.zeros(n)
        self._stray[inner] = self.between.stray[:, 0, 0]
        before = (m * self.between.interval[inner]).astype(np.int32)[:, None]
        self._looks = _by_fix(
            n,
            m * p,
            (self.between.pick, at_knot + seen, np.ones((p, seen.size))),
            (inner, np.asarray(before + np.arange(2 * m), dtype=np.int32), rows),
        )
        a, b = (k.astype(np.int32) for k in np.tril_indices(2 * m))
        products = np.empty((inner.size, a.size))
        for k in range(a.size):
            np.multiply(rows[:, a[k]], rows[:, b[k]], out=products[:, k])
        one, other = (seen[k] for k in np.tril_indices(seen.size))
        own_entry = np.asarray((at_knot + other) * 2 * m + one - other, dtype=np.int32)
        self._squares = _by_fix(  # columns are entries of the band, in the order it is stored
            n,
            self._fixed.entries.size,
            (self.between.pick, own_entry, np.ones(own_entry.shape)),
            (inner, (before + b) * 2 * m + a - b, products),
        )
        self._shown_reference: Floats = np.zeros(n)
        if self._reference is not None:
            states = np.zeros((*self._reference.shape, m))
            states[:, :, 0] = self._reference
            self._shown_reference = self._shown(states)

    def _shown(self, states: Floats) -> Floats:
        """Return what fixes [c, n] show of states [c, p, m]."""
        return np.asarray((self._looks @ states.reshape(states.shape[0], -1).T).T)

    def _fixed_part(self) -> Band:
        """Return what depends neither on intensity nor on noise."""
        band = Band.empty(self.knots.time_s.size, self.states)
        for i in range(self.kinematic):
            begins = np.concatenate([[True], self.knots.cut | (self._interval > _LONG_S)])
            band.within(i, i)[begins] += 1.0 / _DIFFUSE_SD**2
        for i, error in enumerate(self.slow, start=self.kinematic):
            keep = np.exp(-self._interval / error.memory_s)
            gain = 1.0 / (error.sd**2 * -np.expm1(-2.0 * self._interval / error.memory_s))
            band.within(i, i)[0] += 1.0 / error.sd**2
            band.within(i, i)[:-1] += keep**2 * gain
            band.within(i, i)[1:] += gain
            band.onward(i, i)[:] -= keep * gain
        still = self.knots.still
        speed = self.kinematic - 3
        band.within(speed, speed)[still] += 1.0 / STILL_SPEED_SD**2
        band.within(speed + 1, speed + 1)[still] += 1.0 / STILL_ACCELERATION_SD**2
        return band

    def stray(self, intensity: Floats) -> Floats:
        """Return the variance [n] of what fixes see beside the states at their knots."""
        return self._slow_stray + self._stray * intensity[self.between.interval]

    def band(self, intensity: Floats, weight: Floats) -> Band:
        """Return the information matrix.

        Parameters
        ----------
        intensity : [p-1] float, (m/s³)²·s, of the jerk between knots
        weight : [n] float, 1 / variance of each observation's white noise, 0 where there is none
        """
        k, m = self.kinematic, self.states
        flat = self._squares.T @ weight
        flat += self._fixed.entries.ravel(order="K")  # a view: the band is in Fortran order
        scale = (self._whole / intensity)[:, None, None]
        columns = flat.reshape(-1, m, 2 * m)  # a view, [p, m, 2m]
        columns[:-1, :k, : m + k] += np.multiply(self._from_before, scale, out=self._scaled[0])
        columns[1:, :k, :k] += np.multiply(self._from_after, scale, out=self._scaled[1])
        return Band(flat.reshape(2 * m, -1, order="F"), m)

    def rhs(self, observed: Floats, intensity: Floats, weight: Floats) -> Floats:
        """Return the right-hand sides [c, p, m] for `observed` [c, n] (finite where weight > 0)."""
        pull = np.where(weight > 0.0, weight * (observed - self._shown_reference), 0.0)
        rhs = np.ascontiguousarray((self._looks.T @ pull.T).T)
        rhs = rhs.reshape(observed.shape[0], -1, self.states)
        if self._reference is not None:
            step = -np.diff(self._reference)  # what the reference itself breaks of x[k+1] = F·x[k]
            broken = self._precision[:, :, 0] * (step * self._whole / intensity)[:, :, None]
            rhs[:, 1:, :4] += broken
            rhs[:, :-1, :4] -= np.einsum("nij,cni->cnj", self._forward, broken)
        return rhs

    def kinematics(self, solution: Floats) -> Floats:
        """Return [c, p, k] kinematic states of `solution` [c, p, m], the reference added back."""
        states = solution[:, :, : self.kinematic].copy()
        if self._reference is not None:
            states[:, :, 0] += self._reference
        return states

    def jerk_energy(self, kinematics: Floats) -> Floats:
        """Return [p-1]: eᵀ·Q⁻¹·e summed over axes, for intensity 1, of the steps in `kinematics`.

        Over c axes it is the intensity times a chi-square of c·k degrees of freedom.
        """
        step = kinematics[:, 1:] - np.einsum("nij,cnj->cni", self._forward, kinematics[:, :-1])
        energy = np.einsum("cni,nij,cnj->n", step, self._precision, step, optimize=True)
        return np.asarray(energy * self._whole, dtype=np.float64)

    def misfit(self, solution: Floats, observed: Floats) -> Floats:
        """Return [c, n]: `observed` less what `solution` [c, p, m] shows, white noise aside."""
        return np.asarray(observed - self._shown_reference - self._shown(solution))

    def factor(self, intensity: Floats, weight: Floats) -> Factor:
        """Return the factored information matrix."""
        return Factor(self.band(intensity, weight), overwrite=True)


def _by_fix(count: int, width: int, *parts: tuple[Ints, Shorts, Floats]) -> csr_array:
    """Return the sparse matrix [count, width] of rows given in parts that share none.

    A part is the rows' numbers [f], and columns and values [f, r] of their elements. Indices are
    short: there are some 30 for each fix.
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
