"""Creep of the driven tyres: how much faster they turn than the road goes, under drive."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LINEAR: Final = 0.012  # per m/s² of push
U_LINEAR: Final = 0.004
SQUARE: Final = 0.0008  # per (m/s²)²
U_SQUARE: Final = 0.002
"""creep = linear · push + square · push · |push|, push as an acceleration of the car.

A public document on tyre and sensor modelling gives, for a simulated mid-size car, 0.4 % at a
100 km/h cruise (a push of about 0.3 m/s²), 2 % at 1.5 m/s² and 3.5 % at 3 m/s² [second-hand]:
0.011 to 0.013 per m/s². Other cars and tyres: a third more or less. A tyre creeps more than in
proportion as it nears its grip, narrow old ones sooner (common practice): the square term and its
width are our choice. The drive itself says more.
"""

U_GROWTH_PM2: Final = 0.0014 / 36.1**2
"""Tyres grow with speed, less than 0.5 % at 130 km/h (the same document). The standard deviation
of a rectangular distribution of that width, as a share of v² at 36.1 m/s."""

TURNING: Final = 0.5
U_TURNING: Final = 0.5
"""How much more a low gear creeps than its push alone says, as a share of the mass of turning
parts: from nothing (only the car is pushed through the tyres) to all of it (our choice)."""

_USUAL_CIRCUMFERENCE_M: Final = 1.8


def turning_mass(log_turns: Floats) -> Floats:
    """Return the mass of turning parts over that of the car, at these log turns per metre.

    0.04 + 0.0025 · N², N engine turns per wheel turn (Gillespie; Wong) [value from memory]; less
    the 0.04 of the wheels, which their tyres do drive.
    """
    return np.asarray(0.0025 * (_USUAL_CIRCUMFERENCE_M * np.exp(log_turns)) ** 2)


def creep(push_mps2: Floats, linear: float = LINEAR, square: float = SQUARE) -> Floats:
    """Return the creep [n], a fraction of road speed, at these pushes."""
    return np.asarray(linear * push_mps2 + square * push_mps2 * np.abs(push_mps2))
