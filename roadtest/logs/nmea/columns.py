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


class GrowingRows:
    """Rows that further ones are added to, held once: a large log is all that fits."""

    def __init__(self, form: dict[str, str]) -> None:
        """Begin without rows."""
        self._columns: Columns = {name: np.empty(0, code) for name, code in form.items()}
        self._size = self._room = 0

    def add(self, rows: Rows) -> None:
        """Add rows at the end."""
        size = self._size + rows.size
        if size > self._room:
            self._resize(max(size, self._room + self._room // 4))
        for name, column in self._columns.items():
            column[self._size : size] = rows[name]
        self._size = size

    def rows(self) -> Rows:
        """Return all rows; no more can be added."""
        self._resize(self._size)
        return Rows(self._columns)

    def _resize(self, room: int) -> None:
        for column in self._columns.values():
            column.resize(room, refcheck=False)  # where it lies, as far as the system can
        self._room = room
