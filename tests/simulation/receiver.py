"""A satellite receiver: what it makes of the truth, with the errors real ones have.

The default speed error has the size and memory found for a real 1 Hz receiver against a
survey-grade reference: standard deviation 0.033 m/s, autocorrelation 0.27 at 1 s, 0.15-0.18 at
2-3 s and 0.07 from 5 to 20 s. It is built of a white part and two Ornstein-Uhlenbeck parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from tests.simulation.lag import lagged
from tests.simulation.truth import Floats, Truth

Bools = NDArray[np.bool_]

KNOT_MPS = 1852.0 / 3600.0
SEMI_MAJOR_M = 6378137.0  # WGS 84
ECCENTRICITY_SQ = 0.00669437999014

_WHOLE_SD = 0.033
_FAST_SHARE, _SLOW_SHARE = 0.20, 0.09  # of the variance


@dataclass(frozen=True)
class Receiver:
    """What kind of receiver it is. All standard deviations are of one sample."""

    rate_hz: float = 10.0
    white_mps: float = _WHOLE_SD * math.sqrt(1.0 - _FAST_SHARE - _SLOW_SHARE)
    fast_mps: float = _WHOLE_SD * math.sqrt(_FAST_SHARE)  # wanders over fast_tau_s
    fast_tau_s: float = 2.5
    slow_mps: float = _WHOLE_SD * math.sqrt(_SLOW_SHARE)
    slow_tau_s: float = 40.0
    student_nu: float = math.inf  # tails of the white part
    outlier_share: float = 0.0
    outlier_mps: float = 1.0
    speed_step_mps: float = 0.01 * KNOT_MPS  # rounding; 0 none
    lag_s: float = 0.0  # first-order smoothing inside the receiver, of speed ...
    lag_of_course: bool = False  # ... or of velocity as a whole, so that its course lags too
    ahead_m: float = 0.0  # where its antenna lies, ahead of the driven axle
    delay_s: float = 0.0  # how old the speed is
    clamp_mps: float = 0.0  # below this it says 0
    position_white_m: float = 0.3
    position_slow_m: float = 1.5
    position_tau_s: float = 120.0
    altitude_slow_m: float = 4.0
    altitude_tau_s: float = 100.0
    altitude_white_m: float = 0.2
    jitter_s: float = 0.0  # fixes unevenly spaced, rightly stamped
    stamp_error_s: float = 0.0  # stamps wrong by this (white)
    late_start_s: float = 0.0
    no_fix: tuple[tuple[float, float], ...] = ()  # stretches that are sent as "no fix"
    gaps: tuple[tuple[float, float], ...] = ()  # stretches not sent at all
    missing_share: float = 0.0  # single fixes not sent
    duplicate_share: float = 0.0  # fixes sent twice
    hdop: float = 0.9


@dataclass(frozen=True, eq=False)
class Fixes:
    """What the receiver sent, in the order sent. Arrays are [n]."""

    start_utc_s: float
    time_s: Floats  # since the start of the drive, when the fix was really taken
    stamp_s: Floats  # since the start of the drive, as stamped
    latitude_deg: Floats
    longitude_deg: Floats
    east_m: Floats  # the same position, in the truth's plane
    north_m: Floats
    altitude_m: Floats
    speed_mps: Floats
    course_deg: Floats  # 0 to 360, NaN when the receiver says 0 speed
    valid: Bools
    hdop: Floats

    @property
    def stamp_utc_s(self) -> Floats:
        """Stamps in seconds since 1970 UTC."""
        return self.start_utc_s + self.stamp_s


def receive(truth: Truth, receiver: Receiver, seed: int) -> Fixes:
    """Return the fixes the receiver sends over the whole drive."""
    rng = np.random.default_rng(seed)
    time = _times(truth, receiver, rng)
    speed, course = _velocity(truth, receiver, time, rng)
    slow, white = receiver.position_slow_m, receiver.position_white_m
    ahead = receiver.ahead_m * np.array([np.sin(truth.heading_rad), np.cos(truth.heading_rad)])
    east, north = (
        np.interp(time, truth.t_s, path)
        + wander(time, slow, receiver.position_tau_s, rng)
        + rng.normal(0.0, white, time.size)
        for path in np.array([truth.east_m, truth.north_m]) + ahead
    )
    latitude, longitude = geographic(truth, time, east, north)
    altitude = (
        np.interp(time, truth.t_s, truth.altitude_m)
        + wander(time, receiver.altitude_slow_m, receiver.altitude_tau_s, rng)
        + rng.normal(0.0, receiver.altitude_white_m, time.size)
    )
    stamp = time + rng.normal(0.0, receiver.stamp_error_s, time.size)
    valid = ~_inside(time, receiver.no_fix)
    order = _sent(time, receiver, rng)
    columns = (time, stamp, latitude, longitude, east, north, altitude, speed, course)
    names = [f.name for f in fields(Fixes)][1 : 1 + len(columns)]
    sent = {name: column[order] for name, column in zip(names, columns, strict=True)}
    hdop = np.full(order.size, receiver.hdop)
    return Fixes(start_utc_s=truth.start_utc_s, valid=valid[order], hdop=hdop, **sent)


def wander(time_s: Floats, sd: float, tau_s: float, rng: np.random.Generator) -> Floats:
    """Return an Ornstein-Uhlenbeck path at uneven times, stationary from the start."""
    if sd == 0.0 or time_s.size == 0:
        return np.zeros(time_s.size)
    keep = np.exp(-np.diff(time_s) / tau_s)
    kicks = sd * rng.normal(size=time_s.size)
    kicks[1:] *= np.sqrt(1.0 - keep**2)
    path = [float(kicks[0])]
    for share, kick in zip(keep.tolist(), kicks[1:].tolist(), strict=True):
        path.append(share * path[-1] + kick)
    return np.array(path)


def geographic(
    truth: Truth, time_s: Floats, east_m: Floats, north_m: Floats
) -> tuple[Floats, Floats]:
    """Return latitude and longitude (deg) of positions near the true path, on the ellipsoid.

    East metres are turned into longitude step by step at the true latitude, so that path lengths
    on the ellipsoid equal those of the truth. The small offset of a fix from the true path is
    turned at the spot.
    """
    latitude0, longitude0 = np.radians(truth.origin_deg)
    latitude = latitude0 + truth.north_m / _meridian_m(np.array(latitude0))
    for _ in range(3):  # radius at the middle of the way, not at the origin
        latitude = latitude0 + truth.north_m / _meridian_m(0.5 * (latitude0 + latitude))
    middle = 0.5 * (latitude[1:] + latitude[:-1])
    steps = np.diff(truth.east_m) / _parallel_m(middle)
    longitude = longitude0 + np.concatenate(([0.0], np.cumsum(steps)))
    here = np.interp(time_s, truth.t_s, latitude)
    off_north = north_m - np.interp(time_s, truth.t_s, truth.north_m)
    off_east = east_m - np.interp(time_s, truth.t_s, truth.east_m)
    return (
        np.degrees(here + off_north / _meridian_m(here)),
        np.degrees(np.interp(time_s, truth.t_s, longitude) + off_east / _parallel_m(here)),
    )


def _meridian_m(latitude_rad: Floats) -> Floats:
    """Radius of curvature along the meridian."""
    root = 1.0 - ECCENTRICITY_SQ * np.sin(latitude_rad) ** 2
    return np.asarray(SEMI_MAJOR_M * (1.0 - ECCENTRICITY_SQ) / root**1.5)


def _parallel_m(latitude_rad: Floats) -> Floats:
    """Radius of the parallel."""
    root = 1.0 - ECCENTRICITY_SQ * np.sin(latitude_rad) ** 2
    return np.asarray(SEMI_MAJOR_M * np.cos(latitude_rad) / np.sqrt(root))


def _times(truth: Truth, receiver: Receiver, rng: np.random.Generator) -> Floats:
    step = 1.0 / receiver.rate_hz
    count = int((truth.t_s[-1] - receiver.late_start_s) / step)
    time = receiver.late_start_s + step * np.arange(count + 1)
    if receiver.jitter_s > 0.0:
        shift = rng.normal(0.0, receiver.jitter_s, time.size)
        time = np.clip(time + np.clip(shift, -0.45 * step, 0.45 * step), 0.0, truth.t_s[-1])
    return np.asarray(time, dtype=np.float64)


def _velocity(
    truth: Truth, receiver: Receiver, time: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return speed and course as the receiver says them."""
    seen = time - receiver.delay_s
    level, way = _smoothed(truth, receiver)
    level = np.interp(seen, truth.t_s, level)
    along = level + _noise(receiver, time, rng)
    across = _noise(receiver, time, rng)
    # A receiver measures a velocity: at rest its errors make a small positive speed, not zero mean.
    speed = np.hypot(along, across)
    heading = np.interp(seen, truth.t_s, way) + np.arctan2(across, along)
    if receiver.speed_step_mps > 0.0:
        speed = receiver.speed_step_mps * np.round(speed / receiver.speed_step_mps)
    speed = np.where(speed < receiver.clamp_mps, 0.0, speed)
    course = np.where(speed > 0.0, np.degrees(heading) % 360.0, np.nan)
    return speed, course


def _smoothed(truth: Truth, receiver: Receiver) -> tuple[Floats, Floats]:
    """Return level speed and direction of the antenna as the receiver's filter shows them."""
    level, way = truth.speed_mps / np.sqrt(1.0 + truth.grade**2), truth.heading_rad
    if receiver.ahead_m:
        swing = receiver.ahead_m * np.gradient(truth.heading_rad, truth.step_s)
        level, way = np.hypot(level, swing), way + np.arctan2(swing, np.maximum(level, 0.1))
    if receiver.lag_s == 0.0 or not receiver.lag_of_course:
        return lagged(level, truth.step_s, receiver.lag_s), way
    east, north = (
        lagged(level * part, truth.step_s, receiver.lag_s) for part in (np.sin(way), np.cos(way))
    )
    # Turned back by the true heading, so that it stays near it and needs no unwrapping.
    behind = np.arctan2(
        east * np.cos(way) - north * np.sin(way), east * np.sin(way) + north * np.cos(way)
    )
    return np.hypot(east, north), way + behind


def _noise(receiver: Receiver, time: Floats, rng: np.random.Generator) -> Floats:
    white = rng.normal(size=time.size)
    if math.isfinite(receiver.student_nu):
        nu = receiver.student_nu
        white = rng.standard_t(nu, time.size) * math.sqrt(max(nu - 2.0, 0.5) / nu)
    noise = receiver.white_mps * white
    noise += wander(time, receiver.fast_mps, receiver.fast_tau_s, rng)
    noise += wander(time, receiver.slow_mps, receiver.slow_tau_s, rng)
    if receiver.outlier_share > 0.0:
        hit = rng.random(time.size) < receiver.outlier_share
        noise += hit * rng.normal(0.0, receiver.outlier_mps, time.size)
    return np.asarray(noise)


def _inside(time: Floats, stretches: tuple[tuple[float, float], ...]) -> Bools:
    inside = np.zeros(time.size, dtype=np.bool_)
    for start, end in stretches:
        inside |= (time >= start) & (time < end)
    return inside


def _sent(time: Floats, receiver: Receiver, rng: np.random.Generator) -> NDArray[np.int64]:
    """Return which fixes are sent, in order; some twice."""
    kept = ~_inside(time, receiver.gaps)
    if receiver.missing_share > 0.0:
        kept &= rng.random(time.size) >= receiver.missing_share
    twice = rng.random(time.size) < receiver.duplicate_share
    return np.repeat(np.arange(time.size), np.where(kept, 1 + twice, 0))
