"""How much later a receiver shows its speed than its places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.estimate import Motion
from roadtest.motion.ground import Ground

Floats = NDArray[np.float64]

PRIOR_S: Final = (0.4, 0.5)
"""Value and standard uncertainty. Receivers recorded on roads show speed 0.1 to 1.5 s late, others
at once. Common practice, no published source."""
_WINDOW_S: Final = 4.0
_LONGEST_S: Final = 6.0  # with fixes missing
_STRAIGHT_RAD: Final = np.radians(5.0)
_LEAST_MPS: Final = 3.0
_LEAST_WINDOWS: Final = 5
_TAIL: Final = 3.0  # standard deviations, beyond which a window is not believed


@dataclass(frozen=True)
class Lateness:
    """Of speed against place, s, with its standard uncertainty."""

    value_s: float
    u_s: float


def lateness(motion: Motion, ground: Ground) -> Lateness:
    """Return how late speeds are, from the straight stretches on which the car changes speed.

    What speeds say of a stretch belongs to the time D before: the chord from place to place is
    longer than it by D·(v₁ - v₀). D by least squares over windows of 4 s, and the prior.
    """
    if motion.source == "position":
        return Lateness(0.0, 0.0)
    longer, change = _windows(motion, ground)
    prior, u_prior = PRIOR_S
    for _ in range(3):
        square = float(change @ change)
        if change.size < _LEAST_WINDOWS or square <= 0.0:
            return Lateness(prior, u_prior)
        rest = longer - change * float(change @ longer) / square
        scale = float(np.sqrt(rest @ rest / (change.size - 1)))
        good = np.abs(rest) <= _TAIL * scale + 1e-9
        longer, change = longer[good], change[good]
    precision = square / max(scale**2, 1e-6)
    total = precision + u_prior**-2
    told = float(change @ longer) / float(change @ change)
    return Lateness((precision * told + prior / u_prior**2) / total, total**-0.5)


def _windows(motion: Motion, ground: Ground) -> tuple[Floats, Floats]:
    """Return by how much chords are longer than speeds say, m, and changes of speed, m/s."""
    time = motion.time_s
    starts = np.searchsorted(time, np.arange(time[0], time[-1] - _WINDOW_S, _WINDOW_S))
    ends = np.minimum(np.searchsorted(time, time[starts] + _WINDOW_S), time.size - 1)
    middle = (starts + ends) // 2
    east, north = (row[ends] - row[starts] for row in (ground.east_m, ground.north_m))
    heading = ground.heading_rad
    turned = np.abs(heading[[starts, middle]] - heading[ends]).max(axis=0)
    speed = motion.speed_mps
    good = (time[ends] - time[starts] <= _LONGEST_S) & (turned < _STRAIGHT_RAD)
    good &= np.minimum(speed[starts], speed[ends]) > _LEAST_MPS
    longer = np.hypot(east, north) - (motion.distance_m[ends] - motion.distance_m[starts])
    good &= np.isfinite(longer)
    return longer[good], (speed[ends] - speed[starts])[good]
