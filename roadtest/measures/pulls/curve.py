"""Acceleration against speed in one gear, as a curve fitted to what a receiver says of a pull.

A cubic in speed is fitted to the mean speeds over short windows, with what is known beforehand of
how much such a curve bends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.smoothing import seen_through
from roadtest.measures.windows import Readings
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

# How far acceleration departs from its mean over a pull, by power of speed from the middle (-1) to
# the end (1), as a share of the mean: standard deviations. Our choice: the force of an engine that
# loses a third of its torque off its peak, less growing drag, has the first two; an uneven torque
# curve the third.
_BENDS: Final = (0.5, 0.2, 0.05)
_GRADE_BEND: Final = 0.005  # hills within one pull add this much, as a grade (our choice)
_WIDE_MPS2: Final = 10.0
_BEHIND: Final = (0.8, 0.2)  # of that, at the beginning: the trim is one to several time constants
_FILTER_STEPS: Final = 200
_SWEEPS: Final = 8
_LEFT_OUT: Final = 0.01  # of the variance of slow errors
_NORMAL_TAIL: Final = 1e4  # degrees of freedom


@dataclass(frozen=True)
class Lens:
    """How a stretch of k times is seen."""

    speed_mps: Floats  # [k], about how fast the car really was
    lag_s: float  # of the receiver's filter
    freedom: float  # with which the log shows how noisy it is


def acceleration_at(
    speed_mps: Floats, readings: Readings, lens: Lens, count: int, rng: np.random.Generator
) -> Floats:
    """Return `count` draws [c, p] of the acceleration of a pull at speeds [p], m/s².

    A slow log shows its own noise poorly (`lens.freedom`); the scatter about the curve tells more
    of it, and which fixes are outliers. So the curve, how far each window is to be believed
    (Student's t as a mixture of normals) and the scale of the errors are drawn in turn.

    Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., sections 3.3 and 17.2 (scaled
    inverse χ², Gibbs sampling of Student's t; from memory).
    """
    run = readings.run
    low, high = float(lens.speed_mps.min()), float(lens.speed_mps.max())
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    rates = _powers((lens.speed_mps - middle) / half, 1 + len(_BENDS))
    shown = _shown(run.time_s, rates, lens.lag_s)
    design = readings.average @ shown
    mean_mps2 = (high - low) / run.duration_s
    bends = np.hypot(mean_mps2 * np.array(_BENDS), STANDARD_GRAVITY_MPS2 * _GRADE_BEND)
    # A filter is behind by its time constant of an even pull, less what it has not settled yet.
    behind = max(lens.lag_s * mean_mps2, 1e-6) * np.array(_BEHIND)
    prior = np.concatenate([[behind[1], _WIDE_MPS2, _WIDE_MPS2], bends])
    seen = readings.speed_mps - run.speed_mps[0] + behind[0] * (readings.average @ shown[:, 0])
    slow = _parts(readings.covariance - np.diag(readings.white))
    design, said = np.column_stack([design, slow]), seen
    least = np.diag(np.concatenate([prior**-2.0, np.ones(slow.shape[1])]))
    products = (design[:, :, None] * design[:, None, :]).reshape(said.size, -1)
    # A window's information is 1/white: that of a Student's t of this scale.
    tail = np.minimum(readings.tail, _NORMAL_TAIL)
    square = readings.white * (tail + 1.0) / (tail + 3.0)
    trust, scale = np.ones((count, said.size)), np.ones((count, 1))
    for _ in range(_SWEEPS):
        weight = trust / (scale * square)
        information = least + (weight @ products).reshape(count, *least.shape)
        back = np.linalg.inv(np.linalg.cholesky(information))
        white = np.einsum("cij,cj->ci", back, (weight * said) @ design)
        terms = np.einsum("cji,cj->ci", back, white + rng.normal(size=white.shape))
        misfit = (said - terms @ design.T) ** 2 / square
        trust = rng.chisquare(tail + 1.0, size=trust.shape) / (tail + misfit / scale)
        spread = lens.freedom + np.sum(trust * misfit, axis=1)
        scale = (spread / rng.chisquare(lens.freedom + said.size, size=count))[:, None]
    return np.asarray(
        terms[:, 2 : prior.size] @ _powers((speed_mps - middle) / half, rates.shape[0])
    )


def _parts(covariance: Floats) -> Floats:
    """Return the main parts [w, r] of which a covariance [w, w] is the sum of squares."""
    values, vectors = np.linalg.eigh(covariance)
    kept = np.cumsum(values) > _LEFT_OUT * values.sum()
    return np.asarray(vectors[:, kept] * np.sqrt(values[kept]))


def _shown(time_s: Floats, rates: Floats, lag_s: float) -> Floats:
    """Return what the receiver shows at times [k] of each part of speed, [k, 2 + r].

    Parts: what its filter still has from before, the speed at the beginning, and what has been
    gained since by each of the `rates` [r, k].
    """
    steps = 0.5 * np.diff(time_s) * (rates[:, 1:] + rates[:, :-1])
    risen = np.concatenate([np.zeros((rates.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)
    parts = np.vstack([np.ones(time_s.size), risen])
    if lag_s <= 0.0:
        return np.vstack([np.zeros(time_s.size), parts]).T
    grid = np.linspace(time_s[0], time_s[-1], _FILTER_STEPS)
    even = np.array([np.interp(grid, time_s, part) for part in parts]).T
    left = np.exp(-(time_s - time_s[0]) / lag_s)
    return np.column_stack([left, seen_through(lag_s, grid, time_s) @ even])


def _powers(x: Floats, count: int) -> Floats:
    """Return x^0 … x^(count-1), [count, k]."""
    return np.asarray(x ** np.arange(count)[:, None])
