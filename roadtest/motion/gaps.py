"""How far the car went while the log has no fixes: from place to place, by one road or another."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.elsewhere import Elsewhere, Student, least_roundabout_m
from roadtest.motion.estimate import POSITION_MODEL, Motion
from roadtest.motion.ground import Ground
from roadtest.motion.lateness import Lateness, lateness
from roadtest.motion.routes import Ends, Routes, routes
from roadtest.motion.turning import turning_rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LONG_GAP_S: Final = 3.0
"""Over a longer gap a speed at either end tells less than the two places do."""
WAYS: Final = 2000  # that one gap is told by
U_NEAR_M: Final = 0.5  # standard, of one position against another a second later
_BEND_SHARE: Final = 0.01
"""A road is about this much longer than the route that its ends show, and as uncertain, before the
log has shown how much its roads are (our choice)."""
_ANY_SHARE: Final = (0.25, 0.15)
"""The same on top for two places a few km apart: roads are 1.2 to 1.4 times the straight line
(value from memory)."""
_ONE_ROAD_S: Final = 80.0  # so long, a gap is a tunnel or a wood: one road (our choice) ...
_ANY_ROAD_S: Final = 300.0  # ... and so long it may be any road there is
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
    def late(self) -> Lateness:
        """How much later speeds are shown than places."""
        return lateness(self.motion, self.ground)

    @cached_property
    def turning_radps(self) -> Floats:
        """How fast the car turns at every fix [n]."""
        time = self.motion.time_s
        return turning_rate(time, self.ground.heading_rad, time)

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


def over_gap(gaps: Gaps, k: int) -> Floats:
    """Return ways over the gap that begins with fix `k`, m: `WAYS` as likely ones, in order.

    It drove by the shortest ordinary route between the two places, or by another way: turned back,
    or round a block. How likely either is, how far it then goes in the time, and by how much roads
    exceed their routes are told by stretches of the log that last as long. By the route, the places
    tell the way. Of another one only that it is longer, and that places as far apart as these are
    the less to be expected the longer it is: turning back at any point as likely as at another
    leaves both ends anything from 0 to the whole way apart.
    """
    motion, time = gaps.motion, gaps.motion.time_s
    gap_s = float(time[k + 1] - time[k])
    top_mps = float(motion.speed_mps.max())
    speed_mps = float(motion.speed_mps[[k, k + 1]].mean())
    route = _routes(gaps, np.array([[k], [k + 1]]))
    route_m, kind = float(route.way_m[0]), int(route.kind[0])
    elsewhere = _elsewhere(gaps, gap_s)
    mean, u = _longer(gap_s, np.append(elsewhere.routes.way_m, route_m))
    by_places = motion.source == "position"
    more = elsewhere.excess(kind, (mean[:-1], u[:-1]), by_places)
    by_route = Student(
        route_m + float(mean[-1]) + more.middle * float(u[-1]),
        more.scale * float(u[-1]),
        more.dof,
    )
    near = np.maximum(by_route.middle + by_route.scale * np.linspace(-8.0, 8.0, _GRID), 0.0)
    like = by_route.density(near)
    like *= elsewhere.ways(speed_mps, gap_s, top_mps, roundabout=False).density(near)
    least_m = least_roundabout_m(route_m)
    far = np.linspace(least_m, max(top_mps * gap_s, least_m), _GRID)
    unlike = elsewhere.ways(speed_mps, gap_s, top_mps, roundabout=True).density(far) / far
    prior = 0.5 * min(gap_s / _ONE_ROAD_S, 1.0)  # nobody turns back twice within seconds
    chance = elsewhere.chance_of_roundabout(kind, prior)
    by_it, round_it = (1.0 - chance) * np.trapezoid(like, near), chance * np.trapezoid(unlike, far)
    some = round(WAYS * float(by_it / (by_it + round_it)))
    return np.concatenate([_spread(near, like, some), _spread(far, unlike, WAYS - some)])


def _elsewhere(gaps: Gaps, gap_s: float) -> Elsewhere:
    """Return the log's stretches that last as long as a gap."""
    motion, time = gaps.motion, gaps.motion.time_s
    step = max(gap_s / _STEPS, (time[-1] - time[0]) / _MOST_LOOKED_AT)
    starts = np.unique(np.searchsorted(time, np.arange(time[0], time[-1] - gap_s, step)))
    stops = np.minimum(np.searchsorted(time, time[starts] + gap_s), time.size - 1)
    whole = (gaps.before[starts] == gaps.before[stops]) & (starts < stops)
    ends = np.array([starts[whole], stops[whole]])
    shown = np.interp(time[ends] + gaps.late.value_s, time, motion.distance_m)
    way = (shown[1] - shown[0]) * gap_s / (time[ends[1]] - time[ends[0]])
    share = min(step / gap_s, 1.0)
    return Elsewhere(way, _routes(gaps, ends), motion.speed_mps[ends].mean(axis=0), share)


def _routes(gaps: Gaps, ends: Ints) -> Routes:
    """Return the routes between pairs of fixes [2, w]; no heading known counts as the chord's."""
    east, north = (
        np.diff(row[ends], axis=0)[0] for row in (gaps.ground.east_m, gaps.ground.north_m)
    )
    off = np.nan_to_num(gaps.heading_rad[ends] - np.arctan2(east, north))
    off = (off + np.pi) % (2.0 * np.pi) - np.pi
    return routes(Ends(np.hypot(east, north), off, gaps.turning_radps[ends]))


def _longer(gap_s: float, route_m: Floats) -> tuple[Floats, Floats]:
    """Return by how much roads are longer than routes [w], m, and the standard uncertainty."""
    any_road = min(max((gap_s - _ONE_ROAD_S) / (_ANY_ROAD_S - _ONE_ROAD_S), 0.0), 1.0)
    share, u_share = (_BEND_SHARE + any_road * more for more in _ANY_SHARE)
    variance = U_NEAR_M**2 + sum(
        -2.0 * slow.sd**2 * np.expm1(-gap_s / slow.memory_s) for slow in POSITION_MODEL.slow
    )
    return share * route_m, np.sqrt(variance + (u_share * route_m) ** 2)


def _spread(way_m: Floats, density: Floats, count: int) -> Floats:
    """Return `count` ways as likely as one another, of ways that are as likely as `density`."""
    if count == 0:
        return np.empty(0)
    below = np.cumsum(density)
    return np.asarray(np.interp((np.arange(count) + 0.5) / count * below[-1], below, way_m))
