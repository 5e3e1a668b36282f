"""A second receiver in the car, set against the one whose speed is used."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import stdtrit

from roadtest.geodesy import step_lengths
from roadtest.logs.model import Floats, GpsLog
from roadtest.motion.estimate import Motion
from roadtest.quantity import Quantity
from roadtest.receivers import has_speed

_SLOWEST_MPS: Final = 3.0  # below it receivers smooth and clamp
_LONGEST_STEP_S: Final = 3.0  # across longer breaks neither log knows the speed
_BLOCK_S: Final = 30.0
"""Over which differences are averaged before their scatter is taken: receivers' errors hang
together for tens of seconds (a recording showed 0.07 still at 20 s)."""
_FEWEST_BLOCKS: Final = 3


def speed_difference(
    motion: Motion, start_unix_s: float, other: GpsLog
) -> tuple[Quantity, int] | None:
    """Return the mean of the other receiver's speed less the motion's, m/s, and of how many fixes.

    While the car moves. The mean of blocks of 30 s; its interval is Student's t on their scatter.
    None where fewer than three blocks can be compared.
    """
    time, speed = _speeds(other)
    at = time - start_unix_s
    index = np.clip(np.searchsorted(motion.time_s, at), 1, motion.time_s.size - 1)
    close = motion.time_s[index] - motion.time_s[index - 1] <= _LONGEST_STEP_S
    inside = (at >= motion.time_s[0]) & (at <= motion.time_s[-1]) & close & np.isfinite(speed)
    at, speed = at[inside], speed[inside]
    ours = np.interp(at, motion.time_s, motion.speed_mps)
    moving = ours > _SLOWEST_MPS
    means = _block_means(at[moving], (speed - ours)[moving])
    if means.size < _FEWEST_BLOCKS:
        return None
    factor = float(stdtrit(means.size - 1, 0.975))
    u95 = factor * float(means.std(ddof=1)) / np.sqrt(means.size)
    return Quantity(float(means.mean()), float(u95), "m/s"), int(moving.sum())


def _speeds(log: GpsLog) -> tuple[Floats, Floats]:
    """Return times and speeds: as reported, or way over time between neighbouring fixes."""
    if has_speed(log):
        return log.time_s, log.speed_mps
    interval = np.diff(log.time_s)
    speed = step_lengths(log.latitude_deg, log.longitude_deg) / interval
    speed[interval > _LONGEST_STEP_S] = np.nan
    return 0.5 * (log.time_s[1:] + log.time_s[:-1]), speed


def _block_means(time_s: Floats, values: Floats) -> Floats:
    if not values.size:
        return values
    _, block = np.unique(np.floor(time_s / _BLOCK_S), return_inverse=True)
    return np.asarray(np.bincount(block, weights=values) / np.bincount(block))
