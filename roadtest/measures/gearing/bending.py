"""What a tight turn does to the speed a receiver shows, beside that of the driven wheels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from roadtest.motion.turning import turning_rate

Floats = NDArray[np.float64]

_SLOWEST_MPS: Final = 1.0  # below it no ratio is told
_FELT_S: Final = 3.0
"""How long a turn may be felt in the speed after places show it to be over: receivers show speeds
up to 1.5 s late (seen in recordings), and as much again while a filter settles (our choice)."""
_NEAR_S: Final = 1.0
"""A curvature holds for this long to either side: it is a mean over about as long, and speeds come
late besides."""


@dataclass(frozen=True)
class Bending:
    """How the car turns, at some times ([n] each); halves of squares, as the speed feels them."""

    rate_square: Floats  # ½·ω², rad²/s²
    felt_square: Floats  # the same, largest of what may still be felt
    curve_square: Floats  # ½·κ², 1/m²
    u_curve_square: Floats  # standard: how much it changes nearby

    @classmethod
    def of(cls, knots_s: Floats, heading_rad: Floats, speed_mps: Floats, time_s: Floats) -> Bending:
        """Return how the car turns at `time_s` ([n]).

        Parameters
        ----------
        knots_s, heading_rad, speed_mps : [k], heading NaN at rest
        """
        square = 0.5 * turning_rate(knots_s, heading_rad, knots_s) ** 2
        curve = square / np.maximum(speed_mps, _SLOWEST_MPS) ** 2
        usual_s = float(np.median(np.diff(knots_s)))
        late, near = math.ceil(_FELT_S / usual_s), math.ceil(_NEAR_S / usual_s)
        felt = maximum_filter1d(square, late + 1, origin=late // 2)  # of the time before
        range_ = maximum_filter1d(curve, 2 * near + 1) - minimum_filter1d(curve, 2 * near + 1)
        return cls(
            *(np.interp(time_s, knots_s, row) for row in (square, felt, curve, 0.5 * range_))
        )
