"""One stretch of the motion on a fine grid, with the path under it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import Draws
from roadtest.motion.ground import Ground

Floats = NDArray[np.float64]

_LEAST_TIMES = 5


@dataclass(frozen=True)
class Stretch:
    """Arrays are [k] on the grid of the draws, at most 0.2 s apart."""

    id: str  # of the manoeuvre
    time_s: Floats
    speed_mps: Floats  # mean of the draws
    distance_draws_m: Floats  # [c, k]
    east_m: Floats
    north_m: Floats
    heading_rad: Floats

    @property
    def way_rad(self) -> float:
        """Mean heading."""
        return float(np.angle(np.exp(1j * self.heading_rad).mean()))

    @property
    def duration_s(self) -> float:
        """From the first time to the last."""
        return float(self.time_s[-1] - self.time_s[0])


def cut_stretch(
    evidence: Evidence, manoeuvre: Manoeuvre, trims_s: tuple[float, float], least_mps: float
) -> Stretch | None:
    """Return a manoeuvre less `trims_s` at its ends, as long as it is faster than `least_mps`.

    None where too little is left or nothing was drawn.
    """
    draws = evidence.draws.get(manoeuvre.id)
    if draws is None:
        return None
    speed = draws.speed_mps.mean(axis=0)
    inside = (
        (draws.time_s >= manoeuvre.start_s + trims_s[0])
        & (draws.time_s <= manoeuvre.end_s - trims_s[1])
        & (speed > least_mps)
    )
    first = int(np.argmax(inside))
    last = first + int(np.argmin(np.append(inside[first:], False)))
    if last - first < _LEAST_TIMES:
        return None
    return _cut(manoeuvre.id, draws, evidence.ground, slice(first, last))


def _cut(name: str, draws: Draws, ground: Ground, cut: slice) -> Stretch:
    time, distance = draws.time_s[cut], draws.distance_m[:, cut]
    path = [
        np.interp(time, ground.time_s, row)
        for row in (ground.east_m, ground.north_m, ground.heading_rad)
    ]
    if not np.isfinite(path).all():
        # Without positions: a road of its own for each stretch, all driven the same way.
        along = distance.mean(axis=0)
        path = [along, np.full(time.size, 1e4 * time[0]), np.full(time.size, 0.5 * np.pi)]
    speed = draws.speed_mps[:, cut].mean(axis=0)
    return Stretch(name, time, speed, distance, path[0], path[1], path[2])
