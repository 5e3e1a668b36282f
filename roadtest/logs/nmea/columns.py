"""Sentences as rows of numbers, held column by column."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.nmea.sentences import Bools

# What a sentence says of its position, the graver the higher.
NOTHING, FIX, NO_FIX, ESTIMATED, MANUAL, SIMULATED = range(6)
# What its position fields hold.
ABSENT, GOOD, UNREADABLE, OUT_OF_RANGE = range(4)

COMMON: Final = {"place": "i8", "talker": "u2", "kind": "u1", "bare": "?"}
TIMED: Final = {
    **COMMON,
    "claim": "u1",
    "position": "u1",
    "sixty": "?",  # the second reads 60
    "decimals": "u1",  # of the minutes of the position
    "clock_us": "i8",  # time of day
    "day": "i4",  # from 1970-01-01, or NO_DAY
    "latitude_deg": "f8",
    "longitude_deg": "f8",
    "altitude_m": "f8",
    "speed_mps": "f8",
    "step_mps": "f4",  # one in the last place of the speed
    "course_deg": "f8",
    "hdop": "f8",
    "u_position_m": "f8",
}
UNTIMED: Final = {
    **COMMON,
    "speed_mps": "f8",
    "step_mps": "f4",
    "course_deg": "f8",
    "hdop": "f8",
    "rpm": "f8",
    "engine": "i4",  # number of the engine, -1 where the sentence speaks of a shaft
}

Column = NDArray[Any]
Columns = dict[str, Column]


class Rows:
    """Rows of numbers, held as columns of equal length."""

    def __init__(self, columns: Columns) -> None:
        self._columns = columns

    @property
    def size(self) -> int:
        """How many rows there are."""
        return int(self._columns["place"].size)

    def __getitem__(self, name: str) -> Column:
        return self._columns[name]

    def where(self, chosen: Bools) -> Rows:
        """Return the chosen rows."""
        if chosen.all():
            return self
        return Rows({name: column[chosen] for name, column in self._columns.items()})

    @classmethod
    def joined(cls, parts: list[Rows], form: dict[str, str]) -> Rows:
        """Return the rows of all parts, one after the other. The parts lose their columns."""
        columns = {}
        for name, code in form.items():
            # A column at a time, so that a large log is not held twice.
            columns[name] = np.concatenate(
                [part._columns.pop(name) for part in parts] or [np.empty(0, code)], dtype=code
            )
        return cls(columns)
