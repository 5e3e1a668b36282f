"""Whether two GPS logs that cover the same time can be of one car."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from roadtest.errors import InputError
from roadtest.geodesy import Origin, local_metres
from roadtest.logs.model import GpsLog
from roadtest.receivers import Receiver

# All our own choice.
_MOST_APART_M: Final = 200.0  # no receiver is as far off for half of a drive
_CLOCKS_OFF_S: Final = 120  # but its clock may be off
_MOST_MOMENTS: Final = 300
_FEWEST_MOMENTS: Final = 20


def refuse_other_cars(receivers: Sequence[Receiver]) -> None:
    """Raise InputError where a receiver was in another car than the first one."""
    used, *others = receivers
    for other in others:
        apart = apart_m(used.log, other.log)
        if apart is not None and apart > _MOST_APART_M:
            far = f"{1e-3 * apart:.1f} km" if apart >= 1000.0 else f"{apart:.0f} m"
            found = f"half of the time more than {far} from where {used.log.name} was just then"
            raise InputError(other.log.name, "", found, "the logs of one car in a folder")


def apart_m(one: GpsLog, other: GpsLog) -> float | None:
    """Return the median distance in m between two logs at the same time.

    The least of all shifts of the clocks by up to two minutes. None where they share too little.
    """
    origin = Origin(float(one.latitude_deg[0]), float(one.longitude_deg[0]))
    start, end = one.time_s[0] - _CLOCKS_OFF_S, one.time_s[-1] + _CLOCKS_OFF_S
    shared = np.flatnonzero((other.time_s >= start) & (other.time_s <= end))
    if shared.size < _FEWEST_MOMENTS:
        return None
    some = shared[np.unique(np.linspace(0, shared.size - 1, _MOST_MOMENTS).astype(np.int64))]
    east, north = local_metres(one.latitude_deg, one.longitude_deg, origin)
    away = local_metres(other.latitude_deg[some], other.longitude_deg[some], origin)
    least: float | None = None
    for shift in range(-_CLOCKS_OFF_S, _CLOCKS_OFF_S + 1):
        at = other.time_s[some] + shift
        inside = (at >= one.time_s[0]) & (at <= one.time_s[-1])
        if inside.sum() < _FEWEST_MOMENTS:
            continue
        apart = np.hypot(
            np.interp(at[inside], one.time_s, east) - away[0][inside],
            np.interp(at[inside], one.time_s, north) - away[1][inside],
        )
        median = float(np.median(apart))
        least = median if least is None else min(least, median)
    return least
