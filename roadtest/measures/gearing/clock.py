"""Finding the tach's clock: which shift makes engine speed follow road speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.road import Road

Floats = NDArray[np.float64]

_GRID_S: Final = 0.25
_MOST_RATE: Final = 0.4  # 1/s, of the logarithm of speed or engine speed: more is a gear change
_SLOW_MPS: Final = 2.0
_RUNNING_RPM: Final = 300.0  # no engine idles slower
_LEAST_ROWS: Final = 10
_CANDIDATES: Final = 12
_AROUND_S: Final = np.arange(-3.0, 3.001, 0.1)  # the best one, looked at more closely
_LEAST_OVERLAP_S: Final = 20.0
_NEAR_S: Final = 3.0  # peaks nearer than this are one peak
_ELSEWHERE_S: Final = (-8.0, -4.0, -2.0, 2.0, 4.0, 8.0)
_TELLING: Final = 3.0  # twenty times as likely
_CALENDAR_SCALE_S: Final = 2.0
"""How far calendar clocks set by hand or by a telephone usually are off (our choice; the density
has long tails, so that an hour is not ruled out)."""


@dataclass(frozen=True)
class Shift:
    """A possible clock offset, and how probable it is among all that were looked at."""

    offset_s: float
    probability: float


def find_shift(samples: EngineSamples, road: Road) -> tuple[Shift, ...]:
    """Return the possible offsets of the tach's clock, most probable first; () when it can't run.

    First the rates of change of log engine speed and log road speed are correlated over every
    shift at once. Then the best peaks are compared by the likelihood of what is seen over one
    second: while a gear is engaged both logarithms change by the same amount.
    """
    if np.count_nonzero(samples.rpm > _RUNNING_RPM) < _LEAST_ROWS:
        return ()
    coarse = _correlation_peaks(samples, road)
    if not coarse.size:
        return ()
    fine = np.arange(-1.0, 1.001, 0.1)
    shifts = (coarse[:, None] + fine).ravel()
    if samples.clock != "elapsed":
        shifts = np.concatenate([fine * 2.0, shifts])
    score = _score(samples, road, shifts)
    around = shifts[int(np.argmax(score))] + _AROUND_S
    shifts = np.concatenate([shifts, around])
    return _ranked(shifts, np.concatenate([score, _score(samples, road, around)]))


def _score(samples: EngineSamples, road: Road, shifts: Floats) -> Floats:
    """Return log likelihood plus log prior of each shift, up to a constant."""
    score = _likelihoods(samples, road, shifts)
    if samples.clock == "elapsed":
        return score
    return np.asarray(score - 1.5 * np.log1p((shifts / _CALENDAR_SCALE_S) ** 2))


def is_fixed(samples: EngineSamples, road: Road, offset_s: float) -> bool:
    """Return whether the drive itself tells `offset_s` from offsets seconds away on either side.

    On a steady cruise it does not, and what a straight-line fit says of the offset means nothing.
    """
    shifts = offset_s + np.array([0.0, *_ELSEWHERE_S])
    score = _likelihoods(samples, road, shifts)
    return bool(score[0] - score[1:].max() > _TELLING)


def _ranked(shifts: Floats, score: Floats) -> tuple[Shift, ...]:
    """Return local best shifts with their probabilities."""
    chosen: list[tuple[float, float]] = []
    for k in np.argsort(-score):
        if all(abs(shifts[k] - other) > _NEAR_S for other, _ in chosen):
            chosen.append((float(shifts[k]), float(score[k])))
        if len(chosen) == _CANDIDATES:
            break
    weights = np.exp(np.array([s for _, s in chosen]) - chosen[0][1])
    weights /= weights.sum()
    return tuple(
        Shift(offset, float(weight))
        for (offset, _), weight in zip(chosen, weights.tolist(), strict=True)
    )


def _correlation_peaks(samples: EngineSamples, road: Road) -> Floats:
    """Return the shifts (s) where the two rates of change agree best."""
    end = float(road.motion.time_s[-1])
    road_grid = np.arange(0.0, end, _GRID_S)
    clock0 = float(samples.time_s[0])
    tach_grid = np.arange(clock0, float(samples.time_s[-1]), _GRID_S)
    if road_grid.size < 40 or tach_grid.size < 40:
        return np.zeros(0)
    at = road.speed_at(road_grid)
    moving = at.known & (at.speed_mps > _SLOW_MPS)
    road_rate = np.where(moving, at.acceleration_mps2 / np.maximum(at.speed_mps, _SLOW_MPS), 0.0)
    tach_rate = _tach_rate(samples, tach_grid)
    road_rate, tach_rate = (np.clip(x, -_MOST_RATE, _MOST_RATE) for x in (road_rate, tach_rate))
    size = next_fast_len(road_grid.size + tach_grid.size)

    def correlate(a: Floats, b: Floats) -> Floats:
        return np.asarray(irfft(rfft(a, size) * np.conj(rfft(b, size)), size))

    product = correlate(road_rate, tach_rate)
    overlap = correlate(np.ones(road_grid.size), np.ones(tach_grid.size))
    energy = correlate(road_rate**2, np.ones(tach_grid.size)) * correlate(
        np.ones(road_grid.size), tach_rate**2
    )
    # A short overlap can agree by chance: the correlation counts by the root of its length.
    score = product / np.sqrt(np.maximum(energy, 1e-6 * energy.max() + 1e-12))
    score = score * np.sqrt(np.clip(overlap, 0.0, None))
    lag = np.arange(size)
    lag = np.where(lag >= road_grid.size, lag - size, lag)
    enough = overlap * _GRID_S >= min(_LEAST_OVERLAP_S, 0.5 * end)
    score = np.where(enough, score, -np.inf)
    before, after = np.roll(score, 1), np.roll(score, -1)
    peak = np.flatnonzero((score >= before) & (score >= after) & np.isfinite(score))
    best = peak[np.argsort(-score[peak])][:_CANDIDATES]
    return np.asarray(lag[best] * _GRID_S - clock0, dtype=np.float64)


def _tach_rate(samples: EngineSamples, grid: Floats) -> Floats:
    """Return the rate of change of log engine speed (1/s) over about a second around `grid`."""
    running = samples.rpm > _RUNNING_RPM
    log_rpm = np.log(samples.rpm[running])
    time = samples.time_s[running]
    half = max(0.5, 0.5 / samples.rate_hz)
    ahead = np.interp(grid + half, time, log_rpm)
    behind = np.interp(grid - half, time, log_rpm)
    near = np.searchsorted(time, grid + half) - np.searchsorted(time, grid - half) >= 1
    return np.where(near, (ahead - behind) / (2.0 * half), 0.0)


def _likelihoods(samples: EngineSamples, road: Road, shifts: Floats) -> Floats:
    """Return the log likelihood of each shift ([k] float, s), up to a constant."""
    span = max(1.0, 1.0 / samples.rate_hz)
    grid = np.arange(float(samples.time_s[0]), float(samples.time_s[-1]) - span, 0.5 * span)
    if grid.size > 3000:
        grid = grid[:: grid.size // 3000 + 1]
    running = samples.rpm > _RUNNING_RPM
    time, rpm = samples.time_s[running], samples.rpm[running]
    ends = np.log(np.interp(np.concatenate([grid, grid + span]), time, rpm)).reshape(2, -1)
    change = ends[1] - ends[0]
    noise = 1.5 * np.hypot(samples.u_rpm, samples.step_rpm / 3.5) / np.exp(ends[0])
    return np.array([_one_likelihood(road, grid, span, change, noise, s) for s in shifts.tolist()])


def _one_likelihood(
    road: Road, grid: Floats, span: float, change: Floats, noise: Floats, shift: float
) -> float:
    start, end = road.speed_at(grid + shift), road.speed_at(grid + span + shift)
    ok = start.known & end.known & (start.speed_mps > _SLOW_MPS) & (end.speed_mps > _SLOW_MPS)
    if not ok.any():
        return -1e9
    v0, v1 = start.speed_mps[ok], end.speed_mps[ok]
    off = change[ok] - np.log(v1 / v0)
    sd = np.sqrt(noise[ok] ** 2 + 2.0 * (start.u_speed_mps[ok] / v0) ** 2 + 0.006**2)
    # Half of the time in gear; else anything within a factor of e or so. Compared with no
    # agreement at all, so that shifts with different overlap can be compared. Neighbours overlap
    # by half and share most of their errors: every fourth counts.
    free = 1.0 / 1.5
    locked = np.exp(-0.5 * (off / sd) ** 2) / (sd * 2.5066)
    # What chance alone would give: the road's own changes against those of another time.
    chance_sd = np.sqrt(sd**2 + np.var(np.clip(change[ok], -0.3, 0.3)) + np.var(np.log(v1 / v0)))
    chance = np.exp(-0.5 * (off / chance_sd) ** 2) / (chance_sd * 2.5066)
    gain = np.log(0.5 * locked + 0.5 * free) - np.log(0.5 * chance + 0.5 * free)
    return float(0.25 * gain.sum())
