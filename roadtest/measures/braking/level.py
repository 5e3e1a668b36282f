"""The grade under each stop, and the deceleration the same braking gives on a level road.

Three things tell of the grade: the altitudes (one estimate a stop, with its uncertainty); that the
same ground driven the other way has the opposite grade; and that like stops brake about alike, so
that what differs between the two directions is the hill. How alike they brake is not known: it is
averaged over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.braking.series import DRIVER_SCALE
from roadtest.measures.braking.stop import StopDraws
from roadtest.measures.mfdd import level_deceleration
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Standard deviation of a driver's braking from stop to stop, as a share of it: tried, and weighted
# by a half-Cauchy density as wide as that of a series of stops.
_DRIVER_SHARES = np.array([0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32])
_STEEPEST_SD = 0.05  # of grade where the ground says nothing


@dataclass(frozen=True)
class _Places:
    """Where the stops were made, [n], and what the altitudes say of the grade there."""

    east_m: Floats
    north_m: Floats
    heading_rad: Floats
    grade: Floats
    u_grade: Floats


def grades_of(
    evidence: Evidence, stops: Sequence[StopDraws], like: Bools, rng: np.random.Generator
) -> Floats:
    """Return draws of the grade under every stop, [n, c], joint over the stops.

    Parameters
    ----------
    stops : n stops to rest
    like : [n] bool, which of them began at like speeds and may be compared
    """
    places = _places(evidence, stops)
    mean, covariance = _of_ground(places, evidence)
    decelerations = np.array([stop.mfdd_mps2 for stop in stops])
    count = decelerations.shape[1]
    known = like & np.isfinite(decelerations).all(axis=1)
    if np.count_nonzero(known) < 2:
        return _normal(mean, covariance, count, rng)
    seen = decelerations[known].mean(axis=1), decelerations[known].var(axis=1)
    posteriors = [
        _with_braking((mean, covariance), seen, known, share * float(seen[0].mean()))
        for share in _DRIVER_SHARES
    ]
    cell = _DRIVER_SHARES / (1.0 + (_DRIVER_SHARES / DRIVER_SCALE) ** 2)  # even steps of log
    log = np.array([posterior[2] for posterior in posteriors]) + np.log(cell)
    weight = np.exp(log - log.max())
    share = rng.multinomial(count, weight / weight.sum())
    drawn = [
        _normal(m, s, int(k), rng) for (m, s, _), k in zip(posteriors, share, strict=True) if k
    ]
    return np.hstack(drawn)[:, rng.permutation(count)]


def level_of(stops: Sequence[StopDraws], grades: Floats) -> Floats:
    """Return draws [n, c] of each stop's deceleration with the grade [n, c] taken out, m/s²."""
    return np.array(
        [level_deceleration(s.mfdd_mps2, g) for s, g in zip(stops, grades, strict=True)]
    ).reshape(grades.shape)


def _places(evidence: Evidence, stops: Sequence[StopDraws]) -> _Places:
    """Return the middle of each stop's fully developed part."""
    ground = evidence.ground
    begin = [float(np.nanmean(s.upper_s)) for s in stops]
    finish = [float(np.nanmean(s.lower_s)) for s in stops]
    times = np.linspace(begin, finish, 9)  # more of the time is spent slow, more way made fast
    speed = np.interp(times, evidence.motion.time_s, evidence.motion.speed_mps) + 0.1
    weight = speed / speed.sum(axis=0)

    def mean(values: Floats) -> Floats:
        known = np.isfinite(values)
        if not known.any():
            return np.full(len(stops), np.nan)
        at = np.interp(times, ground.time_s[known], values[known])
        return np.asarray((weight * at).sum(axis=0))

    rows = (ground.east_m, ground.north_m, ground.heading_rad, ground.grade, ground.u_grade)
    return _Places(*(mean(row) for row in rows))


def _of_ground(places: _Places, evidence: Evidence) -> tuple[Floats, Floats]:
    """Return mean [n] and covariance [n, n] of the grades from altitudes and places.

    Grades near each other are alike in the same direction and opposite in the other. No grade jumps
    or has a kink, for roads are built with vertical curves: a Matérn 3/2 process that forgets as
    much over its whole length as e^(-d/reach) does. What the altitudes say of one stop is brought
    from its posterior to a likelihood first, so that what is thought of roads beforehand counts
    once.
    """
    spread = min(evidence.ground.grade_spread, _STEEPEST_SD)
    east, north, heading = places.east_m, places.north_m, places.heading_rad
    apart = np.hypot(east[:, None] - east, north[:, None] - north)
    apart = 2.0 * apart / evidence.ground.grade_reach_m
    alike = (1.0 + apart) * np.exp(-apart) * np.cos(heading[:, None] - heading)
    alike = np.where(np.isfinite(alike), alike, 0.0)
    np.fill_diagonal(alike, 1.0)
    prior = spread**2 * (alike + 1e-6 * np.eye(east.size))
    u = np.minimum(places.u_grade, 0.999 * spread)
    told = u**-2.0 - spread**-2.0
    information = np.linalg.inv(prior) + np.diag(told)
    covariance = np.linalg.inv(information)
    return covariance @ (places.grade / u**2), covariance


def _with_braking(
    ground: tuple[Floats, Floats], seen: tuple[Floats, Floats], known: Bools, driver: float
) -> tuple[Floats, Floats, float]:
    """Return mean and covariance of the grades given the decelerations, and the log evidence.

    Deceleration = braking common to all (unknown) + driver + g · grade + error of measurement.
    """
    mean, covariance = ground
    g = STANDARD_GRAVITY_MPS2
    pick = np.eye(mean.size)[known]
    value, variance = seen
    spread = g**2 * pick @ covariance @ pick.T + np.diag(variance + driver**2)
    inverse = np.linalg.inv(spread)
    ones = np.ones(value.size)
    weight = float(ones @ inverse @ ones)
    without = inverse - np.outer(inverse @ ones, inverse @ ones) / weight  # the common part is free
    off = value - g * pick @ mean
    gain = g * covariance @ pick.T @ without
    log = -0.5 * (np.linalg.slogdet(spread)[1] + np.log(weight) + off @ without @ off)
    return mean + gain @ off, covariance - g * gain @ pick @ covariance, float(log)


def _normal(mean: Floats, covariance: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Return `count` draws [n, count] of a normal."""
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(mean[:, None] + root @ rng.standard_normal((mean.size, count)))
