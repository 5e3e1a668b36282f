"""Which gear each manoeuvre was driven in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.gearing.sequence import NEUTRAL
from roadtest.motion.estimate import Span

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_MOST: Final = 0.8  # of the time of a manoeuvre
_LEAST_SAMPLES: Final = 2


@dataclass(frozen=True)
class GearTrace:
    """The gear at every tach sample, [n]: 1 and up locked (or slipping), 0 free, -1 between."""

    time_s: Floats
    gear: Ints

    @classmethod
    def of(cls, time_s: Floats, mode: Ints, gears: Sequence[int]) -> GearTrace:
        """Return the trace of decoded modes, given the gear number of each."""
        numbers = np.array([*gears, 0], dtype=np.int64)
        named = numbers[np.clip(mode, 0, len(gears))]
        return cls(time_s, np.where(mode >= 0, named, np.where(mode == NEUTRAL, 0, -1)))

    def inside(self, span: Span) -> Ints:
        """Return the gears of the samples inside `span`."""
        return self.gear[(self.time_s >= span.start_s) & (self.time_s <= span.end_s)]

    def is_neutral(self, span: Span) -> bool | None:
        """Return whether the engine was disconnected throughout, None where nothing tells."""
        gears = self.inside(span)
        if gears.size < _LEAST_SAMPLES:
            return None
        locked = float(np.mean(gears > 0))
        return True if locked <= 1.0 - _MOST else False if locked >= _MOST else None

    def gear_in(self, manoeuvre: Manoeuvre) -> int | None:
        """Return the gear of a manoeuvre: 0 when rolling free, None when several or not known.

        Of a stop it is the gear it was begun in, if it was begun in one.
        """
        gears = self.inside(Span(manoeuvre.start_s, manoeuvre.end_s))
        if gears.size < _LEAST_SAMPLES:
            return None
        if np.mean(gears <= 0) >= _MOST:
            return 0
        locked = gears[gears > 0]
        if not locked.size:
            return None
        values, counts = np.unique(locked, return_counts=True)
        most = int(np.argmax(counts))
        enough = _MOST * (locked.size if manoeuvre.kind in ("pull", "stop") else gears.size)
        return int(values[most]) if counts[most] >= enough else None
