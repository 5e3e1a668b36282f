"""What a receiver shows of one stretch: speeds at its fixes, or mean speeds between positions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import POSITION_MODEL, SPEED_MODEL, Motion
from roadtest.motion.kinematics import wandering

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fixes:
    """What was observed over a stretch, and the receiver's errors in it."""

    edges_s: Floats  # [n] times, or [n+1] for means between them
    values_mps: Floats  # [n]
    covariance: Floats  # [n, n]
    means: bool

    @property
    def middle_s(self) -> Floats:
        """[n], to which moment each value belongs."""
        return 0.5 * (self.edges_s[1:] + self.edges_s[:-1]) if self.means else self.edges_s


def fixes_between(
    motion: Motion, mean_path: tuple[Floats, Floats], start_s: float, end_s: float
) -> Fixes | None:
    """Return what the fixes of a stretch show, or None when there are fewer than three.

    mean_path : times [k] and speeds [k] as shown on average; an outlying fix is told from it
    """
    time = motion.time_s
    inside = (time >= start_s) & (time <= end_s) & motion.observed.seen
    if np.count_nonzero(inside) < 3:
        return None
    time, values = time[inside], motion.observed.values[:, inside]
    if motion.observed.with_position:
        return _from_positions(time, values, motion)
    variance = _robust(values[0] - np.interp(time, *mean_path), motion)
    variance = variance + motion.observed.rounding[inside]
    return Fixes(
        time, values[0], np.diag(variance) + wandering(time, SPEED_MODEL.slow), means=False
    )


def _from_positions(time: Floats, places: Floats, motion: Motion) -> Fixes:
    """Return mean speeds between positions [2, n], along the line the car drives."""
    way = places[:, -1] - places[:, 0]
    along = (way / max(float(np.hypot(*way)), 1e-9)) @ places
    h = np.diff(time)
    noise = np.diag(np.full(time.size, motion.noise.sd**2)) + wandering(time, POSITION_MODEL.slow)
    differences = (np.eye(time.size, k=1) - np.eye(time.size))[:-1] / h[:, None]
    return Fixes(time, np.diff(along) / h, differences @ noise @ differences.T, means=True)


def _robust(misfit: Floats, motion: Motion) -> Floats:
    """Return the variance [n] each fix deserves: outlying ones are believed less (Student's t)."""
    square = motion.noise.sd**2
    return np.asarray(square * (motion.noise.tail + misfit**2 / square) / (motion.noise.tail + 1.0))
