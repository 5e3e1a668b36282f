"""How much the receiver smooths its speed, as the ends of the stops show it; and taking it out.

A receiver's filter makes a car that stops at once glide to rest: after the car stands, the speed
shown dies away over the filter's time. A first-order filter of time constant τ shows
y with τ·y' + y = v, so the true speed is v = y + τ·y'. What τ is, is a grid weighted by how well
it explains the fixes at the end of every stop: in each, an unknown moment of rest, and a
deceleration before it that is about even but not known. A pure delay moves a stop as a whole and
changes none of its figures. Delay and filter together are what the places tell of, and neither is
less than nothing: where speeds are no later than places, nothing smooths them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import i0e, i1e, log_ndtr

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import SPEED_MODEL, Draws, Motion, travelled
from roadtest.motion.kinematics import wandering
from roadtest.motion.lateness import PRIOR_S, Lateness, lateness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Some receivers show their speed at once, those recorded on roads 0.1 to 1.5 s late: the one is as
# likely beforehand as the other. How much of the lateness a filter makes, and how much is spent
# otherwise, is not known: any share is as likely. Common practice, no published source.
_PROMPT_SHARE: Final = 0.5
_LATEST_S: Final = 2.0
_LATE_STEP_S: Final = 0.005
_FIRST_STEPS: Final = 12
_ROUNDS: Final = 4  # in which steps are halved where the weight changes
_UNLIKELY: Final = 8.0  # of log weight below the most likely
_CHANGE: Final = 1.0  # of log weight from one step to the next, that is too coarse
_FROM_SHARE: Final = 0.6  # of the initial speed: from there on the end of a stop is looked at
_AFTER_S: Final = 2.0
_STEP_S: Final = 0.04
_MOST_LEFT_S: Final = 8.0  # before rest
_LEAST_FIXES, _MOST_FIXES = 3, 45
_SLOW_MPS: Final = 0.15
_STARTS_S: Final = 0.5  # before driving off is seen, the car may roll already
# Of the deceleration before rest: its size, its slope in a second, how uneven a foot is, and that
# some ease the pedal as the car comes to rest; all but the first as shares of it.
_LEVEL_SD_MPS2: Final = 6.0
_SLOPE_SHARE: Final = 0.1
_UNEVEN_SHARE, _UNEVEN_MEMORY_S = 0.04, 0.3
_EASE_SHARE, _EASE_S = 0.3, 0.3
_UNEVEN_LEFT_MPS: Final = 0.005  # of what an uneven foot does to speed, that may be left out
_SETTLED: Final = 4.0  # time constants, after which a filter has forgotten all but 2 %
_UNFOLDINGS: Final = 60
_LEAST_TOLD: Final = 0.35  # of what one fix far from rest tells
_LAGS, _SAME_LAG_S = 3, 0.02  # groups of draws, where they differ by more


@dataclass(frozen=True)
class _Tail:
    """The fixes at the end of one stop."""

    time_s: Floats  # [n], from the first on
    speed_mps: Floats
    clamped: bool  # the last shows nothing but a speed below the one given
    root: Floats  # [n, n], of the covariance of its errors, lower
    rest_s: float  # about when the shown speed gets to zero
    level_mps2: float  # of the braking, about
    begun_s: float  # about when the braking began, before the first fix


def receiver_smoothing(
    evidence: Evidence, stops: Sequence[Manoeuvre], count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [count] of the time constant (s) with which the receiver smooths its speed.

    All zero for a log without speeds: those made from positions are nobody's filter; and where
    neither a stop nor the places tell anything. Places that show how late speeds are, but no stop
    with enough fixes, leave open how much of it a filter makes.
    """
    if evidence.motion.observed.with_position:
        return np.zeros(count)
    tails = [tail for stop in stops if (tail := _tail(evidence, stop)) is not None]
    late = lateness(evidence.motion, evidence.ground)
    if not tails and late == Lateness(*PRIOR_S):
        return np.zeros(count)
    most = min(max(late.value_s + 4.0 * late.u_s, _LATE_STEP_S), _LATEST_S)
    shapes = [_shapes(tail, most) for tail in tails]

    def told(lags: Floats) -> Floats:
        pairs = list(zip(tails, shapes, strict=True))
        return np.array([sum((_evidence(*pair, lag) for pair in pairs), 0.0) for lag in lags])

    grid = np.linspace(0.0, most, _FIRST_STEPS + 1)
    log = told(grid)
    for _ in range(_ROUNDS):
        weight = log + _log_prior(grid, late)
        likely = weight > weight.max() - _UNLIKELY
        coarse = (likely[1:] | likely[:-1]) & (np.abs(np.diff(log)) > _CHANGE)
        between = 0.5 * (grid[1:] + grid[:-1])[coarse]
        grid, log = np.append(grid, between), np.append(log, told(between))
        order = np.argsort(grid)
        grid, log = grid[order], log[order]
    log += _log_prior(grid, late)
    weight = np.exp(log - log.max())
    pick = rng.choice(grid.size, count, p=weight / weight.sum())
    ends = _cells(grid)
    within = ends[pick] + rng.random(count) * (ends[pick + 1] - ends[pick])
    return np.where(pick > 0, within, 0.0)


def _cells(grid_s: Floats) -> Floats:
    """Return the ends [g+1] of the cells of a grid [g] from 0 on; that of 0 has no width."""
    middle = 0.5 * (grid_s[2:] + grid_s[1:-1])
    return np.concatenate([[0.0, 0.0], middle, grid_s[-1:]])


def _log_prior(grid_s: Floats, late: Lateness) -> Floats:
    """Return the log weight [g] of time constants given how late speeds are against places.

    Either speeds are prompt, or late by a time D of which a filter makes any share. The weight of
    the first against the second is the density of no lateness after the places were seen over that
    before, both of the second (J. M. Dickey, Ann. Math. Statist. 42 (1971) 204, from memory).
    """
    lates = np.arange(0.5 * _LATE_STEP_S, _LATEST_S + 4.0 * _LATE_STEP_S, _LATE_STEP_S)
    logs = (-0.5 * ((lates - value) / u) ** 2 for value, u in (PRIOR_S, (late.value_s, late.u_s)))
    # Speeds may surely be early, which is no lateness at all: the weights of all would be nothing.
    before, after = (weight / weight.sum() for weight in (np.exp(log - log.max()) for log in logs))
    share = np.diff(np.minimum(_cells(grid_s)[:, None] / lates, 1.0), axis=0) @ after
    share[0] = _PROMPT_SHARE / (1.0 - _PROMPT_SHARE) * after[0] / before[0]
    return np.asarray(np.log(np.maximum(share, 1e-300)))


def alike(smoothing_s: Floats) -> list[Ints]:
    """Return the draws [c] of a smoothing in groups of like ones, as indices; one where all are."""
    groups = 1 if np.ptp(smoothing_s) < _SAME_LAG_S else _LAGS
    return np.array_split(np.argsort(smoothing_s, kind="stable"), groups)


def unsmoothed(draws: Draws, smoothing_s: Floats) -> Draws:
    """Return the draws [c] with a first-order smoothing [c] taken out: v = y + τ·y'."""
    if not smoothing_s.any():
        return draws
    lag = smoothing_s[:, None]
    speed = np.maximum(draws.speed_mps + lag * draws.acceleration_mps2, 0.0)
    slope = np.gradient(draws.acceleration_mps2, draws.time_s, axis=1)
    acceleration = np.where(speed > 0.0, draws.acceleration_mps2 + lag * slope, 0.0)
    return Draws(draws.time_s, speed, acceleration, travelled(draws.time_s, speed, acceleration))


def _tail(evidence: Evidence, stop: Manoeuvre) -> _Tail | None:
    """Return the fixes at the end of a stop; None with fewer than three."""
    motion = evidence.motion
    initial = float(np.interp(stop.start_s, motion.time_s, motion.speed_mps))
    slow = (motion.time_s > stop.start_s) & (motion.speed_mps < _FROM_SHARE * initial)
    if not slow.any():
        return None
    first = float(motion.time_s[slow][0])
    time, speed = evidence.gps.time_s - evidence.start_unix_s, evidence.gps.speed_mps
    near = np.flatnonzero((time >= first) & (time <= stop.end_s + _AFTER_S) & np.isfinite(speed))
    near = near[: _drives_off(time[near], speed[near], motion)]
    time, speed = time[near], speed[near]
    clamp = _clamp(evidence.gps.speed_mps)
    zeros = np.flatnonzero((speed <= 0.0) & (clamp > 0.0))
    if zeros.size:  # the first tells that the speed has fallen below the clamp, the rest nothing
        time, speed = time[: zeros[0] + 1], speed[: zeros[0] + 1]
    if time.size < _LEAST_FIXES or stop.end_s <= time[0]:
        return None
    speed, variance = unfolded(speed, _variance(motion, time, speed))
    variance += float(np.median(motion.observed.rounding[motion.observed.seen]))
    if zeros.size:
        speed[-1] = clamp
    pick = np.arange(time.size)[::-1] % -(-time.size // _MOST_FIXES) == 0  # the last for certain
    level = _FROM_SHARE * initial / max(stop.end_s - first, 0.3)
    start = float(time[0])
    errors = np.diag(variance[pick]) + wandering(time[pick], SPEED_MODEL.slow)
    return _Tail(
        time[pick] - start,
        speed[pick],
        bool(zeros.size),
        np.asarray(np.linalg.cholesky(errors), dtype=np.float64),
        rest_s=stop.end_s - start,
        level_mps2=level,
        begun_s=stop.start_s - start,
    )


def _drives_off(time: Floats, speed: Floats, motion: Motion) -> int:
    """Return how many of the fixes [n] come before the car drives off again."""
    lowest = np.minimum.accumulate(speed)
    off = np.flatnonzero(speed > lowest + max(_SLOW_MPS, 5.0 * motion.noise.sd))
    if off.size == 0:
        return int(time.size)
    return int(np.searchsorted(time, time[off[0]] - _STARTS_S))


def _variance(motion: Motion, time: Floats, speed: Floats) -> Floats:
    """Return the variance [n] each fix deserves: outlying ones are believed less (Student's t)."""
    square = motion.noise.sd**2
    misfit = speed - np.interp(time, motion.time_s, motion.speed_mps)
    tail = motion.noise.tail
    return np.asarray(square * (tail + misfit**2 / square) / (tail + 1.0))


def _clamp(speed: Floats) -> float:
    """Return the smallest speed shown by a receiver that writes zero when slow; else 0."""
    seen = speed[np.isfinite(speed)]
    moving = seen[seen > 0.0]
    clamped = moving.size and np.count_nonzero(seen == 0.0) > np.count_nonzero(moving < _SLOW_MPS)
    return float(moving.min()) if clamped else 0.0


def unfolded(shown_mps: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Return the likeliest speeds [n] behind those shown, and the variances [n] they deserve.

    A receiver measures a velocity and shows its size: with errors of variance σ² either way, a car
    that rolls at v or stands shows r with density r/σ²·exp(-(r² + v²)/2σ²)·I₀(rv/σ²). It is
    largest over v where v = r·I₁/I₀(rv/σ²), at 0 below r = √2·σ, and as wide there as its
    curvature says; where that is nothing, it falls off with the fourth power, by half over 1.7 σ.

    Reference: S. O. Rice, Bell System Technical Journal 24 (1945) 46, 3.10 (value from memory).
    """
    ratio = np.square(shown_mps) / variance
    share = np.ones_like(shown_mps)  # v / r
    for _ in range(_UNFOLDINGS):
        share = i1e(ratio * share) / i0e(ratio * share)
    near = share * ratio < 1e-3
    turn = np.where(near, 0.5, 1.0 - share**2 - 1.0 / np.where(near, 1.0, ratio))
    return share * shown_mps, variance / np.maximum(1.0 - ratio * turn, _LEAST_TOLD)


def _shapes(tail: _Tail, most_s: float) -> Floats:
    """Return what each unknown of the deceleration, at one standard deviation, adds to speed.

    [l, k]: at even steps [l] before rest, for time constants up to `most_s`. Unknowns: when it
    rests, level, slope, the pedal eased at the very end, and an uneven foot by the largest parts of
    what it does to speed.
    """
    length = min(tail.rest_s + 0.5 + _SETTLED * most_s, _MOST_LEFT_S)
    left = np.arange(0.0, length + _STEP_S, _STEP_S)
    # Rest lies anywhere between two of the steps at which it is tried: a rectangular distribution.
    shift = tail.level_mps2 * np.minimum(left, _STEP_S) / np.sqrt(12.0)
    level = _LEVEL_SD_MPS2 * left
    slope = _SLOPE_SHARE * tail.level_mps2 * 0.5 * left**2
    until = np.minimum(left, _EASE_S)
    eased = _EASE_SHARE * tail.level_mps2 * (until - 0.5 * until**2 / _EASE_S)
    apart = np.abs(left[:, None] - left)
    kernel = (_UNEVEN_SHARE * tail.level_mps2) ** 2 * np.exp(-apart / _UNEVEN_MEMORY_S)
    whole = _STEP_S * (np.tril(np.ones_like(kernel)) - 0.5 * np.eye(left.size))
    whole[:, 0] -= 0.5 * _STEP_S
    whole[0] = 0.0
    values, vectors = np.linalg.eigh(whole @ kernel @ whole.T)
    kept = np.cumsum(values) > left.size * _UNEVEN_LEFT_MPS**2
    uneven = vectors[:, kept] * np.sqrt(values[kept])
    return np.column_stack([shift, level, slope, eased, uneven])


def _evidence(tail: _Tail, shapes: Floats, lag_s: float) -> float:
    """Return the log likelihood of one stop's end for a time constant, its rest integrated out."""
    # From before the first fix on: what the filter has there is what the same foot did before.
    lead = _SETTLED * lag_s
    grid = np.arange(-lead, tail.time_s[-1] + _STEP_S, _STEP_S)
    # What is shown comes to rest up to a few time constants after the car.
    rests = np.arange(max(tail.rest_s - 4.0 * lag_s - 0.5, 0.1), tail.rest_s + 0.5 + 1e-9, _STEP_S)
    left = np.clip(np.round((rests[:, None] - grid) / _STEP_S), 0, shapes.shape[0] - 1)
    columns = seen_through(lag_s, grid, tail.time_s) @ shapes[left.astype(np.int64)]  # [r, n, k]
    # Before that the foot was elsewhere: what the filter still has of it.
    begun = max(tail.begun_s, -lead)
    state = tail.level_mps2 * lag_s * np.exp((begun - tail.time_s) / max(lag_s, 1e-3))
    wide = np.broadcast_to(state[:, None], (rests.size, tail.time_s.size, 1))
    errors = np.concatenate([columns, wide], axis=2)
    r, n, k = errors.shape
    flat = solve_triangular(tail.root, errors.transpose(1, 0, 2).reshape(n, r * k), lower=True)
    white = flat.reshape(n, r, k).transpose(1, 0, 2)
    seen = solve_triangular(tail.root, tail.speed_mps, lower=True)
    told = white[:, :-1] if tail.clamped else white
    information = np.eye(white.shape[2]) + told.transpose(0, 2, 1) @ told
    pull = seen[: told.shape[1]] @ told
    mean = np.linalg.solve(information, pull[..., None])[..., 0]
    logs = 0.5 * ((pull * mean).sum(axis=1) - np.linalg.slogdet(information)[1])
    if tail.clamped:  # as likely as a speed below the clamp is, given the others
        last = white[:, -1]
        spread = np.linalg.solve(information, last[..., None])[..., 0]
        off = seen[-1] - (last * mean).sum(axis=1)
        logs += log_ndtr(off / np.sqrt(1.0 + (last * spread).sum(axis=1)))
    most = float(logs.max())
    return most + float(np.log(np.exp(logs - most).sum()))


def seen_through(lag_s: float, grid_s: Floats, time_s: Floats) -> Floats:
    """Return the rows [n, m] that make of speeds on an even grid [m] what is shown at times [n].

    Speeds run straight between points; a first-order smoothing of time constant `lag_s` has
    settled at the first of them.
    """
    step = float(grid_s[1] - grid_s[0])
    index = np.clip(np.searchsorted(grid_s, time_s, "right") - 1, 0, grid_s.size - 2)
    share = ((time_s - grid_s[index]) / step)[:, None]
    if lag_s < 0.25 * step:
        shown = np.eye(grid_s.size)
    else:
        keep = np.exp(-step / lag_s)
        back = np.subtract.outer(np.arange(grid_s.size), np.arange(grid_s.size))
        shown = np.where(back >= 0, keep ** np.maximum(back, 0), 0.0)
        # Straight pieces: so much of each step's two ends comes through.
        late = 1.0 - lag_s / step * (1.0 - keep)
        early = (1.0 - keep) - late
        shown = late * shown + early * np.vstack([np.zeros(grid_s.size), shown[:-1]])
        shown[:, 0] += (1.0 - late) * keep ** np.arange(grid_s.size)  # starts at the first speed
    return np.asarray((1.0 - share) * shown[index] + share * shown[index + 1])
