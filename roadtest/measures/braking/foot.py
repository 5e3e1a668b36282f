"""What is thought of a foot on a brake pedal before any fix: its times, and how uneven it is."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.braking.ramp import speeds_by_steps
from roadtest.measures.braking.seen import Fixes

Floats = NDArray[np.float64]

# Times a foot takes, s: from first bite to full braking, and from throttle to brake. Texts on
# driving and on accidents give 0.1 to 0.3 s for a pedal hit hard and up to twice that for others.
# Nothing is likelier inside these limits (of a time: its logarithm), and they are good to a fifth,
# which leaves 19 of 20 within them. Common practice, no published source.
_FOOT_S: Final = (0.1, 0.6)
_LIMITS_GOOD_TO: Final = 1.2
FEET_S: Final = (_FOOT_S[0] / _LIMITS_GOOD_TO, _FOOT_S[1] * _LIMITS_GOOD_TO)
"""Between which a foot's times lie for certain."""
# How uneven a foot is, as a share of the braking, and over which time it forgets: tried and
# weighted, shares by a half-normal density with the usual 4 % as its root mean square, so that
# brakes at their limit may be even and no foot pumps, times alike. Common practice, no published
# source.
UNEVEN_SCALE: Final = 0.04
UNEVEN_MEMORIES_S: Final = (0.15, 0.3, 0.6)
_UNEVEN_SHARES: Final = UNEVEN_SCALE * 2.0 ** np.arange(-3.0, 2.0)
_CELL_S: Final = 0.05
_MOST_CELLS: Final = 120


@dataclass(frozen=True)
class Uneven:
    """One way in which a foot may be uneven."""

    share: float  # standard deviation, of the braking
    memory_s: float

    @property
    def log_prior(self) -> float:
        """Return the logarithm of its weight: the shares tried have even steps of logarithm."""
        return float(log_uneven(np.array(self.share)))

    def kernel(self, middle_s: Floats, level_mps2: float) -> Floats:
        """Return the covariance [k, k] of what it adds to a braking at times [k].

        A Matérn 3/2 process: the force of a leg does not jump.
        """
        apart = np.sqrt(3.0) * np.abs(middle_s[:, None] - middle_s) / self.memory_s
        return np.asarray((self.share * level_mps2) ** 2 * (1.0 + apart) * np.exp(-apart))


UNEVEN: Final = tuple(
    Uneven(share, memory)
    for share, memory in itertools.product(_UNEVEN_SHARES.tolist(), UNEVEN_MEMORIES_S)
)


def log_uneven(share: Floats) -> Floats:
    """Return the log weight of shares that are tried at even steps of their logarithm."""
    return np.asarray(np.log(share) - 0.5 * (share / UNEVEN_SCALE) ** 2)


def log_time(seconds: Floats) -> Floats:
    """Return the log weight of times [g] that are tried at even steps of their logarithm.

    Reference: JCGM 101:2008, 6.4.3 (rectangular distribution with inexactly prescribed limits).
    """
    middle, half = np.mean(np.log(_FOOT_S)), 0.5 * np.diff(np.log(_FOOT_S))[0]
    inexact = np.log(_LIMITS_GOOD_TO)
    off = np.clip(np.abs(np.log(seconds) - middle), half - inexact, half + inexact - 1e-6)
    return np.asarray(np.log(np.log((half + inexact) / off)))


@dataclass(frozen=True)
class Cells:
    """A stretch of braking in k cells of time, over each of which a foot adds evenly."""

    edges_s: Floats  # [k+1]
    reach: Floats  # [n, k], what each adds to each speed shown

    @classmethod
    def of(cls, fixes: Fixes, stretch: tuple[float, float], lag_s: float) -> Cells:
        """Return them over a stretch as fixes show it through a smoothing of `lag_s`."""
        length = max(stretch[1] - stretch[0], 4.0 * _CELL_S)
        count = int(np.clip(np.ceil(length / _CELL_S), 4, _MOST_CELLS))
        edges = stretch[0] + np.linspace(0.0, length, count + 1)
        return cls(edges, speeds_by_steps(fixes.middle_s, edges, lag_s))

    @property
    def middle_s(self) -> Floats:
        """[k], middles of the cells."""
        return 0.5 * (self.edges_s[1:] + self.edges_s[:-1])

    def speeds(self, time_s: Floats, uneven_mps2: Floats) -> Floats:
        """Return the speeds [c, m] at times [c, m] that what a foot adds [c, k] makes."""
        made = np.zeros((uneven_mps2.shape[0], self.edges_s.size))
        made[:, 1:] = np.cumsum(uneven_mps2 * np.diff(self.edges_s), axis=1)
        pairs = zip(time_s, made, strict=True)
        return np.array([np.interp(times, self.edges_s, row) for times, row in pairs])

    def draw(
        self, kernel: Floats, errors: Floats, misfit: Floats, rng: np.random.Generator
    ) -> Floats:
        """Return a draw [c, k] of what a foot adds, for each misfit [c, n] of the speeds shown.

        A draw from before any fix, put right by what it leaves unexplained.

        Parameters
        ----------
        kernel : [k, k], covariance of what it adds
        errors : [n, n], covariance of the receiver's errors
        """
        count, n = misfit.shape
        k = kernel.shape[0]
        root = np.linalg.cholesky(kernel + 1e-9 * kernel[0, 0] * np.eye(k))
        before = rng.standard_normal((count, k)) @ root.T
        shown = before @ self.reach.T
        shown += rng.standard_normal((count, n)) @ np.linalg.cholesky(errors).T
        gain = np.linalg.solve(errors + self.reach @ kernel @ self.reach.T, self.reach @ kernel)
        return np.asarray(before + (misfit - shown) @ gain)
