"""Whether a receiver smooths its speed alone, or its velocity as a whole: the places tell.

In a bend a velocity that is smoothed as a whole points where the car went before, so that what it
adds up to lies aside of the places. A speed that is smoothed alone goes with a course that is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator
from scipy.special import expit, logsumexp

from roadtest.evidence import Evidence
from roadtest.motion.lateness import lateness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_STEP_S: Final = 0.1
_WINDOW_S: Final = 3.0
_MOST_WINDOWS: Final = 200
_LONGEST_S: Final = 1.6  # between courses, or as many times their usual interval
_LEAST_MPS: Final = 1.0  # below it a course is mostly noise
_BENDS_RAD: Final = np.radians(10.0)  # over a window; less tells nothing of courses
_LEAST_COURSES: Final = 20
# Of the misfits of windows: their size is not known, and a few lie far out (Student's t).
_SIZES_M: Final = np.geomspace(0.05, 5.0, 25)
_TAIL: Final = 4.0
_OFF: Final = np.linspace(-2.5, 2.5, 11)  # of lateness, in standard uncertainties


@dataclass(frozen=True)
class _Courses:
    """Speed, acceleration and course as shown, on a grid that is even in each part, [m] each."""

    time_s: Floats
    speed_mps: Floats
    acceleration_mps2: Floats
    course_rad: Floats
    part: Ints  # without a gap inside

    def velocity(self, speed_mps: Floats) -> Floats:
        """Return [2, m]: east and north, of a speed along the course."""
        way = np.array([np.sin(self.course_rad), np.cos(self.course_rad)])
        return np.asarray(speed_mps * way)


def smooths_course(evidence: Evidence, smoothing_s: float) -> float:
    """Return the probability that what is smoothed over `smoothing_s` is velocity as a whole.

    Beforehand either is as likely. Over every window of 3 s in which the car turned, the step from
    place to place is held against what the velocity adds up to, taken to be smoothed as a whole
    (y + τ·y' of the vector) and of its speed alone, at the times when it was driven.
    """
    shown = _courses(evidence)
    if shown is None or smoothing_s <= 0.0:
        return 0.5
    speed = np.maximum(shown.speed_mps + smoothing_s * shown.acceleration_mps2, 0.0)
    velocity = shown.velocity(shown.speed_mps)
    ways = (_added_up(velocity) + smoothing_s * velocity, _added_up(shown.velocity(speed)))
    late = lateness(evidence.motion, evidence.ground)
    first, last = _windows(shown, late.value_s + _OFF[-1] * late.u_s)
    logs = np.zeros((len(ways), _OFF.size))
    for k, off in enumerate(_OFF.tolist()):
        earlier_s = late.value_s + off * late.u_s - smoothing_s
        steps = _steps(evidence, shown.time_s[first] - earlier_s, shown.time_s[last] - earlier_s)
        logs[:, k] = [_log_density(steps - (way[:, last] - way[:, first])) for way in ways]
    whole, alone = logsumexp(logs - 0.5 * _OFF**2, axis=1)
    return float(expit(whole - alone))


def _courses(evidence: Evidence) -> _Courses | None:
    """Return what the log shows of velocities; None with hardly any courses or places."""
    gps, motion = evidence.gps, evidence.motion
    time = gps.time_s - evidence.start_unix_s
    inside = (time >= motion.time_s[0]) & (time <= motion.time_s[-1])
    moving = np.flatnonzero(np.isfinite(gps.course_deg) & (gps.speed_mps > _LEAST_MPS) & inside)
    time, which = np.unique(time[moving], return_index=True)
    if time.size < _LEAST_COURSES or not np.isfinite(evidence.ground.east_m).all():
        return None
    course = np.unwrap(np.radians(gps.course_deg[moving[which]]))
    longest = _LONGEST_S * max(float(np.median(np.diff(time))), 1.0)
    cuts = np.flatnonzero(np.diff(time) > longest) + 1
    parts = [part for part in np.split(time, cuts) if part[-1] - part[0] > _WINDOW_S]
    if not parts:
        return None
    grids = [np.arange(part[0], part[-1], _STEP_S) for part in parts]
    grid = np.concatenate(grids)
    speed = CubicHermiteSpline(motion.time_s, motion.speed_mps, motion.acceleration_mps2)
    return _Courses(
        time_s=grid,
        speed_mps=speed(grid),
        acceleration_mps2=np.interp(grid, motion.time_s, motion.acceleration_mps2),
        course_rad=PchipInterpolator(time, course)(grid),
        part=np.repeat(np.arange(len(grids)), [own.size for own in grids]),
    )


def _windows(shown: _Courses, late_s: float) -> tuple[Ints, Ints]:
    """Return the first and last points of the windows in which the car turned."""
    width = round(_WINDOW_S / _STEP_S)
    first = np.arange(0, max(shown.time_s.size - width, 0), width)
    last = first + width
    turned = np.abs(shown.course_rad[last] - shown.course_rad[first])
    good = (shown.part[last] == shown.part[first]) & (turned > _BENDS_RAD)
    good &= shown.time_s[first] >= late_s  # places are known from the log's first second on
    which = np.flatnonzero(good)
    which = which[:: -(-which.size // _MOST_WINDOWS) or 1]
    return first[which], last[which]


def _steps(evidence: Evidence, start_s: Floats, end_s: Floats) -> Floats:
    """Return the steps [2, w] from place to place, east and north."""
    ground = evidence.ground
    return np.array(
        [
            np.interp(end_s, ground.time_s, row) - np.interp(start_s, ground.time_s, row)
            for row in (ground.east_m, ground.north_m)
        ]
    )


def _added_up(velocity: Floats) -> Floats:
    """Return the way [2, m] that velocities add up to."""
    way = np.zeros_like(velocity)
    way[:, 1:] = np.cumsum(0.5 * _STEP_S * (velocity[:, 1:] + velocity[:, :-1]), axis=1)
    return way


def _log_density(misfit_m: Floats) -> float:
    """Return the log density of misfits [2, w] of one size that is not known."""
    square = (misfit_m**2).sum(axis=0) / _SIZES_M[:, None] ** 2
    told = -0.5 * (_TAIL + 2.0) * np.log1p(square / _TAIL) - 2.0 * np.log(_SIZES_M)[:, None]
    return float(logsumexp(told.sum(axis=1)))
