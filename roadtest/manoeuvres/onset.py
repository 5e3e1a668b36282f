"""Where braking begins: the foot of the steep rise of deceleration, found between samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion

Floats = NDArray[np.float64]

_RISES_S: Final = np.array([0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.65, 0.85])
_LIFTS_S: Final = np.array([0.15, 0.25, 0.35, 0.5])
_RISE_S: Final = 0.36
"""Middle of what is thought of the rise before the log is looked at. The limits on stopping
distance of UN R13-H allow 0.10 m per km/h, which is 0.36 s at the initial speed, for the time
before full braking."""
_RISE_SPREAD: Final = 0.5  # standard deviation of its logarithm
_DRAG_MPS2: Final = 0.7  # of engine and air, foot off both pedals: half to one in a middle gear
_GRID: Final = 61


@dataclass(frozen=True)
class Onset:
    """When braking begins, with its standard uncertainty."""

    time_s: float
    u_time_s: float


def brake_onset(motion: Motion, near_s: float) -> Onset:
    """Return when the braking begins that is half built up at about `near_s`.

    The speeds around it are fitted by a steady slope, a lift of the throttle at some moment, and
    a deceleration that rises evenly to a plateau. For each of a grid of (onset, rise time, time
    since the lift) the rest is linear; the grid is weighted by likelihood. At low rates the rise
    time is not seen, and stays what it is thought to be beforehand.
    """
    spacing = _spacing(motion.time_s, near_s)
    time, speed, sd = _speeds_near(motion, near_s, spacing)
    reach = max(0.8, 1.3 * spacing)
    onsets = np.linspace(near_s - reach, near_s + 0.4, _GRID)
    onset, rise, lift = (
        part.ravel() for part in np.meshgrid(onsets, _RISES_S, _LIFTS_S, indexing="ij")
    )
    fit = _log_evidence(time, speed / sd, _design(time, onset, rise, lift) / sd)
    fit -= 0.5 * (np.log(rise / _RISE_S) / _RISE_SPREAD) ** 2
    weight = np.exp(fit - fit.max())
    weight /= weight.sum()
    mean = float(weight @ onset)
    return Onset(mean, float(np.sqrt(weight @ (onset - mean) ** 2)))


def _spacing(time: Floats, near_s: float) -> float:
    """Return the usual time between fixes about a moment."""
    at = int(np.searchsorted(time, near_s))
    return float(np.median(np.diff(time[max(at - 10, 0) : at + 10])))


def _speeds_near(motion: Motion, near_s: float, spacing: float) -> tuple[Floats, Floats, float]:
    """Return times, speeds [k] and their noise: as received, outlying ones as estimated."""
    low, high = near_s - max(1.35, 2.75 * spacing), near_s + max(1.05, 2.75 * spacing)
    pick = (motion.time_s > low) & (motion.time_s < high)
    mean = motion.speed_mps[pick]
    if motion.source == "position":
        return motion.time_s[pick], mean, float(np.median(motion.u_speed_mps[pick])) + 0.03
    received = motion.observed.values[0, pick]
    sd = float(np.hypot(motion.noise.sd, 0.03))
    near = np.abs(received - mean) < 4.0 * sd  # False where NaN
    return motion.time_s[pick], np.where(near, received, mean), sd


def _design(time: Floats, onset: Floats, rise: Floats, lift: Floats) -> Floats:
    """Return [g, k, 4]: what a unit of level, slope, braking and drag each do to the speeds."""
    since = time[None, :] - onset[:, None]
    rise = rise[:, None]
    braking = np.where(since < rise, since**2 / (2.0 * rise), since - 0.5 * rise)
    braking = np.where(since > 0.0, braking, 0.0)
    drag = np.clip(since + lift[:, None], 0.0, lift[:, None])
    level = np.ones_like(since)
    slope = np.broadcast_to(time - time.mean(), since.shape)
    return np.stack([level, slope, -braking, -drag], axis=2)


def _log_evidence(time: Floats, y: Floats, design: Floats) -> Floats:
    """Return [g], the log evidence of `y` [k] under each `design` [g, k, 4], up to a constant.

    Slope before: about 0, drag: about its usual size, each ± that size; level and braking free.
    """
    precision = 1.0 / _DRAG_MPS2**2
    square = np.matmul(design.transpose(0, 2, 1), design)
    square[:, 1, 1] += precision
    square[:, 3, 3] += precision
    square[:, 0, 0] += 1e-6
    square[:, 2, 2] += 1e-4
    pull = np.matmul(y, design)
    pull[:, 3] += _DRAG_MPS2 * precision
    solution = np.linalg.solve(square, pull[..., None])[..., 0]
    explained = (solution * pull).sum(axis=1)
    return np.asarray(0.5 * explained - 0.5 * np.linalg.slogdet(square)[1])
