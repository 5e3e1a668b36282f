"""What a logger would make of a planned drive, before it is driven: evidence around the plan.

The speeds are those of the plan itself, so the motion's posterior lies around the plan; its
information matrix, its jerk intensities and its draws are those of the motion estimate, with the
logger's noise taken as given instead of fitted. Positions, courses and heights, which only the
measures of drift and grade look at, have one draw of the noise that the estimate expects of them.
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
from roadtest.motion.estimate import POSITION_MODEL, SPEED_MODEL, Motion, Span, travelled
from roadtest.motion.ground import ground_under
from roadtest.motion.noise import Noise
from roadtest.motion.posterior import Posterior
from roadtest.motion.sampler import Observed, Sampler
from roadtest.motion.screening import screen
from roadtest.plan.profile import Profile

Floats = NDArray[np.float64]

DRAWS: Final = 200
MARGIN_S: Final = 2.0
START_UNIX_S: Final = 1.7e9  # any day will do
_NORMAL_TAIL: Final = 200.0  # Student's t with so many degrees of freedom is as good as normal
_SETTLE, _SWEEPS = 10, 30
_HEIGHT_WANDER_M, _HEIGHT_MEMORY_S, _HEIGHT_WHITE_M = 3.0, 120.0, 0.3
"""What the estimate of the grade expects of heights (roadtest.motion.grade)."""


@dataclass(frozen=True)
class Logger:
    """The logger that is to be used: fixes a second, and scatter of its speeds (m/s, standard)."""

    rate_hz: float = 10.0
    noise_mps: float = SPEED_MODEL.prior.sd


def foresee(
    profile: Profile, logger: Logger, sheet: BuildSheet, notes: Notes | None = None
) -> Evidence:
    """Return the evidence that the planned drive would leave in the log."""
    rng = np.random.default_rng(0)
    log = _log(profile, logger, rng)
    screened = screen(log)
    motion = _motion_around(screened.observed, logger, rng)
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
    meridian, across = radii_m(np.zeros(1))  # on the equator degrees are plain lengths
    course_sd = logger.noise_mps / np.maximum(speed, 0.5)
    height = _wander(time, _HEIGHT_WANDER_M, _HEIGHT_MEMORY_S, rng)
    height += _HEIGHT_WHITE_M * rng.standard_normal(time.size)
    blank = np.full(time.size, np.nan)
    return GpsLog(
        name="plan",
        kind="nmea",
        time_s=START_UNIX_S + time,
        latitude_deg=np.degrees(places[1] / meridian),
        longitude_deg=np.degrees(places[0] / across),
        altitude_m=100.0 + height,
        # Not exactly zero: a receiver that scatters does not write zeros at rest.
        speed_mps=np.maximum(speed, 1e-3),
        course_deg=np.rad2deg(heading + course_sd * rng.standard_normal(time.size)) % 360.0,
        hdop=np.full(time.size, 1.0),
        u_position_m=blank,
        segment=np.zeros(time.size, dtype=np.int64),
        source="plan",
        fixes_read=time.size,
    )


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


def _motion_around(observed: Observed, logger: Logger, rng: np.random.Generator) -> Motion:
    """Return the motion that fixes on the plan would show, the noise taken as the logger's.

    The jerk's intensities are drawn as in the estimate, given the plan and the posterior about it.
    """
    noise = Noise(logger.noise_mps, _NORMAL_TAIL)
    sampler = Sampler(observed, SPEED_MODEL, noise, rng)
    precision = np.zeros(sampler.bins.count)
    weight = np.where(observed.seen, 1.0 / (noise.sd**2 + observed.rounding), 0.0)
    speeds, accelerations = [], []
    for k in range(-_SETTLE, _SWEEPS):
        sampler.weight = weight
        states = sampler.sweep(with_noise=False)
        if k >= 0:
            precision += sampler.precision / _SWEEPS
            speeds.append(states[0, :, 0])
            accelerations.append(states[0, :, 1])
    intensity = sampler.of_bins(1.0 / precision)
    system = sampler.system
    speed, acceleration = np.array(speeds), np.array(accelerations)
    mean_speed = np.where(observed.knots.still, 0.0, np.maximum(speed.mean(axis=0), 0.0))
    mean_acceleration = acceleration.mean(axis=0)
    time = observed.knots.time_s
    return Motion(
        time_s=time,
        speed_mps=mean_speed,
        u_speed_mps=speed.std(axis=0, ddof=1),
        acceleration_mps2=mean_acceleration,
        u_acceleration_mps2=acceleration.std(axis=0, ddof=1),
        distance_m=travelled(time, mean_speed, mean_acceleration),
        intensity=intensity[system.between.interval[:-1]],
        noise=noise,
        noise_draws=(noise,),
        observed=observed,
        source="doppler",
        posterior=Posterior(system, system.factor(intensity, weight)),
    )
