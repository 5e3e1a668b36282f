"""What a receiver shows of one stretch: speeds at its fixes, or mean speeds between positions."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import POSITION_MODEL, SPEED_MODEL, Motion
from roadtest.motion.kinematics import wandering
from roadtest.motion.noise import Noise

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fixes:
    """What was observed over a stretch, and the receiver's errors in it."""

    edges_s: Floats  # [n] times, or [n+1] for means between them
    values_mps: Floats  # [n]
    covariance: Floats  # [n, n]
    means: bool
    noise: Noise | None = None  # of speeds, heavy-tailed
    white: Floats | None = None  # [n], its part of their variance

    @property
    def middle_s(self) -> Floats:
        """[n], to which moment each value belongs."""
        return 0.5 * (self.edges_s[1:] + self.edges_s[:-1]) if self.means else self.edges_s

    def believed(self, misfit: Floats) -> Fixes:
        """Return the fixes as they are to be believed after a model's draws left misfits [c, n].

        What the receiver's slow errors explain of a misfit speaks against no fix.

        Reference: K. L. Lange, R. J. A. Little and J. M. G. Taylor, J. Am. Statist. Assoc. 84
        (1989) 881 (Student's t as a mixture of normals; from memory).
        """
        if self.noise is None or self.white is None:
            return self
        share = np.linalg.solve(self.covariance, np.diag(self.white))  # [n, n]
        left = self.white - self.white * np.diag(share)
        square = np.square(misfit @ share).mean(axis=0) + left
        white = _variance(square, self.noise)
        covariance = self.covariance + np.diag(white - self.white)
        return replace(self, covariance=covariance, white=white)

    def thinned(self, after_s: float, window_s: float) -> Fixes:
        """Return fixes of which those after a time are put together, mean by mean, in windows.

        What is smooth loses nothing by it, and many fixes a second cost no more than few.
        """
        window = np.floor((self.edges_s - after_s) / window_s)
        late = window >= 0.0
        if self.means or not late.any():
            return self
        names = np.where(late, window, -1.0 - np.arange(window.size)[::-1])
        kinds, of = np.unique(names, return_inverse=True)
        mean = np.equal.outer(np.arange(kinds.size), of) / np.diag(self.covariance)
        mean /= mean.sum(axis=1, keepdims=True)
        covariance = mean @ self.covariance @ mean.T
        return Fixes(mean @ self.edges_s, mean @ self.values_mps, covariance, means=False)


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
    white = _variance(np.square(values[0] - np.interp(time, *mean_path)), motion.noise)
    other = wandering(time, SPEED_MODEL.slow) + np.diag(motion.observed.rounding[inside])
    return Fixes(time, values[0], np.diag(white) + other, False, motion.noise, white)


def _from_positions(time: Floats, places: Floats, motion: Motion) -> Fixes:
    """Return mean speeds between positions [2, n], along the line the car drives."""
    way = places[:, -1] - places[:, 0]
    along = (way / max(float(np.hypot(*way)), 1e-9)) @ places
    h = np.diff(time)
    noise = np.diag(np.full(time.size, motion.noise.sd**2)) + wandering(time, POSITION_MODEL.slow)
    differences = (np.eye(time.size, k=1) - np.eye(time.size))[:-1] / h[:, None]
    return Fixes(time, np.diff(along) / h, differences @ noise @ differences.T, means=True)


def _variance(misfit_square: Floats, noise: Noise) -> Floats:
    """Return the variance [n] each fix deserves: outlying ones are believed less (Student's t)."""
    square = noise.sd**2
    return np.asarray(square * (noise.tail + misfit_square / square) / (noise.tail + 1.0))
