"""What a receiver that writes zero for a slow car hides of the way when it pulls away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion

Floats = NDArray[np.float64]

_LONGEST_S: Final = 4.0  # from the last moment of rest to the first speed shown
_LOST: Final = 1.5  # times as long as usual between two fixes, some are lost
_ONWARD_S: Final = 1.0
_PULLS_MPS2: Final = (0.5, 6.0)  # our choice: less is creeping, more no tyre gives
_U_SHARE: Final = 0.2
"""Of the way: a clutch comes home and a foot goes down within that second (our choice)."""


@dataclass(frozen=True)
class Hidden:
    """Starts [k]: when their speed is shown first, and what to add to the way up to then, m."""

    time_s: Floats
    way_m: Floats
    u_m: Floats  # standard; the same driver pulls away each time, so they go together

    def between(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Return what to add between two times, and its standard uncertainty."""
        inside = (self.time_s > start_s) & (self.time_s <= end_s)
        return float(self.way_m[inside].sum()), float(self.u_m[inside].sum())


def hidden_starts(motion: Motion) -> Hidden:
    """Return the starts of a receiver with a clamp; none of others.

    The car gathers speed below the clamp as it does in the second above it, at a: it has gone
    v²/(2a) when the first speed v is shown. The estimate knows only that it was slower than the
    clamp, and comes out at two thirds of that. Since the last zero it has gone no further than at
    the mean of clamp and v, whatever a is by then; where fixes are lost there, that is no matter of
    the clamp.
    """
    time, observed = motion.time_s, motion.observed
    still, shown = observed.knots.still, np.flatnonzero(np.nan_to_num(observed.values[0]) > 0.0)
    rest = np.flatnonzero(still[:-1] & ~still[1:])
    first = np.searchsorted(shown, rest)
    rest, first = rest[first < shown.size], shown[first[first < shown.size]]
    fixes = time[observed.seen]
    since = time[first] - fixes[np.maximum(np.searchsorted(fixes, time[first]) - 1, 0)]
    soon = time[first] - time[rest] < _LONGEST_S
    soon &= since < _LOST * np.median(np.diff(fixes))
    rest, first, since = rest[soon], first[soon], since[soon]
    if motion.source == "position" or observed.clamp_mps == 0.0 or rest.size == 0:
        return Hidden(np.zeros(0), np.zeros(0), np.zeros(0))
    speed = motion.speed_mps[first]
    gained = np.interp(time[first] + _ONWARD_S, time, motion.speed_mps) - speed
    pull = np.clip(gained / _ONWARD_S, *_PULLS_MPS2)
    slow = np.minimum(speed, observed.clamp_mps)
    way = np.minimum(speed**2, slow**2 + (slow + speed) * since * pull) / (2.0 * pull)
    told = motion.distance_m[first] - motion.distance_m[rest]
    return Hidden(time[first], way - told, _U_SHARE * way)
