"""How fast a car turns."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

AHEAD_M2: Final = 0.85
U_AHEAD_M2: Final = 0.76
"""Square of how far the antenna lies ahead of the driven axle, or behind it: in a small car
anywhere up to 1.6 m (our choice). It moves on a wider circle than the axle."""

_ABOUT_S: Final = 0.2 * np.arange(-3, 4)  # a heading is too noisy for a rate between two fixes


def turning_rate(knots_s: Floats, heading_rad: Floats, time_s: Floats) -> Floats:
    """Return how fast the car turns at some times [m], rad/s.

    A rate is the slope of a straight line through the headings within 0.6 s of a time. Zero where
    fewer than two headings are known.

    Parameters
    ----------
    knots_s : [n] float, s
    heading_rad : [n] float, unwrapped, NaN at rest
    """
    known = np.isfinite(heading_rad)
    if np.count_nonzero(known) < 2:
        return np.zeros(time_s.size)
    rate = np.zeros(time_s.size)
    for about in _ABOUT_S.tolist():
        rate += about * np.interp(time_s + about, knots_s[known], heading_rad[known])
    return rate / float(_ABOUT_S @ _ABOUT_S)
