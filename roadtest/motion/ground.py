"""The ground under the drive: path and grade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ground:
    """Path and grade at every fix used, [n] float, NaN where the log does not say."""

    time_s: Floats  # as in Motion
    east_m: Floats
    north_m: Floats
    heading_rad: Floats  # clockwise from north, unwrapped
    altitude_m: Floats  # smoothed over distance
    grade: Floats  # rise over distance, uphill positive
    u_grade: Floats  # standard
