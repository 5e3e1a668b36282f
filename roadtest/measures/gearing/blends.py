"""Rows that are drawn between two readings of a slow tach, and may so blend two gears.

A row next to a change of gear is a blend or is none: its error is that of any other row, or as
large as the way between two gears. Both are Student's t, so that an odd row does not count for
much (A. Gelman et al., Bayesian Data Analysis, 3rd ed., chapters 17 and 22 [values from memory]).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

Floats = NDArray[np.float64]

_AT_A_CHANGE: Final = 0.25
"""Of rows with one neighbour in another gear. Drawn between readings as far apart as rows are,
every other one would be a blend; readings may be as dense as one likes (our choice)."""
_ELSEWHERE: Final = 0.02  # a clutch pressed for a moment between two rows (our choice)
_WAY: Final = 0.06
"""Standard deviation of a blend that is still taken for the gear: a fifth of the way between two
gears, which are some 30 % apart (our choice)."""
_GRID: Final = np.linspace(-1.0, 1.0, 401)


class Errors:
    """What errors rows may have: one row each, given how many of its neighbours are in other gears.

    With no chance of a blend it is Student's t of `tail` degrees of freedom.
    """

    def __init__(self, changes: Floats, tail: float, possible: bool) -> None:
        """Take `changes` [b], 0 to 2; blends are left out where none are `possible`."""
        sound = (1.0 - _ELSEWHERE) * (1.0 - _AT_A_CHANGE) ** changes
        self.blend = 1.0 - sound if possible else np.zeros(changes.size)
        self.tail = tail

    def weight(self, misfit: Floats, variance: Floats) -> Floats:
        """Return the weight [b] of each row over that of a normal error of `variance` [b]."""
        log, of_each = self._parts(misfit, variance)
        share = np.exp(log - np.logaddexp(*log))
        return np.asarray((share * of_each).sum(axis=0))

    def own(self, misfit: Floats, white: Floats, shared: Floats) -> Floats:
        """Return the variance [b] that a row's own error turns out to have, `white` beforehand.

        The rest of its misfit, of variance `shared`, it has in common with others. Tails are those
        of its own error; a blend adds to that whatever the shared part may be.
        """
        weight = self.weight(misfit, white + shared)
        own = white / weight
        return np.asarray(
            np.where(self.blend > 0.0, np.maximum(own, (white + shared) / weight - shared), own)
        )

    def log_density(self, misfit: Floats, variance: Floats) -> Floats:
        """Return the log densities of misfits [b] for variances [..., b]."""
        return np.asarray(np.logaddexp(*self._parts(misfit, variance)[0]))

    def blunt(self, variance: Floats) -> Floats:
        """Return by how much less [b] a row tells than its weight says, in the mean.

        The ratio of the mean weight to Fisher's information; (ν + 3)/(ν + 1) of a t distribution.
        """
        reach = 8.0 * np.sqrt(variance + np.where(self.blend > 0.0, _WAY**2, 0.0))
        # Closer together in the middle, where the narrower of the two is.
        misfit = (_GRID * np.abs(_GRID) ** 2)[:, None] * reach
        density, weight = np.exp(self.log_density(misfit, variance)), self.weight(misfit, variance)
        slope = weight * misfit / variance
        mean = np.trapezoid(weight * density, misfit, axis=0)
        told = np.trapezoid(slope**2 * density, misfit, axis=0) * variance
        return np.asarray(mean / told)

    def _parts(self, misfit: Floats, variance: Floats) -> tuple[Floats, Floats]:
        """Return log density and weight of a sound row and of a blend, [2, ..., b] each."""
        misfit, variance = np.broadcast_arrays(misfit, variance)
        wide = np.stack([variance, variance + _WAY**2])
        with np.errstate(divide="ignore"):  # no chance of a blend
            chance = np.log(np.stack([1.0 - self.blend, self.blend]))
        chance = chance.reshape(2, *(1,) * (misfit.ndim - 1), -1)
        nu = self.tail
        log = gammaln(0.5 * (nu + 1.0)) - gammaln(0.5 * nu) - 0.5 * np.log(nu * np.pi * wide)
        log -= 0.5 * (nu + 1.0) * np.log1p(misfit**2 / (nu * wide))
        return chance + log, (nu + 1.0) / (nu + misfit**2 / wide) * variance / wide
