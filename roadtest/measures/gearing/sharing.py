"""How the bins that a clutch is looked at in are shared out between the stretches under load."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SUSTAINED_S: Final = 1.0  # what a slip must last for to be told
BIN_S: Final = 0.5
_MOST_BINS: Final = 60  # of all stretches together: the hardest get them first
_OF_ONE: Final = 8


def shared_out(torque: Floats, seconds: Floats) -> list[int]:
    """Return how many bins each stretch gets, at most, given its mean torque and length [n].

    First come bins as long as what is told of a slip, in every stretch: the mean over a longer one
    is less than the largest in it. What is left over goes to bins half as long.
    """
    bins, left = [1] * torque.size, _MOST_BINS - torque.size
    for length, most in ((SUSTAINED_S, _OF_ONE // 2), (BIN_S, _OF_ONE)):
        for k in np.argsort(torque)[::-1].tolist():
            wanted = min(int(seconds[k] / length + 0.01), most) - bins[k]
            more = max(min(wanted, left), 0)
            bins[k] += more
            left -= more
    return bins
