"""True speed over the steady part of a hold, and how far a moment of it may be from that."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import Draws
from roadtest.motion.ground import Ground
from roadtest.verdicts import COVERAGE_FACTOR_95

Floats = NDArray[np.float64]

_FOOT_PERIODS_S: Final = (5.0, 10.0, 20.0)
_FOOT_DAMPING: Final = (0.3, 0.7)
"""A driver who holds a speed corrects, and over-corrects: foot, car and needle are a second-order
loop. Periods of 5 to 20 s, from lively to well damped (common practice, no published source); they
are weighed by how well they explain the speed of the hold itself."""

_OWN_NOISE: Final = 1e-4  # share of the wander's variance that has no memory, for a sound matrix
_STEP_S: Final = 0.5  # speed is looked at this often for its wander
_LEAST_PART_S: Final = 2.0
_ROUNDING_MPS: Final = 1e-4  # speeds no closer than this are one speed


@dataclass(frozen=True)
class Part:
    """A stretch of a hold, seconds on the drive's clock."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class HeldSpeed:
    """The true speed over part of a hold; arrays are [c], one element a draw of the motion.

    `mean_mps` is the mean over the part: doubt of the log alone. `held_mps` is the speed the driver
    was holding: his foot wanders, so the mean over a short part is not quite that. `wander_mps` is
    the standard deviation of the speed over the part.
    """

    part: Part
    mean_mps: Floats
    held_mps: Floats
    wander_mps: float


def whole_part(hold: Manoeuvre, draws: Draws) -> Part:
    """Return all of a hold that the log covers."""
    return Part(max(hold.start_s, float(draws.time_s[0])), min(hold.end_s, float(draws.time_s[-1])))


def part_around(whole: Part, time_s: float, u_time_s: float) -> Part:
    """Return the part of a hold that goes with a reading noted at `time_s`.

    The reading was taken within 1.96 · u of the time noted, 95 %; as much again on either side
    evens out the driver's foot. A hold no longer than that is used whole.
    """
    reach = 2.0 * COVERAGE_FACTOR_95 * u_time_s
    middle = min(max(time_s, whole.start_s), whole.end_s)
    start, end = max(whole.start_s, middle - reach), min(whole.end_s, middle + reach)
    return Part(start, end) if end - start >= _LEAST_PART_S else whole


def held_speed(
    draws: Draws, part: Part, slope_factor: float, count: int, rng: np.random.Generator
) -> HeldSpeed:
    """Return the true speed over `part`, along the road (`slope_factor`: see `slope_factor`).

    `count` draws; those of the motion are used over again where there are fewer.

    Uncertainty: of the log by the draws of the motion; of the wandering foot by
    `_mean_departures`; the ends of the part are exact, being chosen.
    """
    mean = slope_factor * np.resize(mean_over(draws, part), count)
    steps = max(4, round((part.end_s - part.start_s) / _STEP_S) + 1)
    times = np.linspace(part.start_s, part.end_s, steps)
    speed = slope_factor * np.interp(times, draws.time_s, draws.speed_mps.mean(axis=0))
    departures = _mean_departures(speed, float(times[1] - times[0]), count, rng)
    return HeldSpeed(part, mean, mean + departures, float(speed.std(ddof=1)))


def moment_departures(
    draws: Draws, held: HeldSpeed, time_s: float, u_time_s: float, rng: np.random.Generator
) -> Floats:
    """Return [c]: how far the speed at the moment of reading was from the mean over the part.

    The moment is drawn about the noted time, within the part; the reading stays that of the whole
    part, so its departure is given either sign.
    """
    part, count = held.part, held.mean_mps.size
    low, high = ndtr((np.array([part.start_s, part.end_s]) - time_s) / u_time_s)
    if high - low < 1e-6:  # noted far outside: any moment of the part is as likely
        moments = rng.uniform(part.start_s, part.end_s, count)
    else:
        moments = time_s + u_time_s * ndtri(rng.uniform(low, high, count))
    moments = np.clip(moments, part.start_s, part.end_s)
    rows = np.resize(np.arange(draws.speed_mps.shape[0]), count)
    speed = _each_at(draws.time_s, draws.speed_mps[rows], moments)
    mean = np.resize(mean_over(draws, part), count)
    return np.asarray((speed - mean) * rng.choice([-1.0, 1.0], count))


def slope_factor(ground: Ground, part: Part) -> float:
    """Return metres of road per metre on the map over the part: mean √(1 + grade²).

    A receiver's speed is level, a wheel runs along the road: 0.05 % at a grade of 3 %. The squared
    doubt of the grade is taken off its square, which it would make too large. 1 where no grade is
    known.
    """
    inside = (ground.time_s >= part.start_s) & (ground.time_s <= part.end_s)
    square = ground.grade[inside] ** 2 - ground.u_grade[inside] ** 2
    square = square[np.isfinite(square)]
    return float(np.sqrt(1.0 + max(square.mean(), 0.0))) if square.size else 1.0


def mean_over(draws: Draws, part: Part) -> Floats:
    """Return [c]: distance over time between the ends of the part, m/s, one element a draw."""
    count = draws.distance_m.shape[0]
    ends = [
        _each_at(draws.time_s, draws.distance_m, np.full(count, at))
        for at in (part.start_s, part.end_s)
    ]
    return np.asarray((ends[1] - ends[0]) / (part.end_s - part.start_s))


def _each_at(time_s: Floats, values: Floats, moments: Floats) -> Floats:
    """Return [c]: each row of `values` [c, k] at its own moment, linear between the times [k]."""
    right = np.clip(np.searchsorted(time_s, moments), 1, time_s.size - 1)
    row = np.arange(moments.size)
    share = (moments - time_s[right - 1]) / (time_s[right] - time_s[right - 1])
    share = np.clip(share, 0.0, 1.0)
    low, high = values[row, right - 1], values[row, right]
    return np.asarray(low + share * (high - low))


def _mean_departures(
    speed_mps: Floats, step_s: float, count: int, rng: np.random.Generator
) -> Floats:
    """Return `count` draws of the speed held less the mean speed of the part, m/s.

    The speed wanders about the one held as a second-order loop does, its size not known beforehand:
    for each loop the speed held is Student's t about the mean with n - 1 degrees of freedom, and
    the loops have the weights their likelihood gives them.

    Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., 14.2 and 14.7 (linear regression
    on a constant with correlated errors) [value from memory].
    """
    n = speed_mps.size
    departure = speed_mps - speed_mps.mean()
    lag_s = step_s * np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    loops = [(period, damping) for period in _FOOT_PERIODS_S for damping in _FOOT_DAMPING]
    log_weight, spread = np.zeros(len(loops)), np.zeros(len(loops))
    for k, (period_s, damping) in enumerate(loops):
        root = np.linalg.cholesky(
            _loop_correlation(lag_s, period_s, damping) + _OWN_NOISE * np.eye(n)
        )
        ones, whitened = np.linalg.solve(root, np.stack([np.ones(n), departure], axis=1)).T
        information = float(ones @ ones)
        rest = whitened - ones * float(ones @ whitened) / information
        squares = float(rest @ rest) + n * _ROUNDING_MPS**2
        log_weight[k] = -np.log(np.diag(root)).sum() - 0.5 * (
            np.log(information) + (n - 1) * np.log(squares)
        )
        spread[k] = np.sqrt(squares / (n - 1) / information)
    weight = np.exp(log_weight - log_weight.max())
    loop_of = rng.choice(len(loops), count, p=weight / weight.sum())
    return np.asarray(spread[loop_of] * rng.standard_t(n - 1, count))


def _loop_correlation(lag_s: Floats, period_s: float, damping: float) -> Floats:
    """Return the correlation of a second-order loop shaken by white noise.

    e^(-ζωτ)·(cos ω'τ + ζ/√(1-ζ²)·sin ω'τ), ω = 2π/period, ω' = ω·√(1-ζ²).
    """
    omega = 2.0 * np.pi / period_s
    root = np.sqrt(1.0 - damping**2)
    turned = omega * root * lag_s
    return np.asarray(
        np.exp(-damping * omega * lag_s) * (np.cos(turned) + damping / root * np.sin(turned))
    )
