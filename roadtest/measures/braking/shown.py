"""Whether a log shows enough of a stop for it to be judged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.braking.stop import StopDraws
from roadtest.measures.mfdd import LOWER_SHARE, UPPER_SHARE
from roadtest.motion.estimate import Motion

Floats = NDArray[np.float64]

LEAST_FIXES: Final = 3
"""Between 0.8 and 0.1 of the initial speed. Two give a deceleration and nothing that would show
the braking uneven or one of them wrong; three are the least that check one another."""
_GOOD_FIXES: Final = 6  # what is asked for when there were too few: twice as many
_RATES_HZ: Final = (2.0, 5.0, 10.0, 25.0)  # of common loggers
_LONGEST_SMOOTHING: Final = 0.35
"""Of the time between those speeds. A filter is taken out as one of first order; that real ones
differ from it matters the more, the longer it is. Our choice."""


@dataclass(frozen=True)
class TooSlow:
    """Why a stop can't be judged, and with what rate of fixes it could be (None: by no rate)."""

    why: str
    rate_hz: float | None


def too_slow(motion: Motion, stop: StopDraws, smoothing_s: Floats) -> TooSlow | None:
    """Return why log or receiver is too slow for a stop; None where they are not.

    Parameters
    ----------
    smoothing_s : [c], the time constant with which the receiver smooths its speed
    """
    lag = float(smoothing_s.mean()) if smoothing_s.size else 0.0
    begin, finish = float(np.nanmedian(stop.upper_s)), float(np.nanmedian(stop.lower_s))
    length = finish - begin
    time = motion.time_s[motion.observed.seen]
    count = int(np.count_nonzero((time >= begin + lag) & (time <= finish + lag)))
    if count < LEAST_FIXES:
        rate = next((rate for rate in _RATES_HZ if rate * length >= _GOOD_FIXES), _RATES_HZ[-1])
        return TooSlow(
            f"too few fixes: {count} between {UPPER_SHARE:g} and {LOWER_SHARE:g} of the initial "
            f"speed, which took {length:.1f} s; at least {LEAST_FIXES} are needed",
            rate,
        )
    if lag > _LONGEST_SMOOTHING * length:
        return TooSlow(
            f"the receiver smooths its speed over {lag:.1f} s, too long for the {length:.1f} s "
            f"between {UPPER_SHARE:g} and {LOWER_SHARE:g} of the initial speed",
            None,
        )
    return None
