"""White noise of the observations: its size and its tails, drawn given the misfits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_TAILS = np.array([3.0, 4.0, 6.0, 10.0, 20.0, 50.0, 200.0])  # degrees of freedom of Student's t
_MOST_MISFITS = 1500  # for size and tails; more would not be known better than they matter


@dataclass(frozen=True)
class NoisePrior:
    """What is thought of the noise before the log is looked at: log-normal about `sd`."""

    sd: float  # in the unit observed
    factor: float  # one standard deviation of log sd is log(factor)

    @property
    def grid(self) -> Floats:
        """Standard deviations considered."""
        span = 4.0 * np.log(self.factor)
        return self.sd * np.exp(np.linspace(-span, span, 81))

    @property
    def log_density(self) -> Floats:
        """Logarithm of the prior's density over `grid`, up to a constant."""
        return -0.5 * np.linspace(-4.0, 4.0, 81) ** 2


SPEED_NOISE = NoisePrior(sd=0.05, factor=2.0)
"""m/s. Makers of receivers claim about 0.05; measured scatter differs from one to the next."""
POSITION_NOISE = NoisePrior(sd=0.3, factor=2.5)
"""m, the part of the position error that does not wander slowly."""


@dataclass(frozen=True)
class Noise:
    """White noise: Student's t with scale `sd` and `tail` degrees of freedom."""

    sd: float
    tail: float


def draw_noise(
    misfit: Floats, rounding: Floats, now: Noise, prior: NoisePrior, rng: np.random.Generator
) -> Noise:
    """Return a draw of size and tail given misfits, with the weights integrated out.

    Parameters
    ----------
    misfit : [k] float, observed less shown
    rounding : [k] float, variance that the log's rounding adds to each
    now : the noise before
    """
    if misfit.size > _MOST_MISFITS:
        pick = rng.choice(misfit.size, _MOST_MISFITS, replace=False)
        misfit, rounding = misfit[pick], rounding[pick]
    square = misfit**2
    grid = prior.grid
    variance = grid[:, None] ** 2 + rounding
    log_density = prior.log_density + _log_student(square, variance, now.tail)
    sd = float(grid[_pick(log_density, rng)])
    spread = sd**2 + rounding
    tails = np.array([_log_student(square, spread, tail) for tail in _TAILS])
    return Noise(sd, float(_TAILS[_pick(tails, rng)]))


def draw_weight(misfit: Floats, rounding: Floats, noise: Noise, rng: np.random.Generator) -> Floats:
    """Return [c, n] → [n] draws of 1 / variance of each observation.

    Axes of one fix share their weight: a bad fix is bad both ways.
    """
    axes = misfit.shape[0]
    variance = noise.sd**2 + rounding
    rate = 0.5 * (noise.tail + (misfit**2).sum(axis=0) / variance)
    return np.asarray(rng.gamma(0.5 * (noise.tail + axes), size=rate.size) / rate / variance)


def _log_student(square: Floats, variance: Floats, tail: float) -> Floats:
    """Return the log density, summed over the last axis, up to what does not depend on size."""
    normal = math.lgamma(0.5 * (tail + 1.0)) - math.lgamma(0.5 * tail) - 0.5 * np.log(tail)
    each = normal - 0.5 * np.log(variance) - 0.5 * (tail + 1.0) * np.log1p(square / variance / tail)
    return np.asarray(each.sum(axis=-1))


def _pick(log_density: Floats, rng: np.random.Generator) -> int:
    """Return an index drawn with the given log densities."""
    total = np.cumsum(np.exp(log_density - log_density.max()))
    return int(np.searchsorted(total, rng.random() * total[-1]))
