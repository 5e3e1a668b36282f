"""How a receiver smooths what it shows, as draws: what every measure takes out of its figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Smoothed:
    """What a receiver's first-order filter may be, in [c] draws."""

    time_s: Floats  # its time constant τ
    of_velocity: Bools  # whether it filters velocity as a whole, so that courses lag; else speed

    def draws(self, count: int) -> Smoothed:
        """Return as many draws, used over again where there are fewer."""
        return Smoothed(np.resize(self.time_s, count), np.resize(self.of_velocity, count))

    @property
    def square(self) -> tuple[float, float]:
        """Mean and standard deviation of τ², s², by which a speed is low in a turn.

        The filter passes a velocity that turns at ω with the gain 1/√(1 + ω²τ²), and lets its
        speed be if it filters that alone.
        """
        square = np.where(self.of_velocity, self.time_s**2, 0.0)
        return float(square.mean()), float(square.std())


NOT_SMOOTHED = Smoothed(np.zeros(1), np.zeros(1, dtype=np.bool_))
