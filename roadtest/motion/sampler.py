"""Gibbs sampler over the motion, the liveliness of its jerk, and the noise of the observations.

Each sweep draws the whole motion in one go (it is Gaussian given the rest), then the jerk
intensities given the motion, then the noise given the misfits. The spread of the draws holds all
that is not known, tails and changes of pace included.

Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 11 (Gibbs sampler) and
chapter 17.2 (Student's t as a mixture of normals); value from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.intensity import (
    ANCHOR_INTENSITY,
    Bins,
    bins_for,
    draw_anchor,
    draw_precision,
)
from roadtest.motion.kinematics import SlowError
from roadtest.motion.noise import Noise, NoisePrior, draw_noise, draw_weight
from roadtest.motion.system import Knots, MotionSystem

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Observed:
    """What the log shows at the knots: c = 1 row of speeds, or c = 2 rows of positions."""

    knots: Knots
    values: Floats  # [c, n], NaN where nothing is observed
    rounding: Floats  # [n], variance that rounding adds
    with_position: bool
    clamp_mps: float = 0.0  # below this the receiver may write zero for a rolling car

    @property
    def seen(self) -> Bools:
        """[n], True where there is an observation."""
        return np.asarray(np.isfinite(self.values).all(axis=0))

    def part(self, pick: NDArray[np.int64]) -> Observed:
        """Return the observations at the knots `pick`, in order."""
        return replace(
            self,
            knots=self.knots.part(pick),
            values=self.values[:, pick],
            rounding=self.rounding[pick],
        )


@dataclass(frozen=True)
class Model:
    """What is assumed of a receiver."""

    prior: NoisePrior
    slow: tuple[SlowError, ...]


class Sampler:
    """The state of one Gibbs chain."""

    def __init__(
        self, observed: Observed, model: Model, noise: Noise, rng: np.random.Generator
    ) -> None:
        """Set up a chain at `noise` and at a middling jerk intensity."""
        self.observed = observed
        self.model = model
        self.noise = noise
        self._rng = rng
        self.seen = observed.seen
        self._values = np.where(self.seen, observed.values, 0.0)
        reference = _rough_path(observed) if observed.with_position else None
        self.system = MotionSystem(observed.knots, model.slow, reference)
        freedom = self.system.kinematic * observed.values.shape[0]
        whole = np.where(self.system.knots.cut, 0.0, float(freedom))
        self.bins: Bins = bins_for(self.system.knots.time_s, whole)
        self.precision = np.full(self.bins.count, 1.0)
        self.anchor = ANCHOR_INTENSITY
        self.weight = self._plain_weight()

    def _plain_weight(self) -> Floats:
        return np.where(self.seen, 1.0 / (self.noise.sd**2 + self._known_variance()), 0.0)

    def _known_variance(self) -> Floats:
        """Return the variance [n] of rounding and of the motion's straying between knots."""
        return self.observed.rounding + self.system.stray(self.intensity)

    @property
    def intensity(self) -> Floats:
        """[p-1], jerk intensity between the system's p knots."""
        return self.of_bins(1.0 / self.precision)

    def of_bins(self, values: Floats) -> Floats:
        """Return `values` [b] of the bins for the intervals [p-1] between knots."""
        return values[self.bins.of_interval]

    def sweep(self, with_noise: bool, count: int = 1) -> Floats:
        """Draw everything once; return the drawn kinematic states [count·c, n, k] at all fixes.

        `with_noise` draws the noise's size and tails too, and with them how calm the log is, for
        at a low rate the two can be told apart only together. `count` motions are drawn for the
        same intensities and weights, draw by draw; the chain goes on from the last of them.
        """
        intensity = self.intensity
        motion = self.step(with_noise, count)
        return self.system.between.draw(motion, intensity, self._rng)

    def step(self, with_noise: bool, count: int = 1) -> Floats:
        """Draw everything once; return the drawn kinematic states [count·c, p, k] at the knots."""
        system, intensity = self.system, self.intensity
        rhs = system.rhs(self._values, intensity, self.weight)
        solution = system.factor(intensity, self.weight).draws(rhs, self._rng, count)
        motion, last = system.kinematics(solution), slice(-rhs.shape[0], None)
        energy = system.jerk_energy(motion[last])
        self.precision = draw_precision(energy, self.precision, self.bins, self.anchor, self._rng)
        misfit = system.misfit(solution[last], self._values)[:, self.seen]
        known = self._known_variance()[self.seen]
        if with_noise:
            flat = misfit.ravel(), np.tile(known, misfit.shape[0])
            self.anchor = draw_anchor(self.precision, self._rng)
            self.noise = draw_noise(*flat, self.noise, self.model.prior, self._rng)
        self.weight = np.zeros(self.seen.size)
        self.weight[self.seen] = draw_weight(misfit, known, self.noise, self._rng)
        return motion


def _rough_path(observed: Observed) -> Floats:
    """Return positions [c, n] at every knot, straight between the observed ones."""
    time, seen = observed.knots.time_s, observed.seen
    return np.array([np.interp(time, time[seen], row[seen]) for row in observed.values])
