"""Where a pull in one gear is over: a slow log merges it with the driving after it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_OVER_S: Final = 1.0
_LEAST_SHARE: Final = 0.5  # of what is gained in that time, mostly (our choice)


def lull_s(time_s: Floats, speed_mps: Floats, between_s: tuple[float, float]) -> float:
    """Return until when the first lull lasts at the most, infinity where there is none.

    That is where the car gains less than half as much speed in a second as it mostly does.

    Parameters
    ----------
    time_s, speed_mps : [k], beyond both ends of the pull
    between_s : the ends of the pull
    """
    inside = (time_s >= between_s[0] + 0.5 * _OVER_S) & (time_s <= between_s[1])
    middle = time_s[inside]
    if middle.size == 0:
        return float("inf")
    ends = middle[:, None] + np.array([-0.5, 0.5]) * _OVER_S
    gained = np.diff(np.interp(ends, time_s, speed_mps), axis=1)[:, 0]
    low = gained < _LEAST_SHARE * np.median(gained)
    return float(middle[np.argmax(low)]) + 0.5 * _OVER_S if low.any() else float("inf")
