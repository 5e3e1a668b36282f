"""The path over the ground: positions lightly smoothed, and the heading along them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

Floats = NDArray[np.float64]

# Positions scatter by decimetres from fix to fix; a car gathers sideways acceleration of some
# metres per second squared within a second. Common practice, no published source.
_POSITION_SD_M = 0.5
_ACCELERATION_DENSITY = 9.0  # (m/s²)²·s
_COURSE_FROM_MPS = 1.0  # below it a receiver's course is mostly noise (0.05 m/s is 3° of 1 m/s)


def smooth_path(time_s: Floats, east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
    """Return the lightly smoothed positions [n] each, m; NaN only where there are none at all.

    The smoothest path near the positions: squared misfits over the scatter plus squared changes
    of velocity over what white acceleration makes of them (a discrete smoothing spline).

    Parameters
    ----------
    time_s : [n] float, s, strictly increasing
    east_m, north_m : [n] float, m, NaN where unknown
    """
    seen = np.isfinite(east_m) & np.isfinite(north_m)
    if time_s.size < 3 or np.count_nonzero(seen) < 3:
        return east_m.copy(), north_m.copy()
    h = np.diff(time_s)
    weight = 1.0 / (_ACCELERATION_DENSITY * 0.5 * (h[1:] + h[:-1]))
    first, last = 1.0 / h[:-1], 1.0 / h[1:]
    rows = np.array([first, -first - last, last])  # velocity change over knots k, k+1, k+2
    band = np.zeros((3, time_s.size))  # lower form: band[d, c] is element (c + d, c)
    n = h.size - 1
    for i in range(3):
        for j in range(i + 1):
            band[i - j, j : j + n] += weight * rows[i] * rows[j]
    band[0] += seen / _POSITION_SD_M**2 + 1e-12
    target = np.where(seen, np.array([east_m, north_m]), 0.0) / _POSITION_SD_M**2
    middle = np.where(seen, np.array([east_m, north_m]), 0.0)[:, seen].mean(axis=1)
    target = np.where(seen, target - middle[:, None] / _POSITION_SD_M**2, 0.0)
    east, north = solveh_banded(band, target.T, lower=True).T + middle[:, None]
    return east, north


def heading_along(
    time_s: Floats, east_m: Floats, north_m: Floats, speed_mps: Floats, course_deg: Floats
) -> Floats:
    """Return the heading [n], rad clockwise from north, unwrapped; NaN when standing.

    The receiver's own course where it gives one, else the direction of the smoothed path where that
    goes on: speeds may be shown for a second or more after the places have come to rest.
    """
    heading = np.radians(course_deg)
    if time_s.size >= 3:
        east, north = np.gradient(east_m, time_s), np.gradient(north_m, time_s)
        goes_on = np.hypot(east, north) > _COURSE_FROM_MPS
        way = np.where(goes_on, np.arctan2(east, north), np.nan)
        heading = np.where(np.isfinite(heading), heading, way)
    heading = np.where(speed_mps > _COURSE_FROM_MPS, heading, np.nan)
    known = np.isfinite(heading)
    heading[known] = np.unwrap(heading[known])
    return heading
