"""How hilly a road may be and how far a receiver's altitudes may wander: what is averaged over."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hilliness:
    """One possibility for road and receiver.

    `spread` is the standard deviation of grade, `reach_m` the distance over which heights are
    alike, `wander_m` the standard deviation of the slow part of altitudes.
    """

    spread: float
    reach_m: float
    wander_m: float


@dataclass(frozen=True)
class Grades:
    """What the altitudes say of the grade at every fix, if roads are as hilly as `spread` says."""

    probability: float  # that they are
    spread: float
    reach_m: float
    grade: Floats  # [n]
    u_grade: Floats  # [n], standard


@dataclass(frozen=True)
class Beforehand:
    """What is thought of hilliness beforehand: medians, each with the factor of one σ."""

    spread: tuple[float, float]
    wander_m: tuple[float, float]

    def log_prior(self, guess: Hilliness) -> float:
        """Return the logarithm of a possibility's prior, up to a constant."""
        pairs = ((guess.spread, self.spread), (guess.wander_m, self.wander_m))
        return -0.5 * sum(
            (math.log(value / median) / math.log(factor)) ** 2 for value, (median, factor) in pairs
        )
