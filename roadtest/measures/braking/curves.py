"""Joint draws of one stretch of motion as curves: values between knots, and crossings.

Speed between knots is the cubic Hermite of speed and acceleration at them. In the interval in
which a draw comes to rest it falls evenly to zero and stays there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Draws

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_HALVINGS = 30


@dataclass(frozen=True)
class State:
    """Speed, acceleration and distance of every draw at one moment, [c] each."""

    speed_mps: Floats
    acceleration_mps2: Floats
    distance_m: Floats


@dataclass(frozen=True)
class Curves:
    """c draws of the motion over k knots."""

    draws: Draws

    @property
    def time_s(self) -> Floats:
        """[k], times of the knots."""
        return self.draws.time_s

    @property
    def count(self) -> int:
        """Number of draws c."""
        return int(self.draws.speed_mps.shape[0])

    def at(self, time_s: Floats) -> State:
        """Return the state of each draw at its own time [c], s, inside the knots."""
        index = np.searchsorted(self.time_s, time_s, "right") - 1
        index = np.clip(index, 0, self.time_s.size - 2)
        return self._inside(index, time_s - self.time_s[index])

    def falls_to(self, level_mps: Floats, after_s: Floats) -> Floats:
        """Return when [c] each draw's speed first falls to its level [c] after a time [c].

        NaN where it does not. A draw already at or below its level does so at once.
        """
        speed = self.draws.speed_mps
        past = (self.time_s[None, :] > after_s[:, None]) & (speed <= level_mps[:, None])
        found = past.any(axis=1)
        end = np.maximum(np.argmax(past, axis=1), 1)
        low = np.clip(after_s - self.time_s[end - 1], 0.0, None)
        high = self.time_s[end] - self.time_s[end - 1]
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            above = self._inside(end - 1, middle).speed_mps > level_mps
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        return np.where(found, self.time_s[end - 1] + high, np.nan)

    def _inside(self, index: Ints, into_s: Floats) -> State:
        """Return the state [c] of each draw, `into_s` [c] after knot `index` [c]."""
        row = np.arange(self.count)
        draws = self.draws
        h = self.time_s[index + 1] - self.time_s[index]
        v0, v1 = draws.speed_mps[row, index], draws.speed_mps[row, index + 1]
        a0, a1 = draws.acceleration_mps2[row, index], draws.acceleration_mps2[row, index + 1]
        u = into_s / h
        rise = v1 - v0
        c2 = 3.0 * rise - (2.0 * a0 + a1) * h
        c3 = (a0 + a1) * h - 2.0 * rise
        speed = v0 + u * (a0 * h + u * (c2 + u * c3))
        acceleration = a0 + u * (2.0 * c2 + 3.0 * u * c3) / h
        way = h * u * (v0 + u * (a0 * h / 2.0 + u * (c2 / 3.0 + u * c3 / 4.0)))
        rests = (v1 <= 0.0) & (v0 > 0.0)
        until = np.where(rests & (a0 < 0.0), np.minimum(v0 / np.maximum(-a0, 1e-9), h), h)
        t = np.minimum(into_s, until)
        even = v0 / until
        speed = np.where(rests, v0 - even * t, speed)
        acceleration = np.where(rests, np.where(into_s < until, -even, 0.0), acceleration)
        way = np.where(rests, v0 * t - 0.5 * even * t * t, way)
        return State(speed, acceleration, draws.distance_m[row, index] + way)
