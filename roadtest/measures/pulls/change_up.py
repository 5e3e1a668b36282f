"""Where the tach shows that a pull changes up: times in gear are of what comes before."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Neighbouring gears lie a sixth and more apart; less is a tach's lag, or a speed not well known.
_CHANGED: Final = 0.88


def change_up_s(
    engine_s: Floats, rpm: Floats, time_s: Floats, speed_mps: Floats, start_s: float
) -> float:
    """Return the last moment before engine turns per metre fall for good; infinity if never.

    Parameters
    ----------
    engine_s, rpm : [n], the engine's speed over the drive
    time_s, speed_mps : [k], the car's over the pull
    start_s : of the pull
    """
    inside = (engine_s >= start_s) & (engine_s <= time_s[-1]) & np.isfinite(rpm)
    when = engine_s[inside]
    turns = rpm[inside] / np.maximum(np.interp(when, time_s, speed_mps), 1.0)
    for k in range(1, when.size - 1):
        # Two in a row: one alone may be an outlier.
        if turns[k : k + 2].max() < _CHANGED * np.median(turns[:k]):
            return float(when[k - 1])
    return float("inf")
