"""What the fixes around one stop show of its direction: courses and positions, on one grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.geodesy import Origin, local_metres
from roadtest.measures.braking.stop import StopDraws
from roadtest.motion.estimate import Draws

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BEFORE_S = 3.0  # of driving that shows how the road bends
GRID_S = 0.1
_LEAST_COURSE_MPS = 1.0  # below it a course is mostly noise


@dataclass(frozen=True)
class Account:
    """One way in which the receiver may show the motion."""

    smoothing_s: float = 0.0  # a first-order filter's time constant, of speed ...
    of_course: bool = False  # ... or of velocity as a whole, so that courses lag too
    delay_s: float = 0.0  # by which speeds and courses are later than places, beside that
    u_delay_s: float = 0.0


@dataclass(frozen=True)
class Seen:
    """What the fixes around one stop show, turned to the reference direction."""

    grid_s: Floats  # [m]
    speed_mps: Floats  # [m]
    way_m: Floats  # [m]
    reference_rad: float
    onset_s: float
    course_s: Floats  # [n], times of courses
    shown_mps: Floats  # [n], speeds there as shown
    sideways_mps: Floats  # [n]
    course_rounding: Floats  # [n], variance of sideways speed that rounded courses add
    place_s: Floats  # [p], times of positions, on the clock of speeds
    aside_m: Floats  # [p]
    moved_m: Floats  # [p], standard uncertainty of `aside_m` that they share, of that clock


def look(evidence: Evidence, stop: StopDraws, draws: Draws, account: Account) -> Seen | None:
    """Return what the fixes show, or None with fewer than two courses and four positions.

    All is on the clock of the speeds with their smoothing taken out, by which the stop's times are.
    """
    start, end = float(np.median(stop.onset.time_s)), float(np.nanmedian(stop.end_s))
    motion = evidence.motion
    grid = np.arange(max(start - BEFORE_S, motion.time_s[0]), end + 2.0 * GRID_S, GRID_S)
    shown = np.interp(grid, motion.time_s, motion.speed_mps)
    slope = np.interp(grid, motion.time_s, motion.acceleration_mps2)
    inside = (grid >= draws.time_s[0]) & (grid <= draws.time_s[-1])
    shown[inside] = np.interp(grid[inside], draws.time_s, draws.speed_mps.mean(axis=0))
    slope[inside] = np.interp(grid[inside], draws.time_s, draws.acceleration_mps2.mean(axis=0))
    speed = np.maximum(shown + account.smoothing_s * slope, 0.0)
    time = evidence.gps.time_s - evidence.start_unix_s
    place_s = time + account.delay_s
    course = _moving(time, evidence.gps.course_deg, grid, shown)
    placed = _moving(place_s, evidence.gps.latitude_deg, grid, speed)
    if course.size < 2 and placed.size < 4:
        return None
    east, north = _places(evidence, placed)
    reference = _reference(np.radians(evidence.gps.course_deg[course]), east, north)
    v = np.interp(time[course], grid, shown)
    turned = np.radians(evidence.gps.course_deg[course]) - reference
    turned = (turned + np.pi) % (2.0 * np.pi) - np.pi
    leg = 0.5 * GRID_S * (speed[1:] + speed[:-1])
    return Seen(
        grid_s=grid,
        speed_mps=speed,
        way_m=np.concatenate([[0.0], np.cumsum(leg)]),
        reference_rad=reference,
        onset_s=start,
        course_s=time[course],
        shown_mps=v,
        sideways_mps=v * turned,
        course_rounding=(v * _course_step(evidence.gps.course_deg)) ** 2 / 12.0,
        place_s=place_s[placed],
        aside_m=east * np.cos(reference) - north * np.sin(reference),
        moved_m=account.u_delay_s * _at(place_s[placed], time[course], v * turned),
    )


def _moving(time_s: Floats, values: Floats, grid_s: Floats, speed_mps: Floats) -> Ints:
    """Return which of the fixes [n] have a value, lie on the grid and are on the move."""
    near = np.flatnonzero((time_s >= grid_s[0]) & (time_s <= grid_s[-1]) & np.isfinite(values))
    return near[np.interp(time_s[near], grid_s, speed_mps) > _LEAST_COURSE_MPS]


def _at(time_s: Floats, known_s: Floats, values: Floats) -> Floats:
    """Return `values` [n] at other times [p]; zero where there are none."""
    return np.interp(time_s, known_s, values) if known_s.size else np.zeros(time_s.size)


def _places(evidence: Evidence, placed: NDArray[np.int64]) -> tuple[Floats, Floats]:
    gps = evidence.gps
    if placed.size == 0:
        return np.zeros(0), np.zeros(0)
    middle = placed[placed.size // 2]
    origin = Origin(float(gps.latitude_deg[middle]), float(gps.longitude_deg[middle]))
    return local_metres(gps.latitude_deg[placed], gps.longitude_deg[placed], origin)


def _reference(courses: Floats, east: Floats, north: Floats) -> float:
    """Return the mean direction, from which headings differ little: of courses or positions."""
    if courses.size >= 2:
        return float(np.angle(np.exp(1j * courses).mean()))
    return float(np.arctan2(east[-1] - east[0], north[-1] - north[0]))


def _course_step(course_deg: Floats) -> float:
    """Return the step, rad, to which the log rounds its courses."""
    known = course_deg[np.isfinite(course_deg)]
    for step in (1.0, 0.1):
        if known.size and np.mean(np.abs(known - step * np.round(known / step)) < 1e-6) > 0.99:
            return float(np.radians(step))
    return 0.0


def between(grid: Floats, rows: Floats, at: Floats) -> Floats:
    """Return rows [m, k] of a grid, interpolated to other times [n]: [n, k]."""
    low = np.clip(np.searchsorted(grid, at, "right") - 1, 0, grid.size - 2)
    share = ((at - grid[low]) / (grid[low + 1] - grid[low]))[:, None]
    return np.asarray((1.0 - share) * rows[low] + share * rows[low + 1])
