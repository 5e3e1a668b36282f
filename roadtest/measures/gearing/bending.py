"""What a tight turn does to the speed a receiver shows, beside that of the driven wheels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

Floats = NDArray[np.float64]

AHEAD_M2: Final = 0.85
U_AHEAD_M2: Final = 0.76
"""Square of how far the antenna lies ahead of the driven axle, or behind it: in a small car
anywhere up to 1.6 m (our choice). It moves on a wider circle than the axle."""

_SLOWEST_MPS: Final = 1.0  # below it no ratio is told
_GRID_S: Final = 0.2
_ABOUT_S: Final = _GRID_S * np.arange(-3, 4)  # a heading is too noisy for a rate between two fixes
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
        """Return how the car turns at `time_s` ([n]), from its heading at knots, NaN at rest.

        A rate is the slope of a straight line through the headings within 0.6 s of a time.
        """
        known = np.isfinite(heading_rad)
        if np.count_nonzero(known) < 2:
            return cls(*np.zeros((3, time_s.size)))
        grid = np.arange(knots_s[0], knots_s[-1] + _GRID_S, _GRID_S)
        heading = np.interp(grid, knots_s[known], heading_rad[known])
        slope = np.convolve(
            np.pad(heading, _ABOUT_S.size // 2, "edge"), -_ABOUT_S / (_ABOUT_S @ _ABOUT_S), "valid"
        )
        square = 0.5 * slope**2
        steps = round(_FELT_S / _GRID_S)
        felt = maximum_filter1d(square, steps + 1, origin=steps // 2)  # of the time before
        rate_square = np.interp(time_s, grid, square)
        return cls(
            rate_square,
            np.interp(time_s, grid, felt),
            rate_square / np.maximum(speed_mps, _SLOWEST_MPS) ** 2,
        )


def smoothing_square(smoothing_s: Floats, of_course: float) -> tuple[float, float]:
    """Return mean and standard deviation of τ², s², by which a speed is low in a turn.

    A first-order filter of time constant τ passes a velocity that turns at ω with the gain
    1/√(1 + ω²τ²), and lets its speed be if it filters that alone.

    Parameters
    ----------
    smoothing_s : [c] float, s, draws of τ
    of_course : probability that it is the velocity as a whole
    """
    square = smoothing_s**2
    mean = of_course * float(square.mean())
    variance = of_course * float(np.mean(square**2)) - mean**2
    return mean, math.sqrt(max(variance, 0.0))
