"""A measured figure with its 95 % interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COVERAGE_FACTOR_95: Final = 1.959964
"""u95 / u of a normal distribution."""
SURE: Final = 0.95
"""The probability from which something is told as sure: that of every interval."""


@dataclass(frozen=True)
class Quantity:
    """A value and the half-width `u95` of its 95 % coverage interval, both in `unit` (SI)."""

    value: float
    u95: float
    unit: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u95) and self.u95 >= 0.0):
            raise ValueError(f"not a quantity: {self.value} ± {self.u95} {self.unit}")

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.value - self.u95

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.value + self.u95

    @classmethod
    def from_draws(cls, draws: Floats, unit: str) -> Quantity | None:
        """Return the quantity that `draws` ([k] float, in `unit`) stand for, or None without any.

        Half the width of the symmetric 95 % interval about the mean that holds 95 % of the draws.
        NaN draws (a draw in which the measure does not exist) are left out; when more than a
        twentieth are NaN the quantity does not exist.

        Reference: JCGM 101:2008, 7.7 (coverage interval from Monte Carlo draws).
        """
        good = draws[np.isfinite(draws)]
        if good.size < max(2, 0.95 * draws.size):
            return None
        value = float(good.mean())
        return cls(value, float(np.quantile(np.abs(good - value), 0.95)), unit)
