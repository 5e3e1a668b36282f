"""The grade under each stop, and the deceleration the same braking gives on a level road.

Three things tell of the grade: the altitudes (one estimate a stop, with its uncertainty); that the
same ground driven the other way has the opposite grade; and that like stops brake about alike, so
that what differs between the two directions is the hill. How alike they brake and how hilly the
road is are not known: both are averaged over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.braking.series import DRIVER_SCALE
from roadtest.measures.braking.stop import StopDraws
from roadtest.measures.mfdd import level_deceleration
from roadtest.motion.hilliness import Grades
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Standard deviation of a driver's braking from stop to stop, as a share of it: tried, and weighted
# by a half-Cauchy density as wide as that of a series of stops.
_DRIVER_SHARES = np.array([0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32])


@dataclass(frozen=True)
class _Places:
    """Where the stops were made, [n], and what the altitudes say of the grades there."""

    east_m: Floats
    north_m: Floats
    heading_rad: Floats
    distance_m: Floats  # driven till then
    possible: tuple[Grades, ...]  # of every stop


@dataclass(frozen=True)
class _Posterior:
    """Grades of the stops under one possibility."""

    mean: Floats  # [n]
    covariance: Floats  # [n, n]
    log: float  # of its probability, up to a constant


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
    posteriors = [_of_ground(places, grades) for grades in places.possible]
    decelerations = np.array([stop.mfdd_mps2 for stop in stops])
    count = decelerations.shape[1]
    known = like & np.isfinite(decelerations).all(axis=1)
    if np.count_nonzero(known) >= 2:
        seen = decelerations[known].mean(axis=1), decelerations[known].var(axis=1)
        posteriors = [
            _with_braking(ground, seen, known, share)
            for ground in posteriors
            for share in _DRIVER_SHARES
        ]
    log = np.array([posterior.log for posterior in posteriors])
    weight = np.exp(log - log.max())
    parts = rng.multinomial(count, weight / weight.sum())
    drawn = [_normal(p, int(k), rng) for p, k in zip(posteriors, parts, strict=True) if k]
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

    driven = np.interp(times, evidence.motion.time_s, evidence.motion.distance_m)
    return _Places(
        mean(ground.east_m),
        mean(ground.north_m),
        mean(ground.heading_rad),
        np.asarray((weight * driven).sum(axis=0)),
        tuple(
            replace(grades, grade=mean(grades.grade), u_grade=mean(grades.u_grade))
            for grades in ground.possible
        ),
    )


def _of_ground(places: _Places, grades: Grades) -> _Posterior:
    """Return the grades from altitudes and places.

    Grades near each other are alike in the same direction and opposite in the other. No grade jumps
    or has a kink, for roads are built with vertical curves: a Matérn 3/2 process that forgets as
    much over its whole length as e^(-d/reach) does. What the altitudes say of one stop is brought
    from its posterior to a likelihood first, so that what is thought of roads beforehand counts
    once. Stops made soon after each other rest on the same altitudes: what these say of one and of
    the next is in error together, as far as grades are alike along the way driven between them.
    """
    spread, reach = grades.spread, grades.reach_m
    turn = np.cos(places.heading_rad[:, None] - places.heading_rad)
    apart = np.hypot(
        places.east_m[:, None] - places.east_m, places.north_m[:, None] - places.north_m
    )
    apart = 2.0 * apart / reach
    prior = spread**2 * _alike((1.0 + apart) * np.exp(-apart) * turn)
    driven = np.abs(places.distance_m[:, None] - places.distance_m)
    chain = _alike(np.exp(-driven / reach) * turn)
    u = np.minimum(grades.u_grade, 0.999 * spread)
    root = np.sqrt(u**-2.0 - spread**-2.0)
    told = root[:, None] * np.linalg.inv(chain) * root
    pull = told @ (grades.grade / u**2 / root**2)
    covariance = np.linalg.inv(np.linalg.inv(prior) + told)
    # The probability came from a road that never meets itself: it is put on this one.
    log = _log_evidence(prior, told, pull) - _log_evidence(spread**2 * chain, told, pull)
    return _Posterior(covariance @ pull, covariance, float(np.log(grades.probability)) + log)


def _alike(correlation: Floats) -> Floats:
    """Return a correlation [n, n] without what is not known, and which can be inverted."""
    alike = np.where(np.isfinite(correlation), correlation, 0.0)
    np.fill_diagonal(alike, 1.0)
    return alike + 1e-6 * np.eye(alike.shape[0])


def _log_evidence(prior: Floats, told: Floats, pull: Floats) -> float:
    """Return the log probability of what is told under a prior [n, n], up to a constant."""
    covariance = np.linalg.inv(np.linalg.inv(prior) + told)
    determinant = np.linalg.slogdet(np.eye(pull.size) + prior @ told)[1]
    return float(0.5 * (pull @ covariance @ pull - determinant))


def _with_braking(
    ground: _Posterior, seen: tuple[Floats, Floats], known: Bools, share: float
) -> _Posterior:
    """Return the grades given the decelerations too, if a driver differs by `share`.

    Deceleration = braking common to all (unknown) + driver + g · grade + error of measurement.
    """
    mean, covariance = ground.mean, ground.covariance
    g = STANDARD_GRAVITY_MPS2
    pick = np.eye(mean.size)[known]
    value, variance = seen
    driver = share * float(value.mean())
    spread = g**2 * pick @ covariance @ pick.T + np.diag(variance + driver**2)
    inverse = np.linalg.inv(spread)
    ones = np.ones(value.size)
    weight = float(ones @ inverse @ ones)
    without = inverse - np.outer(inverse @ ones, inverse @ ones) / weight  # the common part is free
    off = value - g * pick @ mean
    gain = g * covariance @ pick.T @ without
    log = -0.5 * (np.linalg.slogdet(spread)[1] + np.log(weight) + off @ without @ off)
    cell = share / (1.0 + (share / DRIVER_SCALE) ** 2)  # the shares have even steps of log
    return _Posterior(
        mean + gain @ off,
        covariance - g * gain @ pick @ covariance,
        ground.log + float(log + np.log(cell)),
    )


def _normal(posterior: _Posterior, count: int, rng: np.random.Generator) -> Floats:
    """Return `count` draws [n, count]."""
    mean, covariance = posterior.mean, posterior.covariance
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(mean[:, None] + root @ rng.standard_normal((mean.size, count)))
