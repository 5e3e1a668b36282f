"""Creep of the driven tyres: how much faster they turn than the road goes, under drive."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LINEAR: Final = 0.0095  # per m/s² of push
U_LINEAR: Final = 0.003
SQUARE: Final = 0.0008  # per (m/s²)²
U_SQUARE: Final = 0.0008
"""creep = linear · push + square · push · |push|, push as an acceleration of the car: of what the
tyres carry to the road. What spins up engine and flywheel goes through no tyre.

linear = 1/(g·K·s): K, slip stiffness over load, is some 20 for a car's tyre: 22.3 in the parameter
set of the CommonRoad vehicle models (Althoff), 21.7 falling to 19 at half of the nominal load for
Pacejka's 205/60 R 15 (Tire and Vehicle Dynamics, 3rd ed., appendix 3, from memory), 19 in the
textbook constants for dry tarmac (B·C·D = 10 · 1.9 · 1, from memory). With 15 to 35, as tyres and
pressures differ, and s, the share of the weight on the driven wheels, 0.45 to 0.6: 0.005 to 0.015.
A public document on tyre and sensor modelling gives, for a simulated mid-size car, 0.4 % at a
100 km/h cruise (a push of about 0.3 m/s²), 2 % at 1.5 m/s² and 3.5 % at 3 m/s² [second-hand]:
0.011 to 0.013.

square: of a brush that slides at μ of its load, creep is F/(K·N) · (1 + F/(3·μ·N) + …) (Pacejka,
chapter 3): 0.08 to 0.15 of linear for each m/s² in a car's pushes. Driven rear wheels are pressed
down by the acceleration, which takes some 0.05 of it again; front ones are relieved.

The drive itself says more.
"""

U_GROWTH_PM2: Final = 0.0014 / 36.1**2
"""Tyres grow with speed, less than 0.5 % at 130 km/h (the same document). The standard deviation
of a rectangular distribution of that width, as a share of v² at 36.1 m/s."""


def creep(push_mps2: Floats, linear: float = LINEAR, square: float = SQUARE) -> Floats:
    """Return the creep [n], a fraction of road speed, at these pushes."""
    return np.asarray(linear * push_mps2 + square * push_mps2 * np.abs(push_mps2))
