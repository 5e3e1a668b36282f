"""What a run of the sampler says: mean, spread, and the Gaussian posterior for middling rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.along import along_path, rates
from roadtest.motion.between import Between
from roadtest.motion.chain import Band, Factor, neighbour_covariances
from roadtest.motion.sampler import Sampler
from roadtest.motion.system import MotionSystem

Floats = NDArray[np.float64]

_ENOUGH_SWEEPS = 60  # to take mean and spread from the draws themselves


@dataclass(frozen=True)
class Posterior:
    """The Gaussian posterior of the states at the knots, for one intensity and weight each."""

    between: Between
    kinematic: int  # states of an axis
    factor: Factor

    def variance(self, weights: Floats) -> float:
        """Return the variance of a weighted sum of states at fixes.

        What the motion may stray between two knots is left out: over a fifth of a second it is
        millimetres.

        Parameters
        ----------
        weights : [c, n, k] float, of the kinematic states at every fix, on each axis
        """
        at_knots = self.between.gather(weights)
        every = np.zeros((*at_knots.shape[:2], self.factor.shape[1]))
        every[:, :, : self.kinematic] = at_knots
        return float((every * self.factor.solve(every)).sum())


@dataclass(frozen=True)
class Summary:
    """Mean and standard uncertainty of speed and acceleration at all fixes; arrays are [n]."""

    speed_mps: Floats
    u_speed_mps: Floats
    acceleration_mps2: Floats
    u_acceleration_mps2: Floats
    intensity: Floats  # [p-1], between knots
    posterior: Posterior


def summarise(sampler: Sampler, sweeps: int) -> Summary:
    """Return what `sweeps` sweeps of a settled sampler say.

    Mean and spread are those of the draws when there are enough of them. Else the mean is that for
    the mean of 1/intensity (the mean of a product of independent densities nearest the posterior;
    J. Winn and C. M. Bishop, J. Machine Learning Research 6 (2005) 661, value from memory), and
    the spread that for the square of the mean root of intensity: the variances of speed and
    acceleration go about as its powers 1/4 and 3/4.
    """
    mean_precision, root = np.zeros(sampler.bins.count), np.zeros(sampler.bins.count)
    weight = np.zeros(sampler.seen.size)
    enough = sweeps >= _ENOUGH_SWEEPS
    drawn = np.empty((sweeps if enough else 0, 2, *sampler.observed.values.shape))
    for k in range(sweeps):
        if enough:
            drawn[k] = rates(sampler.sweep(with_noise=False))
        else:
            sampler.step(with_noise=False)
        mean_precision += sampler.precision / sweeps
        root += 1.0 / np.sqrt(sampler.precision) / sweeps
        weight += sampler.weight / sweeps
    intensity = sampler.of_bins(root**2)
    band = sampler.system.band(intensity, weight)
    system = sampler.system
    posterior = Posterior(system.between, system.kinematic, Factor(band))
    if enough:
        speed, acceleration = along_path(drawn, sampler.observed.knots)
        spread = speed.std(axis=0, ddof=1), acceleration.std(axis=0, ddof=1)
        means = speed.mean(axis=0), acceleration.mean(axis=0)
    else:
        means = _mean(sampler, sampler.of_bins(1.0 / mean_precision), weight)
        spread = _spread(sampler.system, band, intensity)
    return Summary(means[0], spread[0], means[1], spread[1], intensity, posterior)


def _mean(sampler: Sampler, intensity: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Return the mean speed and acceleration [n] for one intensity and weight each."""
    system, observed = sampler.system, sampler.observed
    values = np.where(observed.seen, observed.values, 0.0)
    solution = system.factor(intensity, weight).solve(system.rhs(values, intensity, weight))
    states = system.between.mean(system.kinematics(solution))
    speed, acceleration = along_path(rates(states)[None], observed.knots)
    return speed[0], acceleration[0]


def _spread(system: MotionSystem, band: Band, intensity: Floats) -> tuple[Floats, Floats]:
    """Return the standard uncertainties of speed and acceleration [n] on one axis."""
    own, onward = neighbour_covariances(band)
    k = system.kinematic
    own, onward = own[:, :k, :k], onward[:, :k, :k]
    speed, acceleration = (
        np.sqrt(system.between.variance(state, own, onward, intensity)) for state in (k - 3, k - 2)
    )
    return speed, acceleration
