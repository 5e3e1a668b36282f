"""How much later a receiver shows its speed than its places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.special import logsumexp

from roadtest.motion.estimate import Motion
from roadtest.motion.ground import Ground

Floats = NDArray[np.float64]

PRIOR_S: Final = (0.4, 0.5)
"""Value and standard uncertainty. Receivers recorded on roads show speed 0.1 to 1.5 s late, others
at once. Common practice, no published source."""
_WINDOW_S: Final = 4.0
_LONGEST_S: Final = 6.0  # with fixes missing
_STRAIGHT_RAD: Final = np.radians(5.0)
_LEAST_MPS: Final = 3.0
_LEAST_WINDOWS: Final = 5
_MOST_WINDOWS: Final = 400  # spread over the log: what an hour tells is more than enough
# Of the misfits of windows: their size is not known, and a few lie far out (Student's t).
_SIZES_M: Final = np.geomspace(0.03, 3.0, 25)
_TAIL: Final = 10.0
_COARSE_S: Final = np.linspace(-1.0, 3.0, 81)
_FINE: Final = 61  # steps over five standard uncertainties either side, or two coarse ones


@dataclass(frozen=True)
class Lateness:
    """Of speed against place, s, with its standard uncertainty."""

    value_s: float = 0.0
    u_s: float = 0.0

    @property
    def likely(self) -> tuple[float, float, float]:
        """It, and a standard uncertainty to either side: less, itself, more."""
        return self.value_s - self.u_s, self.value_s, self.value_s + self.u_s


@dataclass(frozen=True)
class _Windows:
    """Stretches of a few seconds: their ends, and the chords from place to place, [n] each."""

    start_s: Floats
    end_s: Floats
    chord_m: Floats


def lateness(motion: Motion, ground: Ground) -> Lateness:
    """Return how late speeds are, from the straight stretches on which the car changes speed.

    The chord from place to place over a window of 4 s is as long as the way that speeds tell of the
    window D later. What D is, is a grid weighted by how well all windows agree, and the prior.
    """
    if motion.source == "position":
        return Lateness()
    windows = _windows(motion, ground)
    if windows.chord_m.size < _LEAST_WINDOWS:
        return Lateness(*PRIOR_S)
    coarse = _posterior(motion, windows, _COARSE_S)
    reach = max(5.0 * coarse.u_s, 2.0 * float(_COARSE_S[1] - _COARSE_S[0]))
    return _posterior(motion, windows, coarse.value_s + np.linspace(-reach, reach, _FINE))


def _windows(motion: Motion, ground: Ground) -> _Windows:
    """Return the windows on which the car drove straight on."""
    time, speed = motion.time_s, motion.speed_mps
    starts = np.searchsorted(time, np.arange(time[0], time[-1] - _WINDOW_S, _WINDOW_S))
    ends = np.minimum(np.searchsorted(time, time[starts] + _WINDOW_S), time.size - 1)
    middle = (starts + ends) // 2
    east, north = (row[ends] - row[starts] for row in (ground.east_m, ground.north_m))
    chord = np.hypot(east, north)
    heading = ground.heading_rad
    turned = np.abs(heading[[starts, middle]] - heading[ends]).max(axis=0)
    good = (time[ends] - time[starts] <= _LONGEST_S) & (turned < _STRAIGHT_RAD)
    good &= (np.minimum(speed[starts], speed[ends]) > _LEAST_MPS) & np.isfinite(chord)
    which = np.flatnonzero(good)
    which = which[:: -(-which.size // _MOST_WINDOWS) or 1]
    return _Windows(time[starts[which]], time[ends[which]], chord[which])


def _posterior(motion: Motion, windows: _Windows, late_s: Floats) -> Lateness:
    """Return mean and spread over an even grid of latenesses [g]."""
    way = CubicHermiteSpline(motion.time_s, motion.distance_m, motion.speed_mps)
    time = np.clip(
        np.array([windows.start_s, windows.end_s])[:, None] + late_s[:, None],
        motion.time_s[0],
        motion.time_s[-1],
    )
    misfit = np.diff(way(time), axis=0)[0] - windows.chord_m
    share = misfit / _SIZES_M[:, None, None]
    told = -0.5 * (_TAIL + 1.0) * np.log1p(share**2 / _TAIL)
    log = logsumexp(told.sum(axis=2) - windows.chord_m.size * np.log(_SIZES_M[:, None]), axis=0)
    prior, u_prior = PRIOR_S
    log = log - 0.5 * ((late_s - prior) / u_prior) ** 2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ late_s)
    return Lateness(mean, float(np.sqrt(weight @ (late_s - mean) ** 2)))
