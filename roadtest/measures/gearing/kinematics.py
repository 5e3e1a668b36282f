"""Road speed, engine speed, tyre and gearing: what follows from a car that does not slip."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_S_PER_MIN = 60.0


def turns_per_metre(ratio: ArrayLike, axle: ArrayLike, circumference_m: ArrayLike) -> Floats:
    """Return engine turns per metre of road, gear ratio · axle ratio / rolling circumference.

    Handbooks write the same as mph = rpm · D / (ratio · axle · 336), with D the rolling diameter in
    inches and 336 = 63360 / (60 π).
    """
    return np.asarray(np.multiply(ratio, axle) / circumference_m, dtype=np.float64)


def engine_rpm(speed_mps: ArrayLike, turns_pm: ArrayLike) -> Floats:
    """Return engine speed (r/min) at a road speed, given engine turns per metre."""
    return np.asarray(_S_PER_MIN * np.multiply(speed_mps, turns_pm), dtype=np.float64)


def road_speed(rpm: ArrayLike, turns_pm: ArrayLike) -> Floats:
    """Return road speed (m/s) at an engine speed, given engine turns per metre."""
    return np.asarray(np.divide(rpm, turns_pm) / _S_PER_MIN, dtype=np.float64)
