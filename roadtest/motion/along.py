"""Speed and acceleration along the path, from the states of one axis or two."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.system import Knots

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_WAY_FROM_MPS = 1.0
"""Positions make 0.3 to 0.5 m/s of a car at rest (simulated receivers); twice that is motion."""


def rates(states: Floats) -> Floats:
    """Return velocity and acceleration [2, c, n] of kinematic states [c, n, k]."""
    return np.asarray(states[:, :, -3:-1].transpose(2, 0, 1))


def along_path(drawn: Floats, knots: Knots) -> tuple[Floats, Floats]:
    """Return speed and acceleration along the path, [d, n] each; speed is never negative.

    With two axes they are the components along the mean velocity: the length of a velocity that
    is not known exactly would be too large.

    Parameters
    ----------
    drawn : [d, 2, c, n] float: d draws of velocity and acceleration on c axes
    """
    velocity, change = drawn[:, 0], drawn[:, 1]
    if velocity.shape[1] == 2:
        way = _way(knots.time_s, velocity.mean(axis=0))
        return np.maximum((velocity * way).sum(axis=1), 0.0), (change * way).sum(axis=1)
    speed, acceleration = velocity[:, 0], change[:, 0]
    resting = np.array([_after_rest(row, knots) for row in speed])
    moving = (speed > 0.0) & ~resting
    return np.where(moving, speed, 0.0), np.where(moving, acceleration, 0.0)


def _way(time_s: Floats, velocity: Floats) -> Floats:
    """Return the direction [2, n] of a velocity; where it is next to nothing, that around it.

    A car that stands keeps its heading; the direction of what the noise makes of its speed would
    turn all of it into motion.
    """
    length = np.hypot(velocity[0], velocity[1])
    known = length > _WAY_FROM_MPS
    if not known.any():
        return np.asarray(velocity / np.maximum(length, 1e-9))
    way = [np.interp(time_s, time_s[known], axis[known] / length[known]) for axis in velocity]
    return np.asarray(way / np.maximum(np.hypot(way[0], way[1]), 1e-9))


def _after_rest(speed: Floats, knots: Knots) -> Bools:
    """Return where [n] the car has come to rest: from the speed's first fall below zero to the cut.

    Between the two, the chain's speed means nothing.
    """
    at_rest = np.zeros(speed.size, dtype=bool)
    low = np.concatenate([[-1], np.flatnonzero(speed <= 0.0)])
    high = np.concatenate([[-1], np.flatnonzero(speed > 1.0)])
    for end in np.flatnonzero(knots.cut) + 1:
        fast = high[np.searchsorted(high, end) - 1]
        start = low[min(int(np.searchsorted(low, fast, "right")), low.size - 1)]
        if fast < start < end:
            at_rest[start:end] = True
    return at_rest
