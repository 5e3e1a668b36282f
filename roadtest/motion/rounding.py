"""How coarsely a log writes its figures, and what that costs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_UNITS_MPS = (1852.0 / 3600.0, 1.0 / 3.6, 1.0, 0.44704)  # knot, km/h, m/s, mph
_STEPS = (1.0, 0.5, 0.1, 0.05, 0.01, 0.005, 0.001)
_SLACK_MPS = 0.0006  # a log may have turned knots into m/s and kept three decimals
_LEAST_VALUES = 5


def speed_step(speed_mps: Floats) -> float:
    """Return the step, m/s, to which the speeds of a log are rounded; 0 when none is seen.

    The largest of the usual steps in knots, km/h, m/s or mph of which 99 % of the moving speeds
    are whole multiples.
    """
    moving = speed_mps[np.isfinite(speed_mps) & (speed_mps > 0.5)]
    values = np.unique(moving)
    if values.size < _LEAST_VALUES:
        return 0.0
    candidates = sorted((unit * step for unit in _UNITS_MPS for step in _STEPS), reverse=True)
    for step in candidates:
        off = np.abs(moving - step * np.round(moving / step))
        if step > 8.0 * _SLACK_MPS and np.mean(off < _SLACK_MPS) > 0.99:
            return float(step)
    return 0.0


def rounding_variance(values: Floats, step: float) -> Floats:
    """Return what rounding to `step` adds to the variance of each value [n].

    A run of k equal readings tells no more than one of them: the error of rounding is the same in
    all, so each carries k times the variance step²/12 of a rectangular error (JCGM 100, 4.3.7).
    """
    if step <= 0.0 or values.size == 0:
        return np.zeros(values.size)
    level = np.round(values / step)
    change = np.flatnonzero(np.diff(level) != 0.0) + 1
    lengths = np.diff(np.concatenate([[0], change, [values.size]]))
    return np.asarray(np.repeat(lengths, lengths) * step**2 / 12.0, dtype=np.float64)
