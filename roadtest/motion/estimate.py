"""The motion estimate: mean, uncertainty and joint draws of speed, acceleration and distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.along import along_path, rates
from roadtest.motion.kinematics import SlowError
from roadtest.motion.noise import POSITION_NOISE, SPEED_NOISE, Noise
from roadtest.motion.posterior import Posterior, summarise
from roadtest.motion.sampler import Model, Observed, Sampler
from roadtest.motion.system import Knots

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

SPEED_MODEL = Model(
    SPEED_NOISE,
    # A real 1 Hz receiver against a survey-grade one: speed differences of 0.033 m/s with
    # autocorrelation 0.27 at 1 s, 0.15-0.18 at 2-3 s, 0.07 at 5-20 s. Two parts that have it:
    # 0.32 of the variance with 1.9 s of memory, 0.08 with a minute.
    (SlowError(sd=0.0187, memory_s=1.9), SlowError(sd=0.0093, memory_s=60.0)),
)
POSITION_MODEL = Model(
    POSITION_NOISE,
    # Ionosphere, orbits and multipath wander over minutes: metres (common practice).
    (SlowError(sd=2.0, memory_s=120.0),),
)

_MOST_SPACING_S = 0.2  # between knots where draws are wanted
_MOST_ADDED = 50  # in one interval: a gap of minutes needs no finer picture
_STEADY_A_SWEEP = 4
"""Speeds and distances of holds are known as well as from one draw a sweep, at two fifths of the
time: means of 200 draws scattered by 0.07 of their spread either way, over ten runs of 36 holds.
(Those of the hardest acceleration by 0.17 from one a sweep, by 0.28 from four.)"""
_PAD_S = 3.0  # of log on either side of what is drawn
_NOISE_FIXES = 2000
_SWEEP_BUDGET = 300_000  # knots times sweeps for the whole log
_MOST_SWEEPS = 120


@dataclass(frozen=True)
class Span:
    """A stretch of time on the drive's clock."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Draws:
    """Joint draws of one stretch of the motion. Arrays are [c, k]: c draws at k times."""

    time_s: Floats  # [k]
    speed_mps: Floats
    acceleration_mps2: Floats
    distance_m: Floats  # from the first time


@dataclass(frozen=True)
class Motion:
    """The car's motion as far as the log shows it. Arrays are [n], at every fix used."""

    time_s: Floats  # since the start of the drive
    speed_mps: Floats
    u_speed_mps: Floats  # standard
    acceleration_mps2: Floats
    u_acceleration_mps2: Floats
    distance_m: Floats  # along the road, from the first fix
    intensity: Floats  # [n-1], of the jerk, (m/s³)²·s
    noise: Noise
    noise_draws: tuple[Noise, ...]
    observed: Observed
    source: Literal["doppler", "position"]
    posterior: Posterior  # for middling intensities and weights

    def draws(
        self, spans: Sequence[Span], count: int, rng: np.random.Generator, *, steady: bool = False
    ) -> tuple[Draws, ...]:
        """Return `count` joint draws of the motion over each of `spans`, in their order.

        For a `steady` motion, of which mean speeds and distances are wanted, they cost less: they
        are at the knots only, and four are taken in each sweep of the sampler, with the liveliness
        of the jerk shared between them.
        """
        if not spans:
            return ()
        model = _model(self.observed)
        piece = _with_knots(self.observed, _cover(spans))
        sampler = Sampler(piece, model, self.noise, rng)
        sampler.precision = 1.0 / _intensity_at(self, sampler)
        for _ in range(10):
            sampler.step(with_noise=False)
        knots = sampler.system.knots if steady else piece.knots
        a_sweep = _STEADY_A_SWEEP if steady else 1
        drawn = np.empty((count, 2, piece.values.shape[0], knots.time_s.size))
        for k in range(0, count, a_sweep):
            sampler.noise = self.noise_draws[k % len(self.noise_draws)]
            found = drawn[k : k + a_sweep]
            draw = sampler.step if steady else sampler.sweep
            motion = rates(draw(with_noise=False, count=len(found)))
            found[:] = motion.reshape(2, *found.shape[::2], -1).transpose(1, 0, 2, 3)
        speed, acceleration = along_path(drawn, knots)
        return tuple(_cut(knots.time_s, speed, acceleration, span) for span in spans)


def estimate(observed: Observed, rng: np.random.Generator) -> Motion:
    """Return the motion behind `observed` (at least two fixes).

    Size and tails of the noise are drawn on up to 2,000 fixes spread over the log; the jerk's
    intensities then on all of it. Mean and spread come from the draws where the log is short
    enough for many of them, else they are those for middling intensities.
    """
    noises = _fit_noise(observed, _model(observed), rng)
    noise = Noise(
        float(np.sqrt(np.mean([noise.sd**2 for noise in noises]))),
        float(np.median([noise.tail for noise in noises])),
    )
    sampler = Sampler(observed, _model(observed), noise, rng)
    sweeps = int(np.clip(_SWEEP_BUDGET / sampler.system.knots.time_s.size, 8, _MOST_SWEEPS))
    for _ in range(sweeps // 2):
        sampler.step(with_noise=False)
    found = summarise(sampler, sweeps)
    time = observed.knots.time_s
    return Motion(
        time_s=time,
        speed_mps=found.speed_mps,
        u_speed_mps=found.u_speed_mps,
        acceleration_mps2=found.acceleration_mps2,
        u_acceleration_mps2=found.u_acceleration_mps2,
        distance_m=travelled(time, found.speed_mps, found.acceleration_mps2),
        intensity=found.intensity[sampler.system.between.interval[:-1]],
        noise=noise,
        noise_draws=tuple(noises),
        observed=observed,
        source="position" if observed.with_position else "doppler",
        posterior=found.posterior,
    )


def travelled(time_s: Floats, speed_mps: Floats, acceleration_mps2: Floats) -> Floats:
    """Return the distance [..., k] from the first time, by cubic Hermite steps of speed.

    Δs = h·(v₀ + v₁)/2 + h²·(a₀ − a₁)/12 over each step h; never negative, for speed is not.
    """
    h = np.diff(time_s)
    step = 0.5 * h * (speed_mps[..., 1:] + speed_mps[..., :-1])
    step = np.maximum(step - h * h / 12.0 * np.diff(acceleration_mps2, axis=-1), 0.0)
    zero = np.zeros((*speed_mps.shape[:-1], 1))
    return np.concatenate([zero, np.cumsum(step, axis=-1)], axis=-1)


def _model(observed: Observed) -> Model:
    return POSITION_MODEL if observed.with_position else SPEED_MODEL


def _fit_noise(observed: Observed, model: Model, rng: np.random.Generator) -> list[Noise]:
    """Return draws of the noise, from stretches spread evenly over the log."""
    n = observed.seen.size
    if n > _NOISE_FIXES:
        stretches = 8
        starts = np.linspace(0, n - _NOISE_FIXES // stretches, stretches).astype(np.int64)
        pick = (starts[:, None] + np.arange(_NOISE_FIXES // stretches)).ravel()
        observed = observed.part(np.unique(pick))
    sampler = Sampler(observed, model, Noise(model.prior.sd, 10.0), rng)
    draws = []
    for k in range(100):
        sampler.step(with_noise=True)
        if k >= 40:
            draws.append(sampler.noise)
    return draws


def _cover(spans: Sequence[Span]) -> list[Span]:
    """Return `spans` padded, in order of time, those that meet made one."""
    merged: list[Span] = []
    for span in sorted(spans, key=lambda span: span.start_s):
        start, end = span.start_s - _PAD_S, span.end_s + _PAD_S
        if merged and start <= merged[-1].end_s:
            merged[-1] = Span(merged[-1].start_s, max(end, merged[-1].end_s))
        else:
            merged.append(Span(start, end))
    return merged


def _with_knots(observed: Observed, cover: Sequence[Span]) -> Observed:
    """Return the observations inside `cover`, with knots added where they are far apart."""
    time, still = observed.knots.time_s, observed.knots.still
    inside = np.zeros(time.size, dtype=bool)
    extra = [np.zeros(0)]
    for span in cover:
        low = max(int(np.searchsorted(time, span.start_s, "right")) - 1, 0)
        high = min(int(np.searchsorted(time, span.end_s)) + 1, time.size)
        inside[low:high] = True
        gaps = np.diff(time[low:high])
        pieces = np.ceil(np.minimum(gaps / _MOST_SPACING_S, _MOST_ADDED) - 1e-9).astype(np.int64)
        for k in np.flatnonzero(pieces > 1):
            step = gaps[k] / pieces[k]
            extra.append(time[low + k] + step * np.arange(1, pieces[k]))
    added = np.unique(np.concatenate(extra))  # spans may share an interval at their ends
    picked = np.flatnonzero(inside)
    all_times = np.concatenate([time[picked], added])
    order = np.argsort(all_times, kind="stable")
    position = np.concatenate([picked, np.full(added.size, -1)])[order]
    own = position >= 0
    values = np.full((observed.values.shape[0], order.size), np.nan)
    values[:, own] = observed.values[:, position[own]]
    rounding = np.zeros(order.size)
    rounding[own] = observed.rounding[position[own]]
    before = np.clip(np.searchsorted(time, all_times[order], "right") - 1, 0, time.size - 1)
    after = np.minimum(before + 1, time.size - 1)
    rest = np.where(own, still[np.maximum(position, 0)], still[before] & still[after])
    # A cut stays at the end of the interval it was in; pieces of the log follow on uncut.
    cut = np.concatenate([[False], observed.knots.cut])[np.maximum(position, 0)] & own
    knots = Knots(all_times[order], rest, cut[1:])
    return Observed(knots, values, rounding, observed.with_position)


def _intensity_at(motion: Motion, sampler: Sampler) -> Floats:
    """Return the mean intensity in each of the sampler's bins."""
    time = sampler.system.knots.time_s
    middle = 0.5 * (time[1:] + time[:-1])
    interval = np.clip(
        np.searchsorted(motion.time_s, middle, "right") - 1, 0, motion.intensity.size - 1
    )
    of_bin = np.zeros(sampler.bins.count)
    of_bin[sampler.bins.of_interval] = motion.intensity[interval]
    return of_bin


def _cut(time: Floats, speed: Floats, acceleration: Floats, span: Span) -> Draws:
    low = max(int(np.searchsorted(time, span.start_s, "right")) - 1, 0)
    high = min(int(np.searchsorted(time, span.end_s)) + 1, time.size)
    cut = slice(low, high)
    return Draws(
        time[cut],
        speed[:, cut],
        acceleration[:, cut],
        travelled(time[cut], speed[:, cut], acceleration[:, cut]),
    )
