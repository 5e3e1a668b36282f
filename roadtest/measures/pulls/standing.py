"""Standing starts: first motion between samples, times to speeds and over distances."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.measures.pulls.crossing import (
    Path,
    at_time,
    first_distance,
    first_rise,
)
from roadtest.measures.pulls.spans import standing_speeds
from roadtest.quantity import Quantity
from roadtest.results import Standing, StandingDistance
from roadtest.units import MILE_M, to_si

Floats = NDArray[np.float64]

ROLL_OUT_M: Final = to_si(1.0, "ft")
"""A start line's light beam lets a wheel roll about a foot before the clock runs. Common practice
of the drag strip, no published source."""

_DISTANCES_M: Final = {"mph": (MILE_M / 4.0,), "km/h": (400.0,)}
# First motion itself drowns in a receiver's noise and in what it makes of creeping. A straight line
# through two speeds well above both meets zero where an acceleration that came at once would have
# begun; one that grows evenly over some time began half that time earlier. A clutch comes home in
# up to 0.4 s when it is meant to; however it is let in, engine, shafts and tyres take the load up
# over some 0.1 s (common practice, no published source). At 4 m/s² that ends at 0.8 m/s at most,
# and further up a start is hardly in first gear any more.
_LOW_MPS: Final = 1.0
_HIGH_MPS: Final = 3.0
_MOVING_MPS: Final = 4.5
_GROWTH_S: Final = (0.1, 0.4)


def first_motion(path: Path, rng: np.random.Generator) -> Floats:
    """Return when the car first moves, [c] s; NaN where a draw does not start from rest.

    t0 = ta − va·(tb − ta)/(vb − va) − T/2, the time T over which acceleration grows drawn evenly
    from 0.1 to 0.4 s: the doubt about how the clutch came home is part of the answer.
    """
    moving = int(np.argmax(path.speed_mps.mean(axis=0) > _MOVING_MPS)) + 1
    start = Path(path.time_s[:moving], path.speed_mps[:, :moving], path.distance_m[:, :moving])
    low, high = _last_rise(start, _LOW_MPS), _last_rise(start, _HIGH_MPS)
    growth = rng.uniform(*_GROWTH_S, size=low.size)
    return low - _LOW_MPS * (high - low) / (_HIGH_MPS - _LOW_MPS) - 0.5 * growth


def standing_rows(
    name: str, path: Path, sheet: BuildSheet, rng: np.random.Generator
) -> tuple[list[Standing], list[StandingDistance]]:
    """Return the rows of one standing start."""
    start_s = first_motion(path, rng)
    origin = at_time(path, path.distance_m, start_s)
    rolled = first_distance(path, origin + ROLL_OUT_M)
    speeds = []
    for speed in standing_speeds(sheet):
        when = first_rise(path, speed)
        time = Quantity.from_draws(when - start_s, "s")
        if time is not None:
            after = Quantity.from_draws(when - rolled, "s")
            speeds.append(Standing(Quantity(speed, 0.0, "m/s"), time, name, after))
    distances = []
    for metres in _DISTANCES_M[sheet.units]:
        when = first_distance(path, origin + metres)
        time = Quantity.from_draws(when - start_s, "s")
        if time is not None:
            distances.append(
                StandingDistance(
                    distance=Quantity(metres, 0.0, "m"),
                    time=time,
                    speed=Quantity.from_draws(at_time(path, path.speed_mps, when), "m/s"),
                    manoeuvre=name,
                    after_rollout=Quantity.from_draws(when - rolled, "s"),
                )
            )
    return speeds, distances


def _last_rise(path: Path, level_mps: float) -> Floats:
    """Return when speed last rises through a level, [c] s."""
    below = path.speed_mps < level_mps
    last = path.time_s.size - 1 - np.argmax(below[:, ::-1], axis=1)
    line = np.arange(below.shape[0])
    after = np.minimum(last + 1, path.time_s.size - 1)
    low, high = path.speed_mps[line, last], path.speed_mps[line, after]
    share = (level_mps - low) / np.where(high > low, high - low, np.nan)
    when = path.time_s[last] + share * (path.time_s[after] - path.time_s[last])
    return np.where(below.any(axis=1), when, np.nan)
