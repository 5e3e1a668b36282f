"""The linear system behind the motion estimate: knots, slow errors, standing still.

One axis is one chain with states [position,] speed, acceleration, jerk, and one state for each
slow error of the receiver. What is observed is position (or speed) + slow errors + white noise.
A position log has two axes (east, north) that share everything but the observations, so they are
two right-hand sides of one matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.chain import Band, Factor
from roadtest.motion.kinematics import SlowError, kinematic_steps

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STILL_SPEED_SD = 0.003  # m/s: a car at rest rocks a little
STILL_ACCELERATION_SD = 0.02  # m/s²
_DIFFUSE_SD = 100.0  # of every kinematic state where a chain begins, from the reference


@dataclass(frozen=True)
class Knots:
    """Where the chain has knots, and what is known at them beside the observations."""

    time_s: Floats  # [n], strictly increasing
    still: Bools  # [n], True where the car is known to stand
    cut: Bools  # [n-1], True where the chain is broken: a car that comes to rest stops slowing


class MotionSystem:
    """Information matrices of one set of knots, for any jerk intensity and any noise."""

    def __init__(
        self, knots: Knots, slow: tuple[SlowError, ...], reference: Floats | None = None
    ) -> None:
        """Prepare a system.

        Parameters
        ----------
        knots : [n] knots
        slow : the slow errors
        reference : [c, n] float, m, a rough path the position is solved as a deviation from;
            None for a chain without position
        """
        self.knots = knots
        self.slow = slow
        self.kinematic = 3 if reference is None else 4
        self.states = self.kinematic + len(slow)
        self.reference = reference
        self._interval = np.diff(knots.time_s)
        steps = kinematic_steps(self._interval, reference is not None)
        self._whole = np.where(knots.cut, 0.0, 1.0)
        self._forward = steps.forward
        self._precision = steps.precision
        onward = -steps.precision @ steps.forward
        before = -steps.forward.transpose(0, 2, 1) @ onward
        # [k, k, n-1], each plane contiguous: they are scaled anew at every sweep
        self._before = np.ascontiguousarray(before.transpose(1, 2, 0))
        self._after = np.ascontiguousarray(steps.precision.transpose(1, 2, 0))
        self._onward = np.ascontiguousarray(onward.transpose(1, 2, 0))
        self._fixed = self._fixed_part()

    def _fixed_part(self) -> Band:
        """Return what depends neither on intensity nor on noise."""
        band = Band.empty(self.knots.time_s.size, self.states)
        for i in range(self.kinematic):
            begins = np.concatenate([[True], self.knots.cut])
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

    def band(self, intensity: Floats, weight: Floats) -> Band:
        """Return the information matrix.

        Parameters
        ----------
        intensity : [n-1] float, (m/s³)²·s, of the jerk over each interval
        weight : [n] float, 1 / variance of each observation's white noise, 0 where there is none
        """
        band = self._fixed.copy()
        scale = self._whole / intensity
        for i in range(self.kinematic):
            for j in range(self.kinematic):
                if i >= j:
                    band.within(i, j)[:-1] += self._before[i, j] * scale
                    band.within(i, j)[1:] += self._after[i, j] * scale
                band.onward(i, j)[:] += self._onward[i, j] * scale
        seen = [0, *range(self.kinematic, self.states)]
        for i in seen:
            for j in seen:
                if i >= j:
                    band.within(i, j)[:] += weight
        return band

    def rhs(self, observed: Floats, intensity: Floats, weight: Floats) -> Floats:
        """Return the right-hand sides [c, n, m] for `observed` [c, n] (finite where weight > 0)."""
        rhs = np.zeros((observed.shape[0], self.knots.time_s.size, self.states))
        departure = observed if self.reference is None else observed - self.reference
        pull = np.where(weight > 0.0, weight * departure, 0.0)
        for i in [0, *range(self.kinematic, self.states)]:
            rhs[:, :, i] = pull
        if self.reference is not None:
            step = -np.diff(self.reference)  # what the reference itself breaks of x[k+1] = F·x[k]
            broken = self._precision[:, :, 0] * (step * self._whole / intensity)[:, :, None]
            rhs[:, 1:, :4] += broken
            rhs[:, :-1, :4] -= np.einsum("nij,cni->cnj", self._forward, broken)
        return rhs

    def kinematics(self, solution: Floats) -> Floats:
        """Return [c, n, k] kinematic states of `solution` [c, n, m], the reference added back."""
        states = solution[:, :, : self.kinematic].copy()
        if self.reference is not None:
            states[:, :, 0] += self.reference
        return states

    def jerk_energy(self, kinematics: Floats) -> Floats:
        """Return [n-1]: eᵀ·Q⁻¹·e summed over axes, for intensity 1, of the steps in `kinematics`.

        Over c axes it is the intensity times a chi-square of c·k degrees of freedom.
        """
        step = kinematics[:, 1:] - np.einsum("nij,cnj->cni", self._forward, kinematics[:, :-1])
        energy = np.einsum("cni,nij,cnj->n", step, self._precision, step, optimize=True)
        return np.asarray(energy * self._whole, dtype=np.float64)

    def misfit(self, solution: Floats, observed: Floats) -> Floats:
        """Return [c, n]: `observed` less what `solution` [c, n, m] shows, white noise aside."""
        shown = solution[:, :, 0] + solution[:, :, self.kinematic :].sum(axis=2)
        departure = observed if self.reference is None else observed - self.reference
        return np.asarray(departure - shown, dtype=np.float64)

    def factor(self, intensity: Floats, weight: Floats) -> Factor:
        """Return the factored information matrix."""
        return Factor(self.band(intensity, weight))
