"""When speed rises through a level, between samples, in every draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Draws, travelled

Floats = NDArray[np.float64]

_PIECES: Final = 4  # between knots: at most 0.05 s, over which speed is as good as straight


@dataclass(frozen=True)
class Path:
    """Draws of speed and distance on a fine grid: [k] times, [c, k] draws."""

    time_s: Floats
    speed_mps: Floats
    distance_m: Floats


def fine_path(draws: Draws, from_s: float, to_s: float) -> Path:
    """Return the draws between two times, refined by cubic Hermite interpolation of speed."""
    keep = (draws.time_s >= from_s) & (draws.time_s <= to_s)
    time, speed = draws.time_s[keep], draws.speed_mps[:, keep]
    slope = draws.acceleration_mps2[:, keep]
    h = np.diff(time)
    x = np.arange(_PIECES) / _PIECES
    grid = np.append((time[:-1, None] + h[:, None] * x).ravel(), time[-1:])
    rise = (1.0 + 2.0 * x) * (1.0 - x) ** 2
    fine = (
        rise * speed[:, :-1, None]
        + (1.0 - rise) * speed[:, 1:, None]
        + h[:, None] * (x * (1.0 - x) ** 2) * slope[:, :-1, None]
        - h[:, None] * (x**2 * (1.0 - x)) * slope[:, 1:, None]
    ).reshape(speed.shape[0], -1)
    fine = np.concatenate([fine, speed[:, -1:]], axis=1)
    return Path(grid, fine, travelled(grid, fine, np.asarray(np.gradient(fine, grid, axis=1))))


def first_rise(path: Path, level_mps: float) -> Floats:
    """Return when speed first reaches a level, [c] s, NaN where it starts above or never does."""
    return _rise(path, path.speed_mps >= level_mps, level_mps)


def steady_rise(path: Path, level_mps: float) -> Floats:
    """Return when speed rises through a level, [c] s: the middle of first and last crossing.

    A draw that wavers about the level is not counted early, as its first crossing alone would be.
    The path should end where speed is highest.
    """
    first = first_rise(path, level_mps)
    above = path.speed_mps >= level_mps
    since = np.flip(np.logical_and.accumulate(np.flip(above, axis=1), axis=1), axis=1)
    return 0.5 * (first + _rise(path, since, level_mps))


def at_time(path: Path, rows: Floats, time_s: Floats) -> Floats:
    """Return `rows` [c, k] of the path at one time in each draw [c], NaN for NaN."""
    known = np.isfinite(time_s)
    when = np.where(known, time_s, path.time_s[0])
    after = np.clip(np.searchsorted(path.time_s, when), 1, path.time_s.size - 1)
    share = (when - path.time_s[after - 1]) / (path.time_s[after] - path.time_s[after - 1])
    line = np.arange(rows.shape[0])
    value = (1.0 - share) * rows[line, after - 1] + share * rows[line, after]
    return np.where(known, value, np.nan)


def first_distance(path: Path, distance_m: Floats) -> Floats:
    """Return when a distance on the path's own count is reached in each draw, [c] s or NaN."""
    past = path.distance_m >= distance_m[:, None]
    after = np.argmax(past, axis=1)
    line = np.arange(past.shape[0])
    before = np.maximum(after - 1, 0)
    gap = path.distance_m[line, after] - path.distance_m[line, before]
    share = (distance_m - path.distance_m[line, before]) / np.where(gap > 0.0, gap, np.nan)
    when = path.time_s[before] + share * (path.time_s[after] - path.time_s[before])
    return np.where(past.any(axis=1) & (after > 0), when, np.nan)


def _rise(path: Path, above: NDArray[np.bool_], level_mps: float) -> Floats:
    """Return the crossing just before the first True of each row of `above` [c, k]."""
    after = np.argmax(above, axis=1)
    line = np.arange(above.shape[0])
    before = np.maximum(after - 1, 0)
    low, high = path.speed_mps[line, before], path.speed_mps[line, after]
    share = (level_mps - low) / np.where(high > low, high - low, np.nan)
    when = path.time_s[before] + share * (path.time_s[after] - path.time_s[before])
    return np.where(above.any(axis=1) & (after > 0), when, np.nan)
