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


def top_speed(
    stretches: Iterable[Draws], smoothing_s: Floats, least_mps: float = 0.0
) -> Quantity | None:
    """Return the speed at the moment at which it is highest, of the stretch where that is fastest.

    When that was is told by one draw, how fast by another: the highest of each draw, or of their
    mean, would be too high, for noise is picked out with it. That the car was faster at one such
    moment than at another is no doubt about how fast it was.

    Parameters
    ----------
    stretches : of the motion as the receiver shows it, c draws each, among them the fastest
    smoothing_s : [c], the time constant with which the receiver smooths its speed; a smoothed
        speed does not get as high as the car does before it slows
    least_mps : that the car must have reached in a gap of the log, to get over it in time

    None where no speed is known, or all that are known are lower than what a gap asks for: then
    the car was fastest where nobody saw it. Neglected: what else was driven inside gaps.
    """
    best: Floats | None = None
    for shown in stretches:
        speed = unsmoothed(shown, smoothing_s).speed_mps
        known = shown.speed_mps.std(axis=0) < KNOWN_MPS
        if not known.any():
            continue
        moment = np.where(known, speed, -np.inf).argmax(axis=1)
        mean, count = speed.mean(axis=0), len(speed)
        doubt = np.roll(speed - mean, count // 2, axis=0)[np.arange(count), moment]
        fastest = mean[moment].mean() + doubt
        if best is None or fastest.mean() > best.mean():
            best = fastest
    found = None if best is None else Quantity.from_draws(best, "m/s")
    return None if found is None or found.high < least_mps else found
