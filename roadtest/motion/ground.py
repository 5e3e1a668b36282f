"""The ground under the drive: path and grade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion
from roadtest.motion.grade import grade_along
from roadtest.motion.hilliness import Grades
from roadtest.motion.path import heading_along, smooth_path
from roadtest.motion.screening import Screened

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
    grade_spread: float = 0.02  # standard deviation of grades on such roads, of either sign
    grade_reach_m: float = 200.0  # over which grades forget each other: correlation e^(-d/reach)
    possible: tuple[Grades, ...] = ()  # for each possible spread; the grade above is their average


def ground_under(screened: Screened, motion: Motion) -> Ground:
    """Return the ground under a drive.

    Without altitudes the grade is 0 with the uncertainty of not knowing; without positions the
    path and heading are NaN.
    """
    time = motion.time_s
    east, north = smooth_path(time, screened.east_m, screened.north_m)
    heading = heading_along(time, east, north, motion.speed_mps, screened.course_deg)
    slope = grade_along(time, motion.distance_m, screened.altitude_m, heading)
    return Ground(
        time_s=time,
        east_m=east,
        north_m=north,
        heading_rad=heading,
        altitude_m=slope.altitude_m,
        grade=slope.grade,
        u_grade=slope.u_grade,
        grade_spread=slope.spread,
        grade_reach_m=slope.reach_m,
        possible=slope.possible,
    )
