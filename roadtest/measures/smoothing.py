"""How much the receiver smooths its speed, as the ends of the stops show it; and taking it out.

A receiver's filter makes a car that stops at once glide to rest: after the car stands, the speed
shown dies away over the filter's time. A first-order filter of time constant τ shows
y with τ·y' + y = v, so the true speed is v = y + τ·y'. What τ is, is a grid weighted by how well
it explains the fixes at the end of every stop: in each, an unknown moment of rest, and a
deceleration before it that is about even but not known. A pure delay moves a stop as a whole and
changes none of its figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import Draws, Motion, travelled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Some receivers do not filter their speed, those recorded on roads do over 0.1 to 1.5 s: the one is
# as likely beforehand as the other, and a filter's time constant falls off with 0.4 s. Common
# practice, no published source.
_COARSE_S: Final = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.65, 0.8, 1.0, 1.3, 1.7])
_NONE_SHARE: Final = 0.5
_PRIOR_S: Final = 0.4
_FINE: Final = 9  # steps over what the coarse grid leaves likely
_UNLIKELY: Final = 8.0  # of log weight below the most likely
_FROM_SHARE: Final = 0.6  # of the initial speed: from there on the end of a stop is looked at
_AFTER_S: Final = 2.0
_STEP_S: Final = 0.04
_LEFT_S: Final = np.arange(0.0, 8.0, _STEP_S)  # before rest
_LEAST_FIXES, _MOST_FIXES = 3, 45
_SLOW_MPS: Final = 0.15
_STARTS_S: Final = 0.5  # before driving off is seen, the car may roll already
# Of the deceleration before rest: its size, its slope in a second, how uneven a foot is, and that
# some ease the pedal as the car comes to rest; all but the first as shares of it.
_LEVEL_SD_MPS2: Final = 6.0
_SLOPE_SHARE: Final = 0.1
_UNEVEN_SHARE, _UNEVEN_MEMORY_S = 0.04, 0.3
_EASE_SHARE, _EASE_S = 0.3, 0.3
_PARTS: Final = 8
_SETTLED: Final = 4.0  # time constants, after which a filter has forgotten all but 2 %
_LAGS, _SAME_LAG_S = 3, 0.02  # groups of draws, where they differ by more


@dataclass(frozen=True)
class _Tail:
    """The fixes at the end of one stop."""

    time_s: Floats  # [n], from the first on
    speed_mps: Floats
    variance: Floats
    rest_s: float  # about when the shown speed gets to zero
    level_mps2: float  # of the braking, about
    begun_s: float  # about when the braking began, before the first fix


def receiver_smoothing(
    evidence: Evidence, stops: Sequence[Manoeuvre], count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [count] of the time constant (s) with which the receiver smooths its speed.

    All zero for a log without speeds: those made from positions are nobody's filter.
    """
    if evidence.motion.observed.with_position:
        return np.zeros(count)
    tails = [tail for stop in stops if (tail := _tail(evidence, stop)) is not None]
    if not tails:
        return np.zeros(count)
    coarse = _log_posterior(tails, _COARSE_S)
    likely = np.flatnonzero(coarse > coarse.max() - _UNLIKELY)
    low, high = max(likely[0] - 1, 0), min(likely[-1] + 1, _COARSE_S.size - 1)
    fine = np.linspace(_COARSE_S[low], _COARSE_S[high], _FINE)
    log = _log_posterior(tails, fine)
    weight = np.exp(log - log.max())
    drawn = rng.choice(fine, count, p=weight / weight.sum())
    within = float(fine[1] - fine[0]) * (rng.random(count) - 0.5)
    return np.where(drawn > 0.0, np.abs(drawn + within), 0.0)


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
    variance = _variance(motion, time, speed)
    if zeros.size:  # anywhere below the clamp: a rectangular distribution
        speed = np.append(speed[:-1], 0.5 * clamp)
        variance[-1] += clamp**2 / 12.0
    pick = np.arange(time.size) % -(-time.size // _MOST_FIXES) == 0
    level = _FROM_SHARE * initial / max(stop.end_s - first, 0.3)
    start = float(time[0])
    return _Tail(
        time[pick] - start,
        speed[pick],
        variance[pick],
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
    rounding = float(np.median(motion.observed.rounding[motion.observed.seen]))
    return np.asarray(square * (tail + misfit**2 / square) / (tail + 1.0) + rounding)


def _clamp(speed: Floats) -> float:
    """Return the smallest speed shown by a receiver that writes zero when slow; else 0."""
    seen = speed[np.isfinite(speed)]
    moving = seen[seen > 0.0]
    clamped = moving.size and np.count_nonzero(seen == 0.0) > np.count_nonzero(moving < _SLOW_MPS)
    return float(moving.min()) if clamped else 0.0


def _log_posterior(tails: Sequence[_Tail], smoothing_s: Floats) -> Floats:
    """Return the log weight [g] of each time constant of an even or uneven grid [g]."""
    cell = np.gradient(smoothing_s)
    prior = (1.0 - _NONE_SHARE) * cell / _PRIOR_S * np.exp(-smoothing_s / _PRIOR_S)
    prior = np.log(np.where(smoothing_s > 0.0, prior, _NONE_SHARE))
    shapes = [_shapes(tail.level_mps2) for tail in tails]
    told = [
        [_evidence(tail, shape, lag) for tail, shape in zip(tails, shapes, strict=True)]
        for lag in smoothing_s.tolist()
    ]
    return np.asarray(prior + np.sum(told, axis=1))


def _shapes(level_mps2: float) -> Floats:
    """Return what each unknown of the deceleration, at one standard deviation, adds to speed.

    [l, k]: at `_LEFT_S` [l] before rest. Unknowns: level, slope, the pedal eased at the very end,
    and an uneven foot by the largest parts of its covariance.
    """
    level = _LEVEL_SD_MPS2 * _LEFT_S
    slope = _SLOPE_SHARE * level_mps2 * 0.5 * _LEFT_S**2
    until = np.minimum(_LEFT_S, _EASE_S)
    eased = _EASE_SHARE * level_mps2 * (until - 0.5 * until**2 / _EASE_S)
    apart = np.abs(_LEFT_S[:, None] - _LEFT_S)
    kernel = (_UNEVEN_SHARE * level_mps2) ** 2 * np.exp(-apart / _UNEVEN_MEMORY_S)
    values, vectors = np.linalg.eigh(kernel)
    parts = vectors[:, -_PARTS:] * np.sqrt(values[-_PARTS:])
    uneven = _STEP_S * (np.cumsum(parts, axis=0) - 0.5 * parts - 0.5 * parts[:1])
    return np.column_stack([level, slope, eased, uneven])


def _evidence(tail: _Tail, shapes: Floats, lag_s: float) -> float:
    """Return the log likelihood of one stop's end for a time constant, its rest integrated out."""
    # From before the first fix on: what the filter has there is what the same foot did before.
    lead = _SETTLED * lag_s
    grid = np.arange(-lead, tail.time_s[-1] + _STEP_S, _STEP_S)
    # What is shown comes to rest up to a few time constants after the car.
    rests = np.arange(max(tail.rest_s - 4.0 * lag_s - 0.5, 0.1), tail.rest_s + 0.5 + 1e-9, _STEP_S)
    left = np.clip(np.round((rests[:, None] - grid) / _STEP_S), 0, _LEFT_S.size - 1)
    columns = seen_through(lag_s, grid, tail.time_s) @ shapes[left.astype(np.int64)]  # [r, n, k]
    # Before that the foot was elsewhere: what the filter still has of it.
    begun = max(tail.begun_s, -lead)
    state = tail.level_mps2 * lag_s * np.exp((begun - tail.time_s) / max(lag_s, 1e-3))
    wide = np.broadcast_to(state[:, None], (rests.size, tail.time_s.size, 1))
    white = np.concatenate([columns, wide], axis=2) / np.sqrt(tail.variance)[:, None]
    seen = tail.speed_mps / np.sqrt(tail.variance)
    information = np.eye(white.shape[2]) + white.transpose(0, 2, 1) @ white
    pull = seen @ white
    explained = (pull * np.linalg.solve(information, pull[..., None])[..., 0]).sum(axis=1)
    logs = 0.5 * (explained - np.linalg.slogdet(information)[1])
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
