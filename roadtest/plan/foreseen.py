"""What a logger would make of a planned drive, before it is driven: a log of it, and the estimate.

The log has the noise of the logger, the slow errors that the motion estimate expects of receivers,
and wandering heights; it then goes through the estimate itself, so that what comes out holds all
that a real log's figures hold. One such log is one throw of the dice: intervals are taken over
several.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.evidence import Evidence
from roadtest.geodesy import radii_m
from roadtest.logs.model import GpsLog, Notes
from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import POSITION_MODEL, SPEED_MODEL, Span, estimate
from roadtest.motion.ground import ground_under
from roadtest.motion.screening import screen
from roadtest.plan.profile import Profile

Floats = NDArray[np.float64]

DRAWS: Final = 100  # a throw; several throws make up for it
MARGIN_S: Final = 2.0
START_UNIX_S: Final = 1.7e9  # any day will do
_HEIGHT_WANDER_M, _HEIGHT_MEMORY_S, _HEIGHT_WHITE_M = 3.0, 120.0, 0.3
"""What the estimate of the grade expects of heights (roadtest.motion.grade)."""


@dataclass(frozen=True)
class Logger:
    """The logger that is to be used: fixes a second, and scatter of its speeds (m/s, standard)."""

    rate_hz: float = 10.0
    noise_mps: float = SPEED_MODEL.prior.sd


def foresee(
    profile: Profile,
    logger: Logger,
    sheet: BuildSheet,
    notes: Notes | None = None,
    seed: int = 0,
) -> Evidence:
    """Return the evidence that the planned drive would leave; `seed` is that of the noise."""
    rng = np.random.default_rng([seed, 30])
    log = _log(profile, logger, rng)
    screened = screen(log)
    motion = estimate(screened.observed, rng)
    made = profile.manoeuvres
    spans = [Span(m.start_s - MARGIN_S, m.end_s + MARGIN_S) for m in made]
    drawn = motion.draws(spans, DRAWS, rng)
    return Evidence(
        start_unix_s=screened.start_unix_s,
        sheet=sheet,
        gps=log,
        motion=motion,
        ground=ground_under(screened, motion),
        manoeuvres=made,
        draws={m.id: d for m, d in zip(made, drawn, strict=True)},
        notes=notes,
    )


def middle_of(manoeuvre: Manoeuvre) -> float:
    """Return the middle of a manoeuvre of a planned drive, seconds since 1970."""
    return START_UNIX_S + 0.5 * (manoeuvre.start_s + manoeuvre.end_s)


def _log(profile: Profile, logger: Logger, rng: np.random.Generator) -> GpsLog:
    time = np.arange(0.0, float(profile.time_s[-1]), 1.0 / logger.rate_hz)
    speed = np.interp(time, profile.time_s, profile.speed_mps)
    heading = np.interp(time, profile.time_s, profile.heading_rad)
    fine_dt = profile.time_s[1] - profile.time_s[0]
    ways = [
        np.interp(time, profile.time_s, np.cumsum(profile.speed_mps * part) * fine_dt)
        for part in (np.sin(profile.heading_rad), np.cos(profile.heading_rad))
    ]
    places = [way + _position_error(time, rng) for way in ways]
    meridian, parallel = radii_m(np.zeros(1))  # on the equator degrees are plain lengths
    along = speed + _speed_error(time, logger, rng)
    across = _speed_error(time, logger, rng)
    height = np.interp(time, profile.time_s, profile.altitude_m)
    height += _wander(time, _HEIGHT_WANDER_M, _HEIGHT_MEMORY_S, rng)
    height += _HEIGHT_WHITE_M * rng.standard_normal(time.size)
    blank = np.full(time.size, np.nan)
    return GpsLog(
        name="plan",
        kind="nmea",
        time_s=START_UNIX_S + time,
        latitude_deg=np.degrees(places[1] / meridian),
        longitude_deg=np.degrees(places[0] / parallel),
        altitude_m=100.0 + height,
        speed_mps=np.hypot(along, across),  # a receiver measures a velocity
        course_deg=np.rad2deg(heading + np.arctan2(across, along)) % 360.0,
        hdop=np.full(time.size, 1.0),
        u_position_m=blank,
        segment=np.zeros(time.size, dtype=np.int64),
        source="plan",
        fixes_read=time.size,
    )


def _speed_error(time: Floats, logger: Logger, rng: np.random.Generator) -> Floats:
    error = logger.noise_mps * rng.standard_normal(time.size)
    for slow in SPEED_MODEL.slow:
        error = error + _wander(time, slow.sd, slow.memory_s, rng)
    return error


def _position_error(time: Floats, rng: np.random.Generator) -> Floats:
    error = POSITION_MODEL.prior.sd * rng.standard_normal(time.size)
    for slow in POSITION_MODEL.slow:
        error = error + _wander(time, slow.sd, slow.memory_s, rng)
    return error


def _wander(time: Floats, sd: float, memory_s: float, rng: np.random.Generator) -> Floats:
    """Return one draw [n] of a first-order Gauss-Markov process."""
    keep = np.exp(-np.diff(time) / memory_s)
    kicks = rng.standard_normal(time.size) * sd
    out = np.empty(time.size)
    out[0] = kicks[0]
    for k in range(1, time.size):
        out[k] = keep[k - 1] * out[k - 1] + np.sqrt(1.0 - keep[k - 1] ** 2) * kicks[k]
    return out
