"""One Gaussian model of all coasts together: road load, wind, hills and receiver.

In free rolling on a road of height h, with the head wind w and effective mass κ·m,

    dv/dt = −β0 − β1·v − β2·(v + w)² − (g/κ)·dh/ds,    β = f / (κ·m).

Integrated, the mean speed over each window is linear in the run's initial speed, in β0, β1, β2 and
the heights, and nearly so in the wind. Heights are a random field over the plain, the same whenever
the car passes a place: two runs opposite ways over one road tell hills from drag by themselves,
altitudes of the runs and of any other pass help, and a run on its own is left with the doubt. How
hilly the road is and how far altitudes wander is not known: a grid of possibilities is averaged by
how well each explains the readings. The slope of the country beneath the hills is no such guess: a
smooth run looks the same on any even slope, so only altitudes and the run the other way tell of it.
Wind is steady over the drive.

Reference: generalised least squares with prior, e.g. C. E. Rasmussen and C. K. I. Williams,
Gaussian Processes for Machine Learning, section 2.7 (value from memory). The equation is that of
coast-down procedures (SAE J1263, J2263).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag, cho_factor, cho_solve, solve_triangular
from scipy.special import logsumexp

from roadtest.measures.coasting.passes import Passes
from roadtest.measures.inertia import COASTING_SHARE
from roadtest.measures.windows import Readings
from roadtest.motion.hilliness import Beforehand, Hilliness
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

# How hilly: a road picked for coasting is to be within 0.5 % (SAE J1263, 7.4, as 40 CFR
# 1066.310(b)(1)(ii) cites it; read in a stored copy), but a shakedown takes what there is.
# Wandering altitudes: satellite heights wander by metres over minutes (common practice, no
# published source).
_SPREADS: Final = (0.003, 0.006, 0.012, 0.025, 0.05)  # standard deviation of grade
_REACHES_M: Final = (200.0, 500.0, 1200.0)
_WANDERS_M: Final = (1.0, 1.5, 2.2, 3.3, 5.0, 7.5)
_BEFOREHAND: Final = Beforehand(spread=(0.005, 2.5), wander_m=(3.0, 2.0))
_WANDER_MEMORY_S: Final = 120.0
# Beneath the hills the country itself falls one way for kilometres, and a road looks level on it.
# The steepest that roads in level country are built is some 3 % (AASHTO, A Policy on Geometric
# Design of Highways and Streets; value from memory): two standard deviations. It changes over
# distances of valleys and plains (our choice).
_COUNTRY_SPREAD: Final = 0.015
_COUNTRY_REACH_M: Final = 8000.0
_ALTITUDE_ZERO_SD_M: Final = 30.0  # of altitudes as a whole, between breaks
# m/s, each component. Coast-down procedures allow a mean wind of 3 (UN R83) to 5 m/s (UN GTR 15):
# stronger ones are as rare on a drive meant for coasting as two standard deviations.
WIND_SD_MPS: Final = 2.0
# Hardly any prior: β0 of 1 m/s² and β2 of ten cars' drag.
_WIDE: Final = {"speed": 5.0, "beta0": 1.0, "beta2": 5e-3}
# 1/s. A handbook's rolling coefficient, 0.01·(1 + V/100 mph), has β1 = 0.0022.
_BETA1_SD: Final = 0.003
_FIRST_GUESS: Final = (0.15, 0.0, 4e-4)
_ROUNDS: Final = 4
_AVERAGED: Final = 8


# How fast positions wander, over what `read_windows` says of it, differs from one receiver and sky
# to the next by a factor of two or so (common practice, no published source).
_POSITIONS: Final = (0.4, 0.63, 1.0, 1.6, 2.5)
_POSITIONS_FACTOR: Final = 2.0


@dataclass(frozen=True)
class Guess(Hilliness):
    """One possibility for road and receiver, and for how far its positions wander."""

    positions: float = 1.0  # over what the readings say of it


GUESSES: Final = tuple(Guess(*values) for values in product(_SPREADS, _REACHES_M, _WANDERS_M))
OF_POSITIONS: Final = tuple(
    Guess(*values) for values in product(_SPREADS, _REACHES_M, _WANDERS_M, _POSITIONS)
)


@dataclass(frozen=True)
class Fit:
    """Road load per effective mass, as draws [c, 3] of β0 (m/s²), β1 (1/s), β2 (1/m)."""

    beta: Floats
    terms: int  # 2 without β1, 3 with it
    guesses: tuple[Guess, ...]  # that explain the readings best, best first
    log_evidence: float  # summed over `guesses`


@dataclass(frozen=True)
class _Solution:
    mean: Floats
    factor: Floats  # lower Cholesky factor of the posterior's information
    log_evidence: float


class CoastModel:
    """The readings of some runs, ready to be explained."""

    def __init__(self, readings: Sequence[Readings], passes: Passes, *, linear_term: bool) -> None:
        """Set up for `readings` of runs and `passes` over them, with or without the term β1."""
        self._readings = tuple(readings)
        self._passes = passes
        self._linear_term = linear_term
        self._runs = len(self._readings)
        sizes = [r.speed_mps.size for r in self._readings]
        self._rows = np.concatenate([[0], np.cumsum(sizes)])
        self._speeds = np.concatenate([r.speed_mps for r in self._readings])
        altitude = np.concatenate([r.altitude_m for r in self._readings])
        self._known = np.isfinite(altitude)
        self._altitudes = np.concatenate([altitude[self._known], passes.altitude_m])
        self._level = float(self._altitudes.mean()) if self._altitudes.size else 0.0
        self._place_heights()
        self._receiver = self._receiver_error()
        self._shapes = {reach: self._field(reach) for reach in _REACHES_M}
        self._country = _COUNTRY_SPREAD**2 * self._field(_COUNTRY_REACH_M)
        self._prior_sd = np.array(
            [_WIDE["speed"]] * self._runs
            + [_WIDE["beta0"], _BETA1_SD, _WIDE["beta2"], WIND_SD_MPS, WIND_SD_MPS]
        )
        first = [float(r.run.speed_mps[r.edges[0]]) for r in self._readings]
        self._prior_mean = np.array([*first, 0.0, 0.0, 0.0, 0.0, 0.0])
        self._free = np.ones(self._prior_sd.size, dtype=bool)
        self._free[self._runs + 1] = linear_term

    def fit(self, guesses: Sequence[Guess], count: int, rng: np.random.Generator) -> Fit:
        """Return the road load under the possibilities `guesses`, averaged."""
        theta = self._prior_mean.copy()
        theta[self._runs : self._runs + 3] = _FIRST_GUESS
        middle = guesses[len(guesses) // 2] if len(guesses) > _AVERAGED else guesses[0]
        for _ in range(_ROUNDS):
            theta = self._embed(self._solve(middle, *self._linear(theta)).mean)
        linear = self._linear(theta)
        solutions = [self._solve(guess, *linear) for guess in guesses]
        log = np.array(
            [s.log_evidence + _log_prior(g) for s, g in zip(solutions, guesses, strict=True)]
        )
        weight = np.exp(log - logsumexp(log))
        picks = rng.choice(len(guesses), size=count, p=weight)
        draws = np.empty((count, int(self._free.sum())))
        for k in np.unique(picks):
            mine = np.flatnonzero(picks == k)
            normal = rng.normal(size=(draws.shape[1], mine.size))
            step = solve_triangular(solutions[k].factor, normal, lower=True, trans="T")
            draws[mine] = (solutions[k].mean[:, None] + step).T
        best = np.argsort(-log)[:_AVERAGED]
        return Fit(
            self._road_load(draws, theta),
            3 if self._linear_term else 2,
            tuple(guesses[int(k)] for k in best),
            float(logsumexp(log[best])),
        )

    def _road_load(self, draws: Floats, theta: Floats) -> Floats:
        """Return β [c, 3] of draws of the free parameters, the wind's square put right.

        The model is linear about `theta`; what it leaves out is β2·δw², δw being how far a drawn
        wind lies from the one in `theta`. It acts as β0 does, so β0 takes it up.
        """
        full = np.zeros((draws.shape[0], self._free.size))
        full[:, self._free] = draws
        beta = full[:, self._runs : self._runs + 3].copy()
        away = full[:, -2:] - theta[-2:]
        ways = np.array([r.run.way_rad for r in self._readings])
        along = away @ np.array([np.sin(ways), np.cos(ways)])
        beta[:, 0] -= beta[:, 2] * np.mean(along**2, axis=1)
        return beta

    def _embed(self, free: Floats) -> Floats:
        full = np.zeros(self._free.size)
        full[self._free] = free
        return full

    def _place_heights(self) -> None:
        """Set up heights at every window's ends, and how they act on speeds and altitudes."""
        east, north = [], []
        nodes = int(self._rows[-1]) + self._runs
        self._pull: Floats = np.zeros((int(self._rows[-1]), nodes))
        mean_height = np.zeros_like(self._pull)
        gravity = STANDARD_GRAVITY_MPS2 / (1.0 + COASTING_SHARE)
        for i, reading in enumerate(self._readings):
            run, edges = reading.run, reading.edges
            east.append(run.east_m[edges])
            north.append(run.north_m[edges])
            rows = np.arange(self._rows[i], self._rows[i + 1])
            nodes_here = rows + i
            time = run.time_s
            spans = np.diff(time[edges])
            lengths = np.diff(run.distance_draws_m.mean(axis=0)[edges])
            # Time spent in each window so far, averaged as each window's speed is.
            spent = np.clip(time[:, None] - time[edges[:-1]], 0.0, spans)
            acting = -gravity * (reading.average @ spent) / np.maximum(lengths, 1e-3)
            self._pull[np.ix_(rows, nodes_here + 1)] += acting
            self._pull[np.ix_(rows, nodes_here)] -= acting
            mean_height[rows, nodes_here] = mean_height[rows, nodes_here + 1] = 0.5
        passes = self._passes
        self._east = np.concatenate([*east, passes.east_m.ravel()])
        self._north = np.concatenate([*north, passes.north_m.ravel()])
        # Passes act on no speed; their windows have two places each, and share none.
        self._pull = np.pad(self._pull, ((0, 0), (0, passes.east_m.size)))
        beside = np.kron(np.eye(passes.altitude_m.size), [[0.5, 0.5]])
        self._seen_height: Floats = block_diag(mean_height[self._known], beside)

    def _field(self, reach_m: float) -> Floats:
        """Return the covariance [n, n] of all readings for heights of unit grade spread.

        Heights are a Matérn 5/2 field. Its slope changes smoothly, as that of roads does: their
        vertical curves are parabolas.
        """
        east, north = self._east, self._north
        apart = np.sqrt(5.0) * np.hypot(east[:, None] - east, north[:, None] - north) / reach_m
        heights = 0.6 * reach_m**2 * (1.0 + apart + apart**2 / 3.0) * np.exp(-apart)
        acting = np.vstack([self._pull, self._seen_height])
        return np.asarray(acting @ heights @ acting.T)

    def _receiver_error(self) -> tuple[Floats, Floats, Floats]:
        """Return covariances: of speeds [w, w] by wandering positions, and of all readings [n, n].

        Of all: what is fixed, and unit wander of the altitudes.
        """
        n, rows = self._speeds.size, self._rows
        total = n + self._altitudes.size
        moved, whole, wandered = (
            np.zeros((n, n)),
            np.zeros((total, total)),
            np.zeros((total, total)),
        )
        for i, reading in enumerate(self._readings):
            here = slice(rows[i], rows[i + 1])
            whole[here, here] = reading.covariance
            if reading.wander is not None:
                whole[here, here] -= reading.wander
                moved[here, here] = reading.wander
        spans = np.concatenate([r.ends_s for r in self._readings])[self._known]
        white = np.concatenate([r.altitude_variance for r in self._readings])[self._known]
        spans = np.concatenate([spans, self._passes.ends_s])
        white = np.concatenate([white, self._passes.variance])
        zero = np.searchsorted(self._passes.breaks_s, spans[:, 1])
        whole[n:, n:] = _ALTITUDE_ZERO_SD_M**2 * (zero[:, None] == zero) + np.diag(white)
        wandered[n:, n:] = mean_wandering(spans)
        return moved, whole, wandered

    def _predict(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return the mean speeds at `theta` on the level [w], and their slopes [w, p]."""
        beta0, beta1, beta2, wind_east, wind_north = theta[self._runs :]
        mean = np.empty(self._speeds.size)
        slopes = np.zeros((self._speeds.size, theta.size))
        for i, reading in enumerate(self._readings):
            run = reading.run
            time = run.time_s - run.time_s[reading.edges[0]]
            sine, cosine = np.sin(run.heading_rad), np.cos(run.heading_rad)
            air = run.speed_mps - wind_east * sine - wind_north * cosine
            rates = np.array(
                [
                    np.ones_like(time),
                    run.speed_mps,
                    air**2,
                    -2.0 * beta2 * air * sine,
                    -2.0 * beta2 * air * cosine,
                ]
            )
            lost = reading.average @ _integral(rates, time).T
            rows = slice(self._rows[i], self._rows[i + 1])
            slopes[rows, i] = 1.0
            slopes[rows, self._runs :] = -lost
            mean[rows] = theta[i] - lost[:, :3] @ np.array([beta0, beta1, beta2])
        return mean, slopes

    def _linear(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return the model made linear about `theta`: its slopes [n, p] and what is to explain [n].

        p are the free parameters, as departures from their prior means.
        """
        mean, slopes = self._predict(theta)
        free = self._free
        design = np.vstack([slopes, np.zeros((self._altitudes.size, free.size))])[:, free]
        departure = np.concatenate([self._speeds - mean, self._altitudes - self._level])
        return design, departure + design @ (theta - self._prior_mean)[free]

    def _solve(self, guess: Guess, design: Floats, departure: Floats) -> _Solution:
        """Return the posterior of the free parameters; arguments as `_linear` returns them."""
        moved, fixed, wander = self._receiver
        covariance = fixed + guess.wander_m**2 * wander + self._country
        n = moved.shape[0]
        covariance[:n, :n] += guess.positions**2 * moved
        covariance = covariance + guess.spread**2 * self._shapes[guess.reach_m]
        free = self._free
        factor = cho_factor(covariance, lower=True, check_finite=False)
        weighted = cho_solve(factor, design, check_finite=False)
        information = design.T @ weighted + np.diag(self._prior_sd[free] ** -2.0)
        lower = np.asarray(np.linalg.cholesky(information), dtype=np.float64)
        right = weighted.T @ departure
        half = solve_triangular(lower, right, lower=True)
        shift = solve_triangular(lower, half, lower=True, trans="T")
        misfit = float(departure @ cho_solve(factor, departure, check_finite=False) - half @ half)
        log_size = 2.0 * float(np.log(np.diag(factor[0])).sum() + np.log(np.diag(lower)).sum())
        log_size += 2.0 * float(np.log(self._prior_sd[free]).sum())
        return _Solution(self._prior_mean[free] + shift, lower, -0.5 * (misfit + log_size))


def _log_prior(guess: Guess) -> float:
    """Return the logarithm of a possibility's prior, up to a constant."""
    doubt = np.log(guess.positions) / np.log(_POSITIONS_FACTOR)
    return _BEFOREHAND.log_prior(guess) - 0.5 * float(doubt**2)


def mean_wandering(ends_s: Floats) -> Floats:
    """Return the covariance [w, w] of mean altitudes over windows of time [w, 2], of unit wander.

    Not that of their middles: means of neighbours differ less, and to take the one for the other
    makes the altitudes look better than they are. Windows may overlap: the double integral of
    e^-|t-s| over [a, b] and [c, d] is H(b-c) - H(b-d) - H(a-c) + H(a-d), H(u) = |u| + e^-|u|.
    """
    start = ends_s[:, 0] / _WANDER_MEMORY_S
    length = np.maximum(np.diff(ends_s)[:, 0] / _WANDER_MEMORY_S, 1e-4)
    end = start + length

    def twice(one: Floats, other: Floats) -> Floats:
        apart = np.abs(one[:, None] - other)
        return np.asarray(apart + np.expm1(-apart))

    whole = twice(end, start) - twice(end, end) - twice(start, start) + twice(start, end)
    return np.asarray(whole / (length[:, None] * length))


def _integral(rates: Floats, time_s: Floats) -> Floats:
    """Return the running integral [p, k] of `rates` [p, k] from the first time (trapezium)."""
    steps = 0.5 * np.diff(time_s) * (rates[:, 1:] + rates[:, :-1])
    return np.concatenate([np.zeros((rates.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)
