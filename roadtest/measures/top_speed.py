"""The highest speed of a drive."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.smoothing import unsmoothed
from roadtest.motion.estimate import Draws
from roadtest.quantity import Quantity

Floats = NDArray[np.float64]

KNOWN_MPS: Final = 2.0
"""Standard. A speed known no better is a gap's, not the car's."""


def top_speed(stretches: Iterable[Draws], smoothing_s: Floats) -> Quantity | None:
    """Return the speed at the moment at which it is highest on average over the draws.

    The highest of each draw would be too high: noise is picked out with it.

    Parameters
    ----------
    stretches : of the motion as the receiver shows it, c draws each, among them the fastest
    smoothing_s : [c], the time constant with which the receiver smooths its speed; a smoothed
        speed does not get as high as the car does before it slows

    None where no speed is known. Neglected: what was driven inside a gap of the log.
    """
    best: Floats | None = None
    for shown in stretches:
        speed = unsmoothed(shown, smoothing_s).speed_mps
        known = shown.speed_mps.std(axis=0) < KNOWN_MPS
        if not known.any():
            continue
        mean = np.where(known, speed.mean(axis=0), -np.inf)
        fastest = speed[:, int(np.argmax(mean))]
        if best is None or fastest.mean() > best.mean():
            best = fastest
    return None if best is None else Quantity.from_draws(best, "m/s")
