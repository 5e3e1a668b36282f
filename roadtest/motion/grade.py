"""The grade of the road from the altitudes of the fixes, with its real, large uncertainty.

The slope of the country, east and north, is a random function of the distance driven that forgets
itself over some hundred metres; the grade is what of it lies along the road, so that who turns back
climbs what he came down. The error of the altitudes is one of time that forgets itself over
minutes, plus white noise. Country and error together are one Gaussian chain. How hilly it is and
how far the altitudes wander is not known: a grid of possibilities is tried and averaged by how well
each explains the log.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.chain import Band, Factor, marginal_covariances
from roadtest.motion.hilliness import Beforehand, Grades, Hilliness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SPREADS = np.array([0.0015, 0.003, 0.006, 0.012, 0.025, 0.05])  # standard deviation of grade
_REACHES_M = np.array([150.0, 400.0, 1000.0])
# Heights from satellites wander by metres over minutes (common practice); a barometer's by less.
_WANDERS_M = np.array([0.5, 1.0, 2.0, 4.0, 8.0])
# How hilly is not known beforehand, from a runway to hill roads: no doubling likelier than another.
_BEFOREHAND = Beforehand(spread=(0.01, np.inf), wander_m=(3.0, 2.0))
_WANDER_MEMORY_S = 120.0
_WHITE_SD_M = 0.3  # of one fix, rounding to 0.1 m included
_LEAST_STEP_M = 12.0
_LEAST_STEP_S = 1.0
_STEEPEST = 0.3  # no public road is steeper
_JUMP_M = 4.0  # a step beyond what the steepest road gives: satellites changed
_FIT_KNOTS = 1500
_UNLIKELY = 0.01  # as likely as this against the best, or left out


@dataclass(frozen=True)
class Slope:
    """Altitude and grade at every fix, [n] float."""

    altitude_m: Floats  # NaN without altitudes
    grade: Floats
    u_grade: Floats  # standard
    spread: float  # standard deviation of grades along this road
    reach_m: float
    possible: tuple[Grades, ...]  # one for each spread that may be; the above is their average


@dataclass(frozen=True)
class _Knots:
    """Means of the fixes over stretches of a dozen metres, [k]."""

    time_s: Floats
    distance_m: Floats
    altitude_m: Floats
    way: Floats  # [k, 2], east and north along the road
    variance: Floats  # of the white part
    broken: NDArray[np.bool_]  # [k-1], the altitude jumps from this knot to the next


def grade_along(
    time_s: Floats, distance_m: Floats, altitude_m: Floats, heading_rad: Floats | None = None
) -> Slope:
    """Return altitude and grade along a drive.

    Parameters
    ----------
    time_s : [n] float, s, increasing
    distance_m : [n] float, m, never decreasing
    altitude_m : [n] float, m, NaN where unknown
    heading_rad : [n] float, clockwise from north, unwrapped, NaN where unknown; None for a road
        as good as straight
    """
    heading = _filled(time_s, heading_rad)
    way = np.column_stack([np.sin(heading), np.cos(heading)])
    knots = _knots(time_s, distance_m, altitude_m, way)
    if knots.time_s.size < 3:
        return _unknown(time_s.size)
    guesses, weights = _weigh(_part(knots))
    altitude = np.zeros(time_s.size)
    possible = []
    for spread in np.unique([guess.spread for guess in guesses]):
        mine = [k for k, guess in enumerate(guesses) if guess.spread == spread]
        probability = float(weights[mine].sum())
        alike = [(guesses[k], float(weights[k]) / probability) for k in mine]
        state, covariance = _averaged(knots, alike)
        height, east, north = _at(distance_m, knots, state)
        between = _at(distance_m, knots, covariance.reshape(-1, 4)).reshape(2, 2, -1)
        altitude += probability * height
        grade = way[:, 0] * east + way[:, 1] * north
        u_grade = np.sqrt(np.einsum("ni,ijn,nj->n", way, between, way))
        reach = sum(weight * guess.reach_m for guess, weight in alike)
        possible.append(Grades(probability, float(spread), reach, grade, u_grade))
    return _slope(altitude, possible)


def _averaged(knots: _Knots, alike: list[tuple[Hilliness, float]]) -> tuple[Floats, Floats]:
    """Return height and slope [k, 3], and the slope's covariance [k, 2, 2], weighted."""
    mean = np.zeros((knots.time_s.size, 3))
    covariance = np.zeros((knots.time_s.size, 2, 2))
    for guess, weight in alike:
        system = _System(knots, guess)
        state, slope = system.mean[:, :3], system.mean[:, 1:3]
        mean += weight * state
        covariance += weight * (system.slope_covariance + slope[:, :, None] * slope[:, None, :])
    return mean, covariance - mean[:, 1:, None] * mean[:, None, 1:]


def _slope(altitude_m: Floats, possible: list[Grades]) -> Slope:
    grade = sum((p.probability * p.grade for p in possible), np.zeros(altitude_m.size))
    variance = sum(
        (p.probability * (p.u_grade**2 + (p.grade - grade) ** 2) for p in possible),
        np.zeros(altitude_m.size),
    )
    spread = float(np.sqrt(sum(p.probability * p.spread**2 for p in possible)))
    reach = float(sum(p.probability * p.reach_m for p in possible))
    return Slope(altitude_m, grade, np.sqrt(variance), spread, reach, tuple(possible))


def _filled(time_s: Floats, heading_rad: Floats | None) -> Floats:
    """Return the heading [n] with what is not known of it between what is."""
    known = np.zeros(0, dtype=bool) if heading_rad is None else np.isfinite(heading_rad)
    if heading_rad is None or not known.any():
        return np.zeros(time_s.size)
    return np.interp(time_s, time_s[known], heading_rad[known])


def _at(distance_m: Floats, knots: _Knots, rows: Floats) -> Floats:
    """Return rows [k, r] of the knots at distances [n], as [r, n]."""
    return np.array([np.interp(distance_m, knots.distance_m, row) for row in rows.T])


def _unknown(n: int) -> Slope:
    zero, reach = np.zeros(n), float(_REACHES_M[1])
    possible = [
        Grades(1.0 / _SPREADS.size, float(spread), reach, zero, zero + spread)
        for spread in _SPREADS
    ]
    return _slope(zero + np.nan, possible)


def _knots(time_s: Floats, distance_m: Floats, altitude_m: Floats, way: Floats) -> _Knots:
    """Return the means over stretches of at least 12 m and 1 s; standing still is one stretch."""
    seen = np.isfinite(altitude_m)
    time, distance, altitude = time_s[seen], distance_m[seen], altitude_m[seen]
    starts = _starts(time, distance)
    if starts.size == 0:
        empty = np.zeros(0)
        return _Knots(empty, empty, empty, empty[:, None], empty, np.zeros(0, dtype=bool))
    count = np.diff(np.append(starts, time.size))
    means = [np.add.reduceat(row, starts) / count for row in (time, distance, altitude)]
    step = np.abs(np.diff(means[2]))
    broken = step > _STEEPEST * np.diff(means[1]) + _JUMP_M
    return _Knots(means[0], means[1], means[2], way[seen][starts], _WHITE_SD_M**2 / count, broken)


def _starts(time: Floats, distance: Floats) -> Ints:
    """Return the indices at which stretches start, so that each is long enough in both."""
    if time.size == 0:
        return np.zeros(0, dtype=np.int64)
    # A clock that runs with distance, but no faster than one stretch a second.
    metres = np.floor(distance / _LEAST_STEP_M)
    first = np.flatnonzero(np.diff(metres, prepend=metres[0] - 1.0) > 0.0)
    seconds = np.floor(time[first] / _LEAST_STEP_S)
    return np.asarray(first[np.diff(seconds, prepend=seconds[0] - 1.0) > 0.0])


def _part(knots: _Knots) -> _Knots:
    """Return a stretch of the knots that is long enough to fit the possibilities on."""
    k = knots.time_s.size
    if k <= _FIT_KNOTS:
        return knots
    # The middle stretch would miss what the rest shows: take even pieces, broken between.
    pieces = 5
    starts = np.linspace(0, k - _FIT_KNOTS // pieces, pieces).astype(np.int64)
    pick = np.unique((starts[:, None] + np.arange(_FIT_KNOTS // pieces)).ravel())
    broken = knots.broken[pick[:-1]] | (np.diff(pick) > 1)
    return _Knots(
        knots.time_s[pick],
        knots.distance_m[pick],
        knots.altitude_m[pick],
        knots.way[pick],
        knots.variance[pick],
        broken,
    )


def _weigh(knots: _Knots) -> tuple[list[Hilliness], Floats]:
    """Return the likely possibilities with their probabilities."""
    guesses = [
        Hilliness(*map(float, values)) for values in product(_SPREADS, _REACHES_M, _WANDERS_M)
    ]
    log = np.array(
        [_System(knots, guess).log_evidence + _BEFOREHAND.log_prior(guess) for guess in guesses]
    )
    likely = np.flatnonzero(log > log.max() + np.log(_UNLIKELY))
    weights = np.exp(log[likely] - log.max())
    return [guesses[int(k)] for k in likely], weights / weights.sum()


class _System:
    """Country and altitude error under one possibility: height, slope east and north, error."""

    def __init__(self, knots: _Knots, guess: Hilliness) -> None:
        k = knots.time_s.size
        middle = knots.way[1:] + knots.way[:-1]
        middle /= np.maximum(np.hypot(middle[:, 0], middle[:, 1]), 1e-9)[:, None]
        step = np.maximum(np.diff(knots.distance_m), 1.0)
        forward, road = _road_steps(step, middle, guess)
        keep = np.exp(-np.diff(knots.time_s) / _WANDER_MEMORY_S)
        keep = np.where(knots.broken, 0.0, keep)
        fresh = guess.wander_m**2 * (1.0 - keep**2)
        self._level = float(knots.altitude_m.mean())
        band = Band.empty(k, 4)
        self._add_road(band, forward, np.asarray(np.linalg.inv(road)))
        self._add_error(band, keep, 1.0 / fresh)
        # At the first knot: any height, slope and error as usual.
        first = np.array([1e-6, guess.spread**-2, guess.spread**-2, guess.wander_m**-2])
        for state in range(4):
            band.within(state, state)[0] += first[state]
        prior = float(np.log(first).sum() - np.linalg.slogdet(road)[1].sum() - np.log(fresh).sum())
        precision = 1.0 / knots.variance
        for i, j in ((0, 0), (3, 0), (3, 3)):
            band.within(i, j)[:] += precision
        deviation = knots.altitude_m - self._level
        rhs = np.zeros((1, k, 4))
        rhs[0, :, 0] = rhs[0, :, 3] = precision * deviation
        factor = Factor(band)
        self._band = band
        solution = factor.solve(rhs)[0]
        explained = float((rhs[0] * solution).sum())
        misfit = float((precision * deviation**2).sum()) - explained
        self.log_evidence = 0.5 * (
            prior + float(np.log(precision).sum()) - factor.log_determinant - misfit
        )
        self.mean = solution + np.array([self._level, 0.0, 0.0, 0.0])

    @property
    def slope_covariance(self) -> Floats:
        """[k, 2, 2], of the slope east and north at each knot."""
        return np.asarray(marginal_covariances(self._band)[:, 1:3, 1:3])

    @staticmethod
    def _add_road(band: Band, forward: Floats, precision: Floats) -> None:
        onward = -precision @ forward
        before = -forward.transpose(0, 2, 1) @ onward
        for i in range(3):
            for j in range(3):
                band.onward(i, j)[:] += onward[:, i, j]
                if i >= j:
                    band.within(i, j)[1:] += precision[:, i, j]
                    band.within(i, j)[:-1] += before[:, i, j]

    @staticmethod
    def _add_error(band: Band, keep: Floats, precision: Floats) -> None:
        band.onward(3, 3)[:] -= precision * keep
        band.within(3, 3)[1:] += precision
        band.within(3, 3)[:-1] += precision * keep**2


def _road_steps(step_m: Floats, way: Floats, guess: Hilliness) -> tuple[Floats, Floats]:
    """Return transition and covariance [k-1, 3, 3] of height and slope over distances.

    Both parts of the slope are Ornstein-Uhlenbeck processes of distance; height is the integral of
    what lies along the `way` [k-1, 2].
    """
    x = step_m / guess.reach_m
    keep, lost = np.exp(-x), -np.expm1(-x)
    forward = np.zeros((x.size, 3, 3))
    forward[:, 0, 0] = 1.0
    forward[:, 0, 1:] = (guess.reach_m * lost)[:, None] * way
    forward[:, 1, 1] = forward[:, 2, 2] = keep
    covariance = np.zeros_like(forward)
    # 2x - 3 + 4e^-x - e^-2x, by its series where the terms would cancel.
    closed = 2.0 * x - 2.0 * lost - lost**2
    series = x**3 * (2.0 / 3.0 - 0.5 * x + 7.0 / 30.0 * x**2)
    covariance[:, 0, 0] = guess.reach_m**2 * np.where(x < 1e-2, series, closed)
    covariance[:, 0, 1:] = covariance[:, 1:, 0] = (guess.reach_m * lost**2)[:, None] * way
    covariance[:, 1, 1] = covariance[:, 2, 2] = 1.0 - keep**2
    return forward, guess.spread**2 * covariance
