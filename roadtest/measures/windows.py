"""What the receiver says over a stretch: mean speeds and altitudes in windows, and their errors.

Speeds are taken as the receiver gave them, not as the motion estimate smoothed them, so that each
window's error is the receiver's own: white noise over the root of their number, and the slowly
wandering part that the motion's model of the receiver has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.stretch import Stretch
from roadtest.motion.estimate import POSITION_MODEL, SPEED_MODEL
from roadtest.motion.kinematics import wandering
from roadtest.motion.noise import Noise

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Speeds = tuple[Floats, Floats, Floats, Floats, Floats]

_MOST_WINDOWS: Final = 60
ALTITUDE_WHITE_M: Final = 0.3  # of one fix, rounding to 0.1 m included (common practice)
STEEPEST: Final = 0.3  # no public road is steeper
JUMP_M: Final = 4.0  # a step beyond what the steepest road gives: satellites changed
_NO_WHITE: Final = 1e-4  # of the variance of speeds from places, whose errors neighbours share


@dataclass(frozen=True)
class Readings:
    """One stretch in w windows on a grid of k times."""

    run: Stretch
    edges: Ints  # [w+1], on the grid
    average: Floats  # [w, k], the weights that make each window's mean
    speed_mps: Floats  # [w]
    covariance: Floats  # [w, w], (m/s)²
    white: Floats  # [w], (m/s)², the part of it that is each window's own
    tail: Floats  # [w], degrees of freedom of Student's t that has about the tails of that part
    altitude_m: Floats  # [w], NaN where the log says none
    altitude_variance: Floats  # [w], white part
    wander: Floats | None = None  # [w, w], part of `covariance`, of which the size is not known

    @property
    def ends_s(self) -> Floats:
        """First and last moment of each window [w, 2]."""
        ends = self.run.time_s[self.edges]
        return np.stack([ends[:-1], ends[1:]], axis=1)

    @property
    def middle_s(self) -> Floats:
        """Middle of each window."""
        return np.asarray(self.ends_s.mean(axis=1))


def read_windows(evidence: Evidence, run: Stretch, window_s: float) -> Readings:
    """Return the readings over `run` in windows of at least `window_s`."""
    edges = _edges(evidence, run, window_s)
    altitude, variance = _altitudes(evidence, run, edges)
    if evidence.motion.source == "position":
        speeds = _from_positions(run, edges)
    else:
        speeds = _from_speeds(evidence, run, edges)
    return Readings(run, edges, *speeds, altitude, variance)


def _edges(evidence: Evidence, run: Stretch, window_s: float) -> Ints:
    """Return window edges on the grid, each window holding at least one fix."""
    time = run.time_s
    fixes = _fixes(evidence, run)
    window = max(window_s, run.duration_s / _MOST_WINDOWS)
    number = np.floor((time[fixes] - time[fixes[0]]) / window)
    starts = fixes[np.flatnonzero(np.diff(number, prepend=-1.0) > 0.0)]
    return np.asarray(starts if starts[-1] == fixes[-1] else np.append(starts, fixes[-1]))


def fix_count(evidence: Evidence, run: Stretch) -> int:
    """Return how many fixes with an observation lie in a stretch."""
    return int(_fixes(evidence, run).size)


def _fixes(evidence: Evidence, run: Stretch) -> Ints:
    """Return where on the run's grid there are fixes with an observation."""
    motion = evidence.motion
    seen = motion.time_s[motion.observed.seen]
    at = np.clip(np.searchsorted(seen, run.time_s - 1e-6), 0, seen.size - 1)
    return np.flatnonzero(np.abs(seen[at] - run.time_s) < 1e-6)


def _from_speeds(evidence: Evidence, run: Stretch, edges: Ints) -> _Speeds:
    """Return averaging weights, mean speeds, their covariance, white part and tails.

    Outlying fixes are believed less. They are told against the motion, which follows every fix of a
    slow log: so only how much farther from it some are than others.
    """
    motion, time = evidence.motion, run.time_s
    fixes = _fixes(evidence, run)
    index = np.searchsorted(motion.time_s, time[fixes] - 1e-6)
    said = motion.observed.values[0, index]
    variance = _white_variance(motion.noise) + motion.observed.rounding[index]
    square = (said - run.speed_mps[fixes]) ** 2 / variance
    trust = 1.0 / (motion.noise.tail + square)  # Student's t
    trust /= trust.mean()
    # A window holds its first edge, not its last; only the run's very last belongs to one.
    window = np.minimum(np.searchsorted(edges, fixes, "right") - 1, edges.size - 2)
    average = np.zeros((edges.size - 1, time.size))
    average[window, fixes] = trust
    total = average.sum(axis=1)
    average /= total[:, None]
    white = np.bincount(window, trust * variance, edges.size - 1) / total**2
    covariance = np.diag(white)
    on_grid = average[:, fixes]
    for error in SPEED_MODEL.slow:
        covariance += on_grid @ error.covariance(time[fixes]) @ on_grid.T
    tail = np.asarray(motion.noise.tail * np.bincount(window, minlength=edges.size - 1))
    return average, on_grid @ said, covariance, white, tail


def _white_variance(noise: Noise) -> float:
    """Return the variance that one fix of this noise is worth: 1 / Fisher's information.

    Of a Student's t of scale s and ν degrees of freedom it is s²·(ν + 3)/(ν + 1).
    """
    return noise.sd**2 * (noise.tail + 3.0) / (noise.tail + 1.0)


def _from_positions(run: Stretch, edges: Ints) -> _Speeds:
    """Return the same from distances, for logs that give positions only.

    Errors of position at the edges, the wandering part and a rest, make errors of mean speed.
    The size of the rest is what the draws show beyond the wandering.
    """
    time = run.time_s
    spans = np.diff(time[edges])
    average = np.zeros((spans.size, time.size))
    for k in range(spans.size):
        piece = slice(int(edges[k]), int(edges[k + 1]) + 1)
        step = np.diff(time[piece])
        average[k, piece][:-1] += 0.5 * step
        average[k, piece][1:] += 0.5 * step
    average /= spans[:, None]
    moves = np.diff(run.distance_draws_m[:, edges], axis=1)
    difference = np.zeros((spans.size, edges.size))
    rows = np.arange(spans.size)
    difference[rows, rows + 1], difference[rows, rows] = 1.0, -1.0
    wander = wandering(time[edges], POSITION_MODEL.slow)
    moved = difference @ wander @ difference.T
    beyond = float(np.mean(moves.var(axis=0) - np.diag(moved)))
    rest = max(0.5 * beyond, 1e-4)
    covariance = (moved + rest * difference @ difference.T) / np.outer(spans, spans)
    white = np.asarray(_NO_WHITE * np.diag(covariance))
    return average, moves.mean(axis=0) / spans, covariance, white, np.full(spans.size, np.inf)


def _altitudes(evidence: Evidence, run: Stretch, edges: Ints) -> tuple[Floats, Floats]:
    """Return the mean altitude in each window and its white variance; NaN where there is none."""
    time = run.time_s[edges]
    gps = evidence.gps.time_s - evidence.start_unix_s
    inside = (gps >= time[0]) & (gps < time[-1]) & np.isfinite(evidence.gps.altitude_m)
    window = np.searchsorted(time, gps[inside], "right") - 1
    count = np.bincount(window, minlength=time.size - 1).astype(np.float64)
    total = np.bincount(window, evidence.gps.altitude_m[inside], time.size - 1)
    some = count > 0
    mean = np.where(some, total / np.maximum(count, 1.0), np.nan)
    heights = mean[some]
    walked = np.interp(0.5 * (time[1:] + time[:-1]), run.time_s, run.distance_draws_m.mean(axis=0))
    if np.any(np.abs(np.diff(heights)) > STEEPEST * np.diff(walked[some]) + JUMP_M):
        mean[:] = np.nan
    return mean, ALTITUDE_WHITE_M**2 / np.maximum(count, 1.0)
