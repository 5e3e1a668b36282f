"""Mean speeds of a coast from places, as a log gives them that has nothing else.

The motion estimate smooths places, and what its errors have in common from one window to the next
is gone from them. A coast is so smooth that places as they were logged show by themselves how far
they wander.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from roadtest.evidence import Evidence
from roadtest.measures.windows import Readings
from roadtest.motion.estimate import POSITION_MODEL
from roadtest.motion.kinematics import wandering

_LEAST_TAIL: Final = 3.0  # degrees of freedom; a Student's t of 2 has no variance


def from_places(evidence: Evidence, readings: Readings) -> Readings:
    """Return the readings with mean speeds, and their errors, from the places at window edges.

    Each place lies along the smoothed path, off it as far as the log says. Its error has a part
    that wanders (`Readings.wander`) and a white one, which two windows share.
    """
    run, edges = readings.run, readings.edges
    motion, ground = evidence.motion, evidence.ground
    time = run.time_s[edges]
    index = np.searchsorted(motion.time_s, time - 1e-6)
    path = np.array([ground.east_m, ground.north_m])
    driven = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=1)))])
    way = np.array([np.sin(run.heading_rad[edges]), np.cos(run.heading_rad[edges])])
    off = motion.observed.values[:, index] - path[:, index]
    spans = np.diff(time)
    speed = np.diff(driven[index] + np.sum(off * way, axis=0)) / spans
    change = np.diff(np.eye(edges.size), axis=0) / spans[:, None]
    tail = max(motion.noise.tail, _LEAST_TAIL)
    white = motion.noise.sd**2 * tail / (tail - 2.0) + motion.observed.rounding[index]
    wander = change @ wandering(time, POSITION_MODEL.slow) @ change.T
    covariance = wander + change @ np.diag(white) @ change.T
    return replace(readings, speed_mps=speed, covariance=covariance, wander=wander)
