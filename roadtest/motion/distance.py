"""How far the car went between two moments, with its interval."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion
from roadtest.motion.ground import Ground
from roadtest.motion.lateness import Lateness, lateness
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity

Floats = NDArray[np.float64]

LONG_GAP_S = 3.0
"""Over a longer gap a speed at either end tells less than the two places do."""
_U_PLACE_M = 2.0  # standard, of one position against another some seconds later
_BEND_SHARE = 0.01  # a road is about this much longer than the chord; and uncertain by as much
_LATE_MPS2 = 1.0  # what the car's speed may have changed by while it was shown late (our choice)
_ALONG = np.cos(np.radians(45.0))
"""A car that goes in and comes out within 45° of the chord drove along it (our choice)."""
_ROUNDABOUT = 0.5
"""By how much, of the chord, the way between two places a few km apart may be longer: roads are 1.2
to 1.4 times the straight line (value from memory). Of a gap of minutes all of it is open."""
_ONE_ROAD_S = 80.0  # so long, a gap is a tunnel or a wood: one road with its bends (our choice) ...
_ANY_ROAD_S = 300.0  # ... and so long it may be any road there is


def distance_driven(motion: Motion, ground: Ground, start_s: float, end_s: float) -> Quantity:
    """Return the distance along the road between two times inside the log.

    The speed is integrated by cubic Hermite steps; its variance is that of this sum under the
    whole posterior, slow receiver errors and gaps included: wᵀ·A⁻¹·w for weights w. Receivers
    report speed over level ground, so each step is stretched by its grade, √(1 + g²).

    Raises ValueError when a time lies outside the log or the order is wrong.
    """
    time = motion.time_s
    if not time[0] <= start_s <= end_s <= time[-1]:
        raise ValueError(f"no motion from {start_s} s to {end_s} s")
    weight_v, weight_a = _weights(time, end_s)
    before_v, before_a = _weights(time, start_s)
    weight_v -= before_v
    weight_a -= before_a
    way, variance = _over_gaps(motion, ground, start_s, end_s, weight_v, weight_a)
    slope = np.nan_to_num(np.maximum(ground.grade**2 - ground.u_grade**2, 0.0))
    level = float(weight_v @ motion.speed_mps + weight_a @ motion.acceleration_mps2)
    stretch = 0.5 * float(weight_v @ (motion.speed_mps * slope))
    variance += _variance(motion, ground, weight_v, weight_a) + (0.5 * stretch) ** 2
    return Quantity(way + level + stretch, COVERAGE_FACTOR_95 * float(np.sqrt(variance)), "m")


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


def _over_gaps(
    motion: Motion,
    ground: Ground,
    start_s: float,
    end_s: float,
    weight_v: Floats,
    weight_a: Floats,
) -> tuple[float, float]:
    """Return way and variance over long gaps, by their chords; take them out of the weights.

    Chords lie between places, and speeds are shown later than those: what a receiver that is late
    by D still had to show when the gap began is lost, D·v; what it shows first after it is counted
    twice.
    """
    time = motion.time_s
    way = variance = 0.0
    gaps = np.flatnonzero(np.diff(time) > LONG_GAP_S).tolist()
    late = lateness(motion, ground) if gaps else Lateness(0.0, 0.0)
    for k in gaps:
        chord = float(
            np.hypot(
                ground.east_m[k + 1] - ground.east_m[k], ground.north_m[k + 1] - ground.north_m[k]
            )
        )
        share = (min(time[k + 1], end_s) - max(time[k], start_s)) / (time[k + 1] - time[k])
        if share <= 0.0 or not np.isfinite(chord):
            continue
        over = _weights(time, min(float(time[k + 1]), end_s))
        before = _weights(time, max(float(time[k]), start_s))
        weight_v -= over[0] - before[0]
        weight_a -= over[1] - before[1]
        longer = max(_detour(motion, ground, k, chord), _roundabout(time[k + 1] - time[k], chord))
        way += share * (chord * (1.0 + _BEND_SHARE) + 0.5 * longer)
        variance += 2.0 * _U_PLACE_M**2 + (_BEND_SHARE * chord) ** 2
        variance += share**2 * longer**2 / 12.0
        lost = float(motion.speed_mps[k]) if time[k] >= start_s else 0.0
        twice = float(motion.speed_mps[k + 1]) if time[k + 1] <= end_s else 0.0
        way += late.value_s * (lost - twice)
        variance += late.u_s**2 * (lost - twice) ** 2
        variance += 2.0 * (0.5 * _LATE_MPS2 * late.value_s**2) ** 2
    return way, variance


def _detour(motion: Motion, ground: Ground, k: int, chord: float) -> float:
    """Return how much longer than the chord the way over the gap after fix `k` can have been, m.

    Nothing where the car went in and came out along the chord of a gap so short that it stayed on
    one road. Else it turned, there and back for all anybody knows: any way from the chord to that
    of the speeds at both ends is as likely.
    """
    ends = [k, k + 1]
    gap_s = float(np.diff(motion.time_s[ends])[0])
    gone = 0.5 * float(motion.speed_mps[ends].sum() * gap_s)
    if gone <= chord:
        return 0.0
    east, north = np.diff(ground.east_m[ends])[0], np.diff(ground.north_m[ends])[0]
    way = ground.heading_rad[ends]
    along = (east * np.sin(way) + north * np.cos(way)) / max(chord, 1e-9)
    return 0.0 if gap_s <= _ONE_ROAD_S and np.all(along > _ALONG) else gone - chord


def _roundabout(gap_s: float, chord: float) -> float:
    """Return how much longer than the chord the roads over a long gap can be, m."""
    share = (gap_s - _ONE_ROAD_S) / (_ANY_ROAD_S - _ONE_ROAD_S)
    return _ROUNDABOUT * chord * min(max(share, 0.0), 1.0)


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
