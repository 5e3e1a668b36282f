"""The largest deceleration of a stop, from what a foot can have done between and beside the fixes.

A maximum is the figure that noise raises: the largest value of a noisy curve lies too high, of a
smoothed one too low, and between slow fixes nothing is seen of it at all. So the braking once
fully on is taken as what it is, a foot on a pedal: a level, a steady change and an unevenness, a
Gaussian process whose size the fixes tell as far as they can. It is drawn given the fixes, the
receiver's smoothing in the model of what they show, and each draw has its own largest value.

Reference: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, section
2.2 and 5.4 (values from memory); draws as a prior draw put right by its misfit (A. G. Journel and
C. J. Huijbregts, Mining Geostatistics, 1978, conditional simulation; value from memory).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.braking.foot import UNEVEN_MEMORIES_S, UNEVEN_SCALE, log_uneven
from roadtest.measures.braking.seen import Fixes
from roadtest.measures.smoothing import seen_through

Floats = NDArray[np.float64]

_PEAK_S: Final = 0.1  # formats: the largest mean over 0.1 s
_STEP_S: Final = 0.05
_MOST_STEPS: Final = 120
_LEVEL_SD_MPS2: Final = 4.0
_CHANGE_SHARE: Final = 0.1  # of the level, a second: over a whole stop it is a third
_UNEVEN_SHARES: Final = UNEVEN_SCALE * 2.0 ** np.arange(-6.0, 3.0)
_SPEED_SD_MPS: Final = 10.0


@dataclass(frozen=True)
class _Braking:
    """Deceleration over a stretch on an even grid of m times."""

    grid_s: Floats
    level_mps2: float  # about
    rows: Floats  # [n, m], what each deceleration takes off what is shown
    other: Floats  # [n, 2], what speed at the first time and the filter's state there add
    fixes: Fixes

    def kernel(self, share: float, memory_s: float) -> Floats:
        """Return the prior covariance [m, m].

        Unevenness is a Matérn 3/2 process: the force of a leg does not jump.
        """
        into = self.grid_s - self.grid_s[0]
        apart = np.sqrt(3.0) * np.abs(into[:, None] - into) / memory_s
        change = _CHANGE_SHARE * self.level_mps2 * (into - into.mean())
        uneven = (share * self.level_mps2) ** 2 * (1.0 + apart) * np.exp(-apart)
        return np.asarray(_LEVEL_SD_MPS2**2 + np.outer(change, change) + uneven)

    def of_data(self, kernel: Floats) -> Floats:
        """Return the covariance [n, n] of the values shown."""
        return np.asarray(
            self.rows @ kernel @ self.rows.T + self.other @ self.other.T + self.fixes.covariance
        )

    @property
    def misfit(self) -> Floats:
        """[n], of the values shown against the prior's mean; the first of them is about right."""
        seen = self.fixes.values_mps - self.fixes.values_mps[0]
        return np.asarray(seen - self.level_mps2 * self.rows.sum(axis=1))


def peak_draws(
    fixes: Fixes, stretch: tuple[float, float], lag_s: float, count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [count] of the largest mean deceleration over 0.1 s, m/s².

    Parameters
    ----------
    fixes : of the stretch
    stretch : from when the brakes are fully on to rest, or to where the pedal is let go, s
    lag_s : with which time constant the receiver smooths its speed
    """
    braking = _braking(fixes, stretch, lag_s)
    feet = list(itertools.product(_UNEVEN_SHARES.tolist(), UNEVEN_MEMORIES_S))
    kernels = [braking.kernel(*foot) for foot in feet]
    logs = np.array([_log_evidence(braking, kernel) for kernel in kernels])
    shares = np.array([share for share, _ in feet])
    logs += log_uneven(shares)
    weight = np.exp(logs - logs.max())
    pick = rng.choice(logs.size, count, p=weight / weight.sum())
    peak = np.empty(count)
    for one in np.unique(pick).tolist():
        mine = np.flatnonzero(pick == one)
        drawn = _drawn(braking, kernels[one], mine.size, rng)
        peak[mine] = _largest(drawn, float(braking.grid_s[1] - braking.grid_s[0]))
    return peak


def _braking(fixes: Fixes, stretch: tuple[float, float], lag_s: float) -> _Braking:
    start, end = stretch
    steps = int(np.clip(np.ceil((end - start) / _STEP_S), 2, _MOST_STEPS))
    grid = np.linspace(start, end, steps + 1)
    step = float(grid[1] - grid[0])
    lost = _integral(grid.size, step)
    if fixes.means:
        way = np.array([np.interp(fixes.edges_s, grid, column) for column in lost.T]).T
        shown = np.diff(way, axis=0) / np.diff(fixes.edges_s)[:, None]
        state = np.zeros(shown.shape[0])
    else:
        shown = seen_through(lag_s, grid, fixes.edges_s)
        state = np.exp(-(fixes.edges_s - start) / max(lag_s, 1e-3))
    level = abs(float(np.polyfit(fixes.middle_s, fixes.values_mps, 1)[0]))
    # At the first time the filter lags behind by what the braking before it was.
    other = np.column_stack([np.full(state.size, _SPEED_SD_MPS), 1.5 * level * lag_s * state])
    return _Braking(grid, level, -shown @ lost, other, fixes)


def _integral(size: int, step: float) -> Floats:
    """Return the rows [m, m] that make of values on an even grid their running integral."""
    whole = np.tril(np.full((size, size), step)) - 0.5 * step * np.eye(size)
    whole[:, 0] -= 0.5 * step
    whole[0] = 0.0
    return whole


def _log_evidence(braking: _Braking, kernel: Floats) -> float:
    lower = np.linalg.cholesky(braking.of_data(kernel))
    white = np.linalg.solve(lower, braking.misfit)
    return float(-0.5 * white @ white - np.log(np.diag(lower)).sum())


def _drawn(braking: _Braking, kernel: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Return draws [count, m] of the deceleration, given what was shown."""
    size = braking.grid_s.size
    root = np.linalg.cholesky(kernel + 1e-9 * np.eye(size))
    prior = rng.standard_normal((count, size)) @ root.T
    noise = rng.standard_normal((count, braking.fixes.values_mps.size))
    shown = prior @ braking.rows.T + noise @ np.linalg.cholesky(braking.fixes.covariance).T
    shown += rng.standard_normal((count, 2)) @ braking.other.T
    away = braking.misfit - shown
    gain = np.linalg.solve(braking.of_data(kernel), braking.rows @ kernel)
    return np.asarray(braking.level_mps2 + prior + away @ gain)


def _largest(drawn: Floats, step_s: float) -> Floats:
    """Return the largest mean over 0.1 s of each row of decelerations [c, m]."""
    lost = np.cumsum(0.5 * step_s * (drawn[:, 1:] + drawn[:, :-1]), axis=1)
    lost = np.concatenate([np.zeros((drawn.shape[0], 1)), lost], axis=1)
    into = step_s * np.arange(lost.shape[1])
    starts = into[into <= into[-1] - _PEAK_S + 1e-9] if into[-1] > _PEAK_S else into[:1]
    ends = np.array([np.interp(starts + min(_PEAK_S, into[-1]), into, row) for row in lost])
    begins = np.array([np.interp(starts, into, row) for row in lost])
    return np.asarray(((ends - begins) / min(_PEAK_S, into[-1])).max(axis=1))
