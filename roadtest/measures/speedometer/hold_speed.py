"""True speed over the steady part of a hold, and at the moment somebody read the dial there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import Draws
from roadtest.motion.ground import Ground
from roadtest.quantity import COVERAGE_FACTOR_95

Floats = NDArray[np.float64]

LOOK_S: Final = 2.0
"""How long a look at a dial takes, needle and eye together (common practice, no published source):
what is read is the mean over it."""

_LEAST_PART_S: Final = 2.0
_LEAST_CHANCE: Final = 1e-6


@dataclass(frozen=True)
class Part:
    """A stretch of a hold, seconds on the drive's clock."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Look:
    """When the dial was looked at: about `time_s`, or at any moment of the hold (None)."""

    time_s: float | None = None
    u_time_s: float = 0.0


def whole_part(hold: Manoeuvre, draws: Draws) -> Part:
    """Return all of a hold that the log covers."""
    return Part(max(hold.start_s, float(draws.time_s[0])), min(hold.end_s, float(draws.time_s[-1])))


def part_around(whole: Part, look: Look) -> Part:
    """Return the part of a hold that goes with a look at the dial.

    The look was within 1.96 · u of the time noted, 95 %; as much again on either side evens out the
    driver's foot. A hold no longer than that is used whole.
    """
    if look.time_s is None:
        return whole
    reach = 2.0 * COVERAGE_FACTOR_95 * look.u_time_s
    middle = min(max(look.time_s, whole.start_s), whole.end_s)
    start, end = max(whole.start_s, middle - reach), min(whole.end_s, middle + reach)
    return Part(start, end) if end - start >= _LEAST_PART_S else whole


def mean_over(draws: Draws, part: Part) -> Floats:
    """Return [c]: distance over time between the ends of the part, m/s, one element a draw."""
    count = draws.distance_m.shape[0]
    ends = [
        _each_at(draws.time_s, draws.distance_m, np.full(count, at))
        for at in (part.start_s, part.end_s)
    ]
    return np.asarray((ends[1] - ends[0]) / (part.end_s - part.start_s))


def speed_at_look(
    draws: Draws, part: Part, look: Look, count: int, rng: np.random.Generator
) -> Floats:
    """Return `count` draws of the true speed over a look at the dial, m/s.

    Moments are drawn about the time noted; all of the look lies within the part. Draws of the
    motion are used over again where there are fewer.
    """
    moments = _moments(part, look, count, rng)
    distance = draws.distance_m[np.resize(np.arange(draws.distance_m.shape[0]), count)]
    begin, end = (
        np.clip(moments + half, draws.time_s[0], draws.time_s[-1])
        for half in (-0.5 * LOOK_S, 0.5 * LOOK_S)
    )
    gone = _each_at(draws.time_s, distance, end) - _each_at(draws.time_s, distance, begin)
    return np.asarray(gone / (end - begin))


def wander_over(draws: Draws, part: Part) -> float:
    """Return the standard deviation of the mean motion's speed over the part, m/s."""
    inside = (draws.time_s >= part.start_s) & (draws.time_s <= part.end_s)
    return float(draws.speed_mps.mean(axis=0)[inside].std())


def slope_factor(ground: Ground, part: Part) -> float:
    """Return metres of road per metre on the map over the part: √(1 + mean grade²).

    A receiver's speed is level, a wheel runs along the road: 0.05 % at a grade of 3 %. The squared
    doubt of the grade is taken off its square, which it would make too large. 1 where no grade is
    known.
    """
    inside = (ground.time_s >= part.start_s) & (ground.time_s <= part.end_s)
    square = ground.grade[inside] ** 2 - ground.u_grade[inside] ** 2
    square = square[np.isfinite(square)]
    return float(np.sqrt(1.0 + max(square.mean(), 0.0))) if square.size else 1.0


def _moments(part: Part, look: Look, count: int, rng: np.random.Generator) -> Floats:
    """Return `count` moments that may have been the middle of a look within the part."""
    within = min(0.5 * LOOK_S, 0.5 * (part.end_s - part.start_s))
    start, end = part.start_s + within, part.end_s - within
    if look.time_s is None:
        return rng.uniform(start, end, count)
    ends = (np.array([start, end]) - look.time_s) / max(look.u_time_s, 1e-6)
    low, high = ndtr(ends)
    if high - low < _LEAST_CHANCE:  # noted far outside: any moment of the part is as likely
        return rng.uniform(start, end, count)
    moments = look.time_s + look.u_time_s * ndtri(rng.uniform(low, high, count))
    return np.asarray(np.clip(moments, start, end))


def _each_at(time_s: Floats, values: Floats, moments: Floats) -> Floats:
    """Return [c]: each row of `values` [c, k] at its own moment, linear between the times [k]."""
    right = np.clip(np.searchsorted(time_s, moments), 1, time_s.size - 1)
    row = np.arange(moments.size)
    share = (moments - time_s[right - 1]) / (time_s[right] - time_s[right - 1])
    share = np.clip(share, 0.0, 1.0)
    low, high = values[row, right - 1], values[row, right]
    return np.asarray(low + share * (high - low))
