"""Raw pulses of an ignition or a flywheel, mended and turned into engine speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WINDOW_S: Final = 0.1
"""Over which engine speed is averaged: ten samples a second, as dial loggers have them."""

_NEIGHBOURS: Final = 11  # pulses whose median interval says what an interval should be
_MOST_MISSED: Final = 3  # in a row; after more the engine may have stopped
_FASTEST_RPM: Final = 15000.0  # our choice: no engine of a small classic car turns as fast


@dataclass(frozen=True)
class MendedPulses:
    """Engine turns against time [k], and what had to be mended."""

    time_s: Floats
    turns: Floats  # since the first pulse
    broken: NDArray[np.bool_]  # [k-1], True where too many pulses in a row are missing
    missed: int
    doubled: int


def mend(pulse_s: Floats, per_rev: float) -> MendedPulses:
    """Return the pulses at `pulse_s` ([n] float, s, increasing) without bounces and gaps.

    An interval is judged against the median of its neighbours. One shorter than half of it that
    makes up a whole one with the next was a bounce: its second pulse goes. One of about two, three
    or four whole ones had one to three pulses missing, which are counted.
    """
    kept, doubled = pulse_s, 0
    shortest = 60.0 / (_FASTEST_RPM * per_rev)
    for _ in range(3):
        bounced = _bounces(kept, shortest)
        if not bounced.any():
            break
        doubled += int(np.count_nonzero(bounced))
        kept = kept[~bounced]
    if kept.size < 3:
        return MendedPulses(kept, np.zeros(kept.size), np.zeros(max(kept.size - 1, 0), bool), 0, 0)
    interval = np.diff(kept)
    whole = np.maximum(np.round(interval / _usual(interval)), 1.0)
    broken = (whole > _MOST_MISSED + 1) | (interval > 1.0)
    whole[broken] = 0.0
    turns = np.concatenate([[0.0], np.cumsum(whole)]) / per_rev
    missed = int(np.sum(np.maximum(whole - 1.0, 0.0)))
    return MendedPulses(kept, turns, broken, missed, doubled)


def engine_speed(pulses: MendedPulses) -> tuple[Floats, Floats]:
    """Return times (s, middle of each window) and engine speed (r/min), [m] each.

    Turns between the ends of a window over its length; windows that touch a break are left out.
    """
    time = pulses.time_s
    if time.size < 3 or time[-1] - time[0] < 2 * WINDOW_S:
        return np.zeros(0), np.zeros(0)
    edges = np.arange(time[0], time[-1], WINDOW_S)
    turns = np.interp(edges, time, pulses.turns)
    breaks = np.concatenate([[0.0], np.cumsum(pulses.broken)])
    # A window is whole when no broken interval overlaps it.
    last = np.clip(np.searchsorted(time, edges[1:], "left"), 1, time.size - 1)
    first = np.clip(np.searchsorted(time, edges[:-1], "right") - 1, 0, time.size - 1)
    whole = breaks[last] == breaks[first]
    rpm = 60.0 * np.diff(turns) / WINDOW_S
    middle = 0.5 * (edges[1:] + edges[:-1])
    return middle[whole], rpm[whole]


def _usual(interval: Floats) -> Floats:
    """Return what each interval should be: the median of its neighbours."""
    from scipy.ndimage import median_filter  # slow to load, and few logs hold raw pulses

    return np.asarray(median_filter(interval, size=_NEIGHBOURS, mode="nearest"), dtype=np.float64)


def _bounces(pulse_s: Floats, shortest_s: float) -> NDArray[np.bool_]:
    """Return which pulses [n] are second pulses of a bounce."""
    bounced = np.zeros(pulse_s.size, dtype=bool)
    if pulse_s.size < 4:
        return bounced
    interval = np.diff(pulse_s)
    usual = _usual(interval)
    short, after = interval[:-1], interval[1:]
    together = (short + after) / usual[:-1]
    # A missing pulse right after a bounce makes it two whole intervals; so the sum may be those.
    fits = np.abs(together - np.maximum(np.round(together), 1.0)) < 0.3
    bounced[1:-1] = ((short < 0.5 * usual[:-1]) & fits) | (short < shortest_s)
    bounced[1:] &= ~bounced[:-1]  # of two in a row the first goes first
    return bounced
