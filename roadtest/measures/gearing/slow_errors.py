"""Errors of blocks of driving that wander slowly: a covariance that is never written out.

Each part is an Ornstein-Uhlenbeck process of unit variance, scaled by an amplitude at each block.
Such processes are Markov chains, so the inverse of the covariance of b blocks is applied in time
proportional to b: (S + W)⁻¹ = W⁻¹ - W⁻¹·H·(Λ + Hᵀ·W⁻¹·H)⁻¹·Hᵀ·W⁻¹ with Λ the banded information
matrix of the chain, H the amplitudes and W the white variances (the Woodbury identity).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.chain import Band, Factor

Floats = NDArray[np.float64]

_LEAST_STEP_S = 1e-3


@dataclass(frozen=True)
class SlowErrors:
    """The slow parts at blocks in order of time."""

    time_s: Floats  # [b], not falling
    amplitude: Floats  # [m, b], standard deviation of each part at each block
    memory_s: tuple[float, ...]  # of each part

    @property
    def variance(self) -> Floats:
        """[b], of all parts together."""
        return np.asarray((self.amplitude**2).sum(axis=0))

    def whitened(self, columns: Floats, white: Floats) -> Floats:
        """Return (S + W)⁻¹·columns [b, c] for white variances `white` [b]."""
        direct = columns / white[:, None]
        pulls = self.amplitude.T[None, :, :] * direct.T[:, :, None]
        taken = (Factor(self._band(white)).solve(pulls) * self.amplitude.T).sum(axis=2)
        return np.asarray(direct - taken.T / white[:, None])

    def _band(self, white: Floats) -> Band:
        count = len(self.memory_s)
        band = Band.empty(self.time_s.size, count)
        step = np.maximum(np.diff(self.time_s), _LEAST_STEP_S)
        for i, memory in enumerate(self.memory_s):
            keep = np.exp(-step / memory)
            gain = -1.0 / np.expm1(-2.0 * step / memory)
            band.within(i, i)[0] += 1.0
            band.within(i, i)[:-1] += keep**2 * gain
            band.within(i, i)[1:] += gain
            band.onward(i, i)[:] -= keep * gain
            for j in range(i + 1):
                band.within(i, j)[:] += self.amplitude[i] * self.amplitude[j] / white
        return band
