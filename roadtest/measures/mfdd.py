"""Formulas of a stop: mean fully developed deceleration, distance at a nominal speed, efficiency.

All take floats or arrays of draws that fit each other, in SI, and return arrays.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

# Between these shares of the initial speed the braking counts as fully developed.
UPPER_SHARE: Final = 0.8
LOWER_SHARE: Final = 0.1


def mean_fully_developed_deceleration(
    upper_mps: float | Floats, lower_mps: float | Floats, distance_m: float | Floats
) -> Floats:
    """Return the mean fully developed deceleration, m/s²; NaN where the distance is not above 0.

    dm = (vb² − ve²) / (25.92 · (se − sb)) with speeds in km/h; in SI the divisor is 2 (se − sb),
    for 25.92 = 2 · 3.6². A mean over distance: not the change of speed over the time it took.

    Parameters
    ----------
    upper_mps : vb, 0.8 of the initial speed
    lower_mps : ve, 0.1 of the initial speed
    distance_m : se − sb, travelled from vb down to ve

    Reference: Directive 71/320/EEC, Annex II, 1.1.2; UN R13, Annex 4, 1.1.2 [both read in stored
    copies]; UN R13-H, Annex 3, 1.1.2 [value from memory].
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    drop = np.square(upper_mps) - np.square(lower_mps)
    return np.asarray(drop / (2.0 * np.where(distance > 0.0, distance, np.nan)))


def distance_at_nominal(
    distance_m: float | Floats,
    initial_mps: float | Floats,
    nominal_mps: float,
    lost_time_s: float | Floats | None = None,
) -> Floats:
    """Return the stopping distance (m) brought to a nominal initial speed; NaN from standstill.

    Without a lost time, the square law: S_nom = S · (V_nom / V)². It overcorrects the part of the
    stop before full braking, which grows with V and not V². With the lost time t0 that part is
    set apart: S_nom = t0 · V_nom + (S − t0 · V) · (V_nom / V)².

    Parameters
    ----------
    lost_time_s : t0, time at unreduced speed that the build-up is worth; see `lost_time`

    Valid for: initial speeds near the nominal one (±2 km/h is common practice, no published
    source); the further off, the more the answer rests on braking not changing with speed.

    Reference: square law as in SAE J299 and ISO 21994 [value from memory]; the form with a lost
    time is our own arithmetic.
    """
    initial = np.asarray(initial_mps, dtype=np.float64)
    ratio = nominal_mps / np.where(initial > 0.0, initial, np.nan)
    if lost_time_s is None:
        return np.asarray(distance_m * ratio**2)
    return np.asarray(lost_time_s * nominal_mps + (distance_m - lost_time_s * initial) * ratio**2)


def lost_time(dead_time_s: float | Floats, rise_time_s: float | Floats) -> Floats:
    """Return the time (s) at unreduced speed that a dead time and a linear rise are worth.

    A deceleration that rises evenly to its full value takes off half the speed it would have
    taken off at once, so half of the rise is lost.
    """
    return np.asarray(np.add(dead_time_s, np.multiply(0.5, rise_time_s)))


def level_deceleration(deceleration_mps2: float | Floats, grade: float | Floats) -> Floats:
    """Return the deceleration (m/s²) the same braking gives on a level road.

    a_level = a − g · sin(slope). `grade` is rise over distance along the level, positive uphill;
    the hill's help is taken out, so a stop driven uphill comes out lower.
    """
    sine = np.sin(np.arctan(grade))
    return np.asarray(deceleration_mps2 - STANDARD_GRAVITY_MPS2 * sine)


def efficiency(deceleration_mps2: float | Floats) -> Floats:
    """Return the braking efficiency, a fraction: brake force over weight, on a level road.

    z = a / g. Rolling and air drag are counted with the brakes: a few hundredths of g at most.
    """
    return np.asarray(np.divide(deceleration_mps2, STANDARD_GRAVITY_MPS2))


def deceleration_of_efficiency(efficiency_fraction: float | Floats) -> Floats:
    """Return the deceleration (m/s²) on a level road of a braking efficiency (0.5 for 50 %)."""
    return np.asarray(np.multiply(efficiency_fraction, STANDARD_GRAVITY_MPS2))
