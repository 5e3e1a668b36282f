"""How far the car went between two moments, with its interval."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.clamped import hidden_starts
from roadtest.motion.estimate import Motion
from roadtest.motion.gaps import LONG_GAP_S, U_NEAR_M, WAYS, Gaps, over_gap
from roadtest.motion.ground import Ground
from roadtest.motion.smoothed import NOT_SMOOTHED, Smoothed
from roadtest.motion.turning import AHEAD_M2, U_AHEAD_M2
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity

Floats = NDArray[np.float64]

_U_PLACE_M: Final = 2.0  # standard, of one position against another some seconds later
_STANDS_MPS: Final = 0.5
_SLOW_MPS: Final = 1.0
"""Of places alone: they make 0.3 to 0.5 m/s of a car at rest (simulated receivers)."""
_LEAST_RATE: Final = 0.1
"""rad/s: of slower turns a filter over half a second takes 0.1 %, and headings are no better known
(our choice)."""


def distance_driven(
    motion: Motion,
    ground: Ground,
    start_s: float,
    end_s: float,
    smoothed: Smoothed = NOT_SMOOTHED,
) -> Quantity:
    """Return the distance along the road between two times inside the log.

    The speed is integrated by cubic Hermite steps; its variance is that of this sum under the
    whole posterior, slow receiver errors and gaps included: wᵀ·A⁻¹·w for weights w. Where there are
    places alone, the way along the path stands in for the speeds of a car that all but stands: they
    are never negative, so that it would seem to creep on. Receivers
    report speed over level ground, so each step is stretched by its grade, √(1 + g²). A receiver
    that smooths velocity as a whole cuts corners: by ½·ω²·τ² where the car turns at ω. An antenna
    ahead of the driven axle, or behind it, goes wider round them: by ½·d²·ω²/v². One that writes
    zero for a slow car hides how far it went when it pulled away (`clamped.py`).

    Raises ValueError when a time lies outside the log or the order is wrong.
    """
    time = motion.time_s
    if not time[0] <= start_s <= end_s <= time[-1]:
        raise ValueError(f"no motion from {start_s} s to {end_s} s")
    gaps = Gaps(motion, ground)
    late = gaps.late
    bounds = [0, *(k + 1 for k in gaps.after), time.size]
    pieces = [_Piece(a, b - 1) for a, b in itertools.pairwise(bounds)]
    shown = [_shown(gaps, pieces, (start_s, end_s), d) for d in late.likely]
    slope = np.nan_to_num(np.maximum(ground.grade**2 - ground.u_grade**2, 0.0))
    stretch = 0.5 * float(shown[1].weight_v @ (motion.speed_mps * slope))
    variance = _variance(motion, ground, shown[1].weight_v, shown[1].weight_a)
    half_square = _half_square(gaps)
    cut_mps2 = float(shown[1].weight_v @ (motion.speed_mps * half_square))
    square, u_square = smoothed.square
    wider_pm = float(shown[1].weight_v @ (half_square / np.maximum(motion.speed_mps, _STANDS_MPS)))
    variance += (U_AHEAD_M2 * wider_pm) ** 2
    variance += (0.5 * stretch) ** 2 + shown[1].variance_m2 + (u_square * cut_mps2) ** 2
    variance += (0.5 * (shown[2].way_m - shown[0].way_m)) ** 2
    hidden_m, u_hidden_m = hidden_starts(motion).between(start_s, end_s)
    variance += u_hidden_m**2
    value = shown[1].way_m + hidden_m + stretch + square * cut_mps2 - AHEAD_M2 * wider_pm
    return _with_gaps(value, float(np.sqrt(variance)), _over_gaps(gaps, start_s, end_s))


@dataclass(frozen=True)
class _Piece:
    """A stretch of the log without long gaps: its first and last fix."""

    first: int
    last: int


@dataclass(frozen=True)
class _Shown:
    """The way outside gaps, and how it is made of speeds and accelerations [n]."""

    weight_v: Floats
    weight_a: Floats
    way_m: float
    variance_m2: float  # of the places that stand in


def _shown(
    gaps: Gaps, pieces: Sequence[_Piece], between_s: tuple[float, float], late_s: float
) -> _Shown:
    """Return the way between two times outside gaps, of speeds that are shown `late_s` late.

    The last of it before a gap, or before the end of the log, was not shown any more (of a receiver
    that is early, the first after it): there the places stand in.
    """
    motion, ground, time = gaps.motion, gaps.ground, gaps.motion.time_s
    weight_v, weight_a = np.zeros(time.size), np.zeros(time.size)
    crept = _crept(gaps) if motion.source == "position" else np.zeros(time.size)
    way = variance = 0.0
    for piece in pieces:
        fixes = slice(piece.first, piece.last + 1)
        first, last = float(time[piece.first]), float(time[piece.last])
        start, end = max(between_s[0], first), min(between_s[1], last)
        if start >= end:
            continue
        low, high = (min(max(at + late_s, first), last) for at in (start, end))
        for at_s, sign in ((high, 1.0), (low, -1.0)):
            of_v, of_a = _weights(time[fixes], at_s)
            weight_v[fixes] += sign * of_v
            weight_a[fixes] += sign * of_a
        way -= float(np.diff(np.interp([low, high], time, crept))[0])
        for lost in ((max(start, last - late_s), end), (start, min(end, first - late_s))):
            if lost[0] < lost[1]:
                way += _by_places(motion, ground, *lost)
                variance += U_NEAR_M**2
    way += float(weight_v @ motion.speed_mps + weight_a @ motion.acceleration_mps2)
    return _Shown(weight_v, weight_a, way, variance)


def _crept(gaps: Gaps) -> Floats:
    """Return by how much [n] speeds have gone further than the path, where the car is slow.

    Each step of the path counts in the direction of the heading, so that what places wander while
    the car stands, with the heading that it has, adds up to nothing.
    """
    ground, heading = gaps.ground, np.nan_to_num(gaps.heading_rad)
    speed = gaps.motion.speed_mps
    middle = 0.5 * (heading[1:] + heading[:-1])
    steps = np.diff(ground.east_m) * np.sin(middle) + np.diff(ground.north_m) * np.cos(middle)
    slow = np.maximum(speed[1:], speed[:-1]) < _SLOW_MPS
    more = np.where(slow, np.diff(gaps.motion.distance_m) - steps, 0.0)
    return np.concatenate([[0.0], np.cumsum(more)])


def _half_square(gaps: Gaps) -> Floats:
    """Return ½·ω² [n] of how fast the car turns, rad²/s²; none where it all but drives straight."""
    rate = gaps.turning_radps
    return np.where(np.abs(rate) > _LEAST_RATE, 0.5 * rate**2, 0.0)


def _by_places(motion: Motion, ground: Ground, start_s: float, end_s: float) -> float:
    """Return the way over a second or so by the places; by the speeds where they are not known."""
    time = motion.time_s
    speed = np.interp([start_s, end_s], time, motion.speed_mps)
    ends = [np.interp([start_s, end_s], time, row) for row in (ground.east_m, ground.north_m)]
    way = float(np.hypot(*np.diff(ends)[:, 0]))
    stands = speed.max() < _STANDS_MPS
    return way if np.isfinite(way) and not stands else float(speed.mean()) * (end_s - start_s)


def _over_gaps(gaps: Gaps, start_s: float, end_s: float) -> list[Floats]:
    """Return ways over the long gaps between two times, as `over_gap` does, of each its share."""
    time = gaps.motion.time_s
    ways = []
    for k in gaps.after:
        inside_s = min(float(time[k + 1]), end_s) - max(float(time[k]), start_s)
        if inside_s > 0.0:
            ways.append(inside_s / float(time[k + 1] - time[k]) * over_gap(gaps, k))
    return ways


def _with_gaps(way_m: float, u_m: float, over: Sequence[Floats]) -> Quantity:
    """Return a way together with those over gaps, at the median of each.

    Ways over gaps are far from normal: by the route most likely, else much longer.
    """
    if not over:
        return Quantity(way_m, COVERAGE_FACTOR_95 * u_m, "m")
    rng = np.random.default_rng(len(over))
    off = u_m * rng.standard_normal(WAYS)
    for ways in over:
        off += rng.permutation(ways - np.median(ways))
    value = way_m + sum(float(np.median(ways)) for ways in over)
    return Quantity(value, float(np.quantile(np.abs(off), 0.95)), "m")


def _weights(time: Floats, at_s: float) -> tuple[Floats, Floats]:
    """Return the weights [n] of speeds and accelerations in the distance from the start."""
    n = time.size
    weight_v, weight_a = np.zeros(n), np.zeros(n)
    k = min(int(np.searchsorted(time, at_s, "right")) - 1, n - 2)
    h = np.diff(time[: k + 1])
    weight_v[:k] += 0.5 * h
    weight_v[1 : k + 1] += 0.5 * h
    weight_a[:k] += h * h / 12.0
    weight_a[1 : k + 1] -= h * h / 12.0
    step = time[k + 1] - time[k]
    x = (at_s - time[k]) / step
    weight_v[k] += step * (x - x**3 + 0.5 * x**4)
    weight_v[k + 1] += step * (x**3 - 0.5 * x**4)
    weight_a[k] += step**2 * (0.5 * x**2 - 2.0 / 3.0 * x**3 + 0.25 * x**4)
    weight_a[k + 1] += step**2 * (0.25 * x**4 - x**3 / 3.0)
    return weight_v, weight_a


def least_top_speed(motion: Motion, ground: Ground) -> float:
    """Return a speed (m/s) that the car must have reached: to get over the log's gaps in time.

    By the chord of each, shortened by what the places at its ends may be off; 0 without gaps.
    """
    gap = np.diff(motion.time_s)
    long = gap > LONG_GAP_S
    chord = np.hypot(np.diff(ground.east_m), np.diff(ground.north_m))[long]
    mean = (chord - COVERAGE_FACTOR_95 * np.sqrt(2.0) * _U_PLACE_M) / gap[long]
    return float(np.nanmax(mean, initial=0.0))


def _variance(motion: Motion, ground: Ground, weight_v: Floats, weight_a: Floats) -> float:
    """Return the posterior variance of Σ weight_v·speed + weight_a·acceleration.

    A car at rest goes nowhere, whatever the chain's speed, which falls on through zero, does there.
    """
    rolls = motion.speed_mps > 0.0
    if motion.source == "doppler":
        along = [np.ones(motion.time_s.size)]
    else:
        heading = np.nan_to_num(ground.heading_rad)
        along = [np.sin(heading), np.cos(heading)]
    states = motion.posterior.kinematic
    weights = np.zeros((len(along), motion.time_s.size, states))
    for axis, share in enumerate(along):
        weights[axis, :, states - 3] = weight_v * share * rolls
        weights[axis, :, states - 2] = weight_a * share * rolls
    return motion.posterior.variance(weights)
