"""How fast a car turns."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRID_S: Final = 0.2
_ABOUT_S: Final = GRID_S * np.arange(-3, 4)  # a heading is too noisy for a rate between two fixes


def turning_rate(knots_s: Floats, heading_rad: Floats) -> tuple[Floats, Floats]:
    """Return times [m] on an even grid and how fast the car turns at them [m], rad/s.

    A rate is the slope of a straight line through the headings within 0.6 s of a time. Zero
    where fewer than two headings are known.

    Parameters
    ----------
    knots_s : [n] float, s
    heading_rad : [n] float, unwrapped, NaN at rest
    """
    grid = np.arange(knots_s[0], knots_s[-1] + GRID_S, GRID_S)
    known = np.isfinite(heading_rad)
    if np.count_nonzero(known) < 2:
        return grid, np.zeros(grid.size)
    heading = np.interp(grid, knots_s[known], heading_rad[known])
    padded = np.pad(heading, _ABOUT_S.size // 2, "edge")
    return grid, np.convolve(padded, -_ABOUT_S / (_ABOUT_S @ _ABOUT_S), "valid")
