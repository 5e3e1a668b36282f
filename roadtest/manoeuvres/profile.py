"""The motion on an even grid of times: what manoeuvres are looked for in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion, travelled

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

STEP_S: Final = 0.1
"""Of the grid. A foot takes longer to do anything; ends are found between grid points."""

SHORT_S: Final = 0.2

_LEAST_GAP_S: Final = 2.5
"""A single fix lost from a 1 Hz log is no gap: the estimate's own interval covers it."""

_VAGUE_MPS: Final = 2.0
"""Standard. A fix whose speed is known no better, as a first one that came without, tells
nothing."""
_EDGE_S: Final = 10.0  # of a long gap, at either end, that the grid covers

_REST_MPS: Final = 0.25  # slower than anyone drives; faster than a car rocks on its springs
_MOST_REST_MPS: Final = 2.0  # a brisk walk, however little the log knows


@dataclass(frozen=True)
class Profile:
    """Speed and acceleration on an even grid that leaps over long gaps. Arrays are [n]."""

    time_s: Floats
    speed_mps: Floats
    acceleration_mps2: Floats
    distance_m: Floats
    u_speed_mps: Floats  # standard
    u_acceleration_mps2: Floats
    resting: Bools  # standing, as far as the log can tell
    gap: Bools  # between two fixes far apart, or beside one of no known speed
    gaps: tuple[tuple[float, float], ...]  # start and end of each
    slope_mps2: Floats  # mean acceleration over ± SHORT_S
    long_s: float  # half the time over which slopes are known well enough to call them steady
    motion: Motion

    def index(self, time_s: float) -> int:
        """Return the grid point nearest to a time."""
        at = int(np.searchsorted(self.time_s, time_s - 0.5 * STEP_S))
        return min(at, self.time_s.size - 1)

    def slope(self, half_s: float) -> Floats:
        """Return the mean acceleration over ± `half_s` about each point [n]."""
        return _slope(self.time_s, self.speed_mps, half_s)

    def speed_at(self, time_s: float) -> float:
        """Return the speed at a time."""
        return float(np.interp(time_s, self.time_s, self.speed_mps))

    def gap_within(self, start_s: float, end_s: float) -> tuple[float, float] | None:
        """Return start and end of the first gap that overlaps a stretch of time, or None."""
        for low, high in self.gaps:
            if low < end_s and high > start_s:
                return low, high
        return None


def profile_of(motion: Motion) -> Profile:
    """Return the mean motion on the grid, by cubic Hermite steps between fixes.

    Where the car comes to rest between two fixes it keeps the deceleration of the first until it
    stands.
    """
    time = motion.time_s
    grid = _grid(time)
    k = np.clip(np.searchsorted(time, grid, "right") - 1, 0, time.size - 2)
    speed, acceleration = _between(motion, grid, k)
    u_speed = np.interp(grid, time, np.where(motion.speed_mps > 0.0, motion.u_speed_mps, 0.0))
    rest = np.minimum(_REST_MPS + 4.0 * u_speed, _MOST_REST_MPS)
    vague = (motion.u_speed_mps > _VAGUE_MPS) & (motion.speed_mps > 0.0)
    wide = (np.diff(time) > gap_limit_s(time)) | vague[1:] | vague[:-1]
    return Profile(
        time_s=grid,
        speed_mps=speed,
        acceleration_mps2=acceleration,
        distance_m=travelled(grid, speed, acceleration),
        u_speed_mps=u_speed,
        u_acceleration_mps2=np.interp(grid, time, motion.u_acceleration_mps2),
        resting=speed <= rest,
        gap=wide[k],
        gaps=tuple((float(time[i]), float(time[i + 1])) for i in np.flatnonzero(wide)),
        slope_mps2=_slope(grid, speed, SHORT_S),
        long_s=_long_s(u_speed[speed > rest]),
        motion=motion,
    )


def _slope(time: Floats, speed: Floats, half_s: float) -> Floats:
    half = round(half_s / STEP_S)
    points = np.arange(time.size)
    low, high = np.maximum(points - half, 0), np.minimum(points + half, time.size - 1)
    return np.asarray((speed[high] - speed[low]) / np.maximum(time[high] - time[low], STEP_S))


def _long_s(u_speed: Floats) -> float:
    """Return half the time that a slope over ± it is known to about 0.1 m/s²; at least 1 s.

    Speeds known to u on their own give slopes known to u·√2 / (2·half).
    """
    typical = float(np.median(u_speed)) if u_speed.size else 0.0
    return float(np.clip(7.0 * typical, 1.0, 4.0))


def _grid(time: Floats) -> Floats:
    """Return even times over the log, less the middle of long gaps, where nothing is known."""
    long = np.flatnonzero(np.diff(time) > 3.0 * _EDGE_S)
    starts = np.concatenate([[time[0]], time[long + 1] - _EDGE_S])
    ends = np.concatenate([time[long] + _EDGE_S, [time[-1] + 1e-9]])
    pieces = [np.arange(*piece, STEP_S) for piece in zip(starts, ends, strict=True)]
    return np.concatenate(pieces)


def gap_limit_s(time_s: Floats) -> float:
    """Return the longest time between fixes that is no gap."""
    return max(_LEAST_GAP_S, 2.5 * float(np.median(np.diff(time_s))))


def runs(mask: Bools) -> list[tuple[int, int]]:
    """Return start and end (exclusive) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return list(zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True))


def crossing(time_s: Floats, values: Floats, level: float) -> float:
    """Return where straight pieces between two points first reach `level`; NaN where never.

    `values` may rise to it or fall to it; the first point counts as not yet there.
    """
    side = values >= level
    change = np.flatnonzero(side[1:] != side[0])
    if change.size == 0:
        return float("nan")
    k = int(change[0])
    share = (level - values[k]) / (values[k + 1] - values[k])
    return float(time_s[k] + share * (time_s[k + 1] - time_s[k]))


def built_up(time_s: Floats, values: Floats, run: tuple[int, int], level: float) -> float:
    """Return when `values` rise through `level` at the start of a run of high ones.

    Looked for from the lowest point of the second before the run; the start of the run where they
    do not.
    """
    first, last = run
    low = max(first - round(1.0 / STEP_S), 0)
    low += int(np.argmin(values[low : first + 1]))
    if values[low] >= level:
        return float(time_s[first])
    at = crossing(time_s[low:last], values[low:last], level)
    return at if np.isfinite(at) else float(time_s[first])


def died_down(time_s: Floats, values: Floats, run: tuple[int, int], level: float) -> float:
    """Return when `values` fall through `level` at the end of a run of high ones."""
    n = time_s.size
    backward = (n - run[1], n - run[0])
    return built_up(time_s[::-1], values[::-1], backward, level)


def _between(motion: Motion, grid: Floats, k: Ints) -> tuple[Floats, Floats]:
    """Return speed and acceleration at `grid`, inside the intervals `k` between fixes."""
    time, v, a = motion.time_s, motion.speed_mps, motion.acceleration_mps2
    h = time[k + 1] - time[k]
    s = (grid - time[k]) / h
    v0, v1, m0, m1 = v[k], v[k + 1], h * a[k], h * a[k + 1]
    c2, c3 = 3.0 * (v1 - v0) - 2.0 * m0 - m1, 2.0 * (v0 - v1) + m0 + m1
    speed = v0 + s * (m0 + s * (c2 + s * c3))
    acceleration = (m0 + s * (2.0 * c2 + 3.0 * s * c3)) / h
    stopping = (v0 > 0.0) & (v1 <= 0.0) & (m0 < 0.0)
    speed = np.where(stopping, v0 + s * m0, speed)
    acceleration = np.where(stopping, a[k], acceleration)
    moving = speed > 0.0
    return np.where(moving, speed, 0.0), np.where(moving, acceleration, 0.0)
