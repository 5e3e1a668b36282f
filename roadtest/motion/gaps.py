"""How far the car went while the log has no fixes: from place to place, by one road or another."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion
from roadtest.motion.ground import Ground

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LONG_GAP_S: Final = 3.0
"""Over a longer gap a speed at either end tells less than the two places do."""
U_PLACE_M: Final = 2.0  # standard, of one position against another some seconds later
_BEND_SHARE: Final = 0.01  # a road is about this much longer than the chord; and as uncertain
_ALONG: Final = np.cos(np.radians(45.0))
"""A car that goes in and comes out within 45° of the chord drove along it (our choice)."""
_ROUNDABOUT: Final = 0.5
"""By how much, of the chord, the way between two places a few km apart may be longer: roads are 1.2
to 1.4 times the straight line (value from memory). Of a gap of minutes all of it is open."""
_ONE_ROAD_S: Final = 80.0  # so long, a gap is a tunnel or a wood: one road (our choice) ...
_ANY_ROAD_S: Final = 300.0  # ... and so long it may be any road there is
_LIKE_MPS2: Final = 0.25
"""Of the gap's length: so far its mean speed may be from that at its ends, at 1 m/s² to the middle
and back (our choice)."""
_STEPS: Final = 8  # a stretch begins at so many moments within its length
_MOST_LOOKED_AT: Final = 2000
_GRID: Final = 400


@dataclass(frozen=True)
class Gaps:
    """The long gaps of a drive's log."""

    motion: Motion
    ground: Ground

    @cached_property
    def after(self) -> list[int]:
        """After which fixes there is a long gap, with places at both ends."""
        placed = np.isfinite(self.ground.east_m[:-1] + self.ground.east_m[1:])
        return np.flatnonzero((np.diff(self.motion.time_s) > LONG_GAP_S) & placed).tolist()

    @cached_property
    def before(self) -> Ints:
        """How many gaps, placed or not, lie before every fix [n]."""
        return np.concatenate([[0], np.cumsum(np.diff(self.motion.time_s) > LONG_GAP_S)])

    @cached_property
    def heading_rad(self) -> Floats:
        """The heading [n] at every fix, of a standing car that with which it came to rest.

        Before it first drives: that with which it drives off.
        """
        heading = self.ground.heading_rad
        known = np.flatnonzero(np.isfinite(heading))
        if known.size == 0:
            return np.full(heading.size, np.nan)
        last = np.searchsorted(known, np.arange(heading.size), "right") - 1
        return np.asarray(heading[known[np.maximum(last, 0)]])


def over_gap(gaps: Gaps, k: int) -> tuple[float, float]:
    """Return the way over the gap that begins with fix `k`, m, and its variance.

    Along one road it is the chord and a little more. A car that turned in the gap went as far as
    it went elsewhere in the log in as long a time where it turned too, but not shorter than the
    chord, nor faster than it ever was. Where the log has no such stretch, anything from the chord
    to the way at the speeds of both ends is as likely.
    """
    motion, ends = gaps.motion, np.array([[k], [k + 1]])
    chord = float(_chord(gaps.ground, ends)[0])
    gap_s = float(motion.time_s[k + 1] - motion.time_s[k])
    variance = 2.0 * U_PLACE_M**2 + (_BEND_SHARE * chord) ** 2
    longer = _roundabout(gap_s, chord)
    turned = bool(_turned(gaps, ends)[0])
    if turned:
        like, weight = _like(gaps, k)
        if weight.sum() >= 1.0:
            most = gap_s * float(motion.speed_mps.max())
            way, square = _longer_than(chord, most, like, weight)
            return way, variance + square
    if turned or gap_s > _ONE_ROAD_S:
        gone = 0.5 * float(motion.speed_mps[[k, k + 1]].sum() * gap_s)
        longer = max(longer, gone - chord)
    return chord * (1.0 + _BEND_SHARE) + 0.5 * longer, variance + longer**2 / 12.0


def _like(gaps: Gaps, k: int) -> tuple[Floats, Floats]:
    """Return ways [w], m, of stretches as long as the gap after fix `k` that turn too, and weights.

    Those count more whose speeds at the ends are on average like those of the gap.
    """
    motion, time = gaps.motion, gaps.motion.time_s
    gap_s = time[k + 1] - time[k]
    step = max(gap_s / _STEPS, (time[-1] - time[0]) / _MOST_LOOKED_AT)
    starts = np.unique(np.searchsorted(time, np.arange(time[0], time[-1] - gap_s, step)))
    stops = np.minimum(np.searchsorted(time, time[starts] + gap_s), time.size - 1)
    whole = (gaps.before[starts] == gaps.before[stops]) & (starts < stops)
    ends = np.array([starts[whole], stops[whole]])
    ends = ends[:, _turned(gaps, ends)]
    lasted = time[ends[1]] - time[ends[0]]
    way = (motion.distance_m[ends[1]] - motion.distance_m[ends[0]]) * gap_s / lasted
    of_gap = motion.speed_mps[[k, k + 1]].mean()
    unlike = (motion.speed_mps[ends].mean(axis=0) - of_gap) / (_LIKE_MPS2 * gap_s)
    return way, np.exp(-0.5 * unlike**2)


def _longer_than(
    chord_m: float, most_m: float, way_m: Floats, weight: Floats
) -> tuple[float, float]:
    """Return mean and variance of a way between its chord and `most_m`, by like ways [w].

    What a few normal values tell of another one is a Student's t distribution.
    """
    count = max(float(weight.sum()) / _STEPS, 2.0)  # independent ones, for stretches overlap
    mean = float(np.average(way_m, weights=weight))
    square = float(np.average((way_m - mean) ** 2, weights=weight)) * count / (count - 1.0)
    spread = max(float(np.sqrt(square * (1.0 + 1.0 / count))), 1e-3 * most_m)
    way = np.linspace(chord_m, max(most_m, chord_m), _GRID)
    chance = (1.0 + ((way - mean) / spread) ** 2 / (count - 1.0)) ** (-0.5 * count)
    likely = float(np.average(way, weights=chance))
    return likely, float(np.average((way - likely) ** 2, weights=chance))


def _roundabout(gap_s: float, chord: float) -> float:
    """Return how much longer than the chord the roads over a long gap can be, m."""
    share = (gap_s - _ONE_ROAD_S) / (_ANY_ROAD_S - _ONE_ROAD_S)
    return _ROUNDABOUT * chord * min(max(share, 0.0), 1.0)


def _turned(gaps: Gaps, ends: Ints) -> Bools:
    """Return whether the car did not go in and out along the chord, of pairs of fixes [2, w]."""
    ground = gaps.ground
    east, north = (np.diff(row[ends], axis=0)[0] for row in (ground.east_m, ground.north_m))
    way = gaps.heading_rad[ends]
    along = east * np.sin(way) + north * np.cos(way)
    return np.asarray(~np.all(along > _ALONG * np.hypot(east, north), axis=0))


def _chord(ground: Ground, ends: Ints) -> Floats:
    """Return the straight line between pairs of fixes [2, w], m."""
    east, north = (np.diff(row[ends], axis=0)[0] for row in (ground.east_m, ground.north_m))
    return np.asarray(np.hypot(east, north))
