"""What a tight turn does to the speed a receiver shows, beside that of the driven wheels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from roadtest.motion.turning import turning_rate

Floats = NDArray[np.float64]

AHEAD_M2: Final = 0.85
U_AHEAD_M2: Final = 0.76
"""Square of how far the antenna lies ahead of the driven axle, or behind it: in a small car
anywhere up to 1.6 m (our choice). It moves on a wider circle than the axle."""

_SLOWEST_MPS: Final = 1.0  # below it no ratio is told
_GRID_S: Final = 0.2
_FELT_S: Final = 3.0
"""How long a turn may be felt in the speed after places show it to be over: receivers show speeds
up to 1.5 s late (seen in recordings), and as much again while a filter settles (our choice)."""


@dataclass(frozen=True)
class Bending:
    """How the car turns, at some times ([n] each); halves of squares, as the speed feels them."""

    rate_square: Floats  # ½·ω², rad²/s²
    felt_square: Floats  # the same, largest of what may still be felt
    curve_square: Floats  # ½·κ², 1/m²

    @classmethod
    def of(cls, knots_s: Floats, heading_rad: Floats, time_s: Floats, speed_mps: Floats) -> Bending:
        """Return how the car turns at `time_s` ([n]), from its heading at knots, NaN at rest."""
        grid = np.arange(knots_s[0], knots_s[-1] + _GRID_S, _GRID_S)
        square = 0.5 * turning_rate(knots_s, heading_rad, grid) ** 2
        steps = round(_FELT_S / _GRID_S)
        felt = maximum_filter1d(square, steps + 1, origin=steps // 2)  # of the time before
        rate_square = np.interp(time_s, grid, square)
        return cls(
            rate_square,
            np.interp(time_s, grid, felt),
            rate_square / np.maximum(speed_mps, _SLOWEST_MPS) ** 2,
        )
