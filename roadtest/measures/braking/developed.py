"""Fully developed braking, from the speeds of a stop as a foot makes it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.braking.onset import STEP_S, Onset, driven_m
from roadtest.measures.mfdd import (
    LOWER_SHARE,
    UPPER_SHARE,
    mean_fully_developed_deceleration,
)

Floats = NDArray[np.float64]

BUILT_UP_SHARE: Final = 0.9
"""Of the mean fully developed deceleration."""


def developed_mps2(onset: Onset) -> Floats:
    """Return the mean fully developed deceleration [c]; NaN where speed does not fall so far."""
    speed, driven = onset.braked_mps, driven_m(onset.braked_mps)
    upper, lower = UPPER_SHARE * onset.speed_mps, LOWER_SHARE * onset.speed_mps
    way = _falls_to(lower, speed, driven) - _falls_to(upper, speed, driven)
    return mean_fully_developed_deceleration(upper, lower, way)


def built_up_s(onset: Onset, mfdd_mps2: Floats) -> Floats:
    """Return the time [c] from the beginning to 0.9 of the mean fully developed deceleration.

    NaN where the braking does not get there.
    """
    braking = (onset.braked_mps[:, :-1] - onset.braked_mps[:, 1:]) / STEP_S
    strong = braking >= BUILT_UP_SHARE * mfdd_mps2[:, None]
    middle = STEP_S * (np.argmax(strong, axis=1) + 0.5)
    return np.where(strong.any(axis=1), middle, np.nan)


def _falls_to(level_mps: Floats, speed_mps: Floats, driven_m: Floats) -> Floats:
    """Return the way [c] by which speeds [c, m] first fall to a level [c]; NaN where they don't."""
    past = speed_mps <= level_mps[:, None]
    after = np.maximum(np.argmax(past, axis=1), 1)
    row = np.arange(level_mps.size)
    first, last = speed_mps[row, after - 1], speed_mps[row, after]
    share = (first - level_mps) / np.maximum(first - last, 1e-9)
    # Between two of them speed falls evenly: of way by the square.
    ways = share * (first + level_mps) / np.maximum(first + last, 1e-9)
    way = driven_m[row, after - 1] + ways * (driven_m[row, after] - driven_m[row, after - 1])
    return np.where(past.any(axis=1), way, np.nan)
