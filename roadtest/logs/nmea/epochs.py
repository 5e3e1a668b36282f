"""Puts the sentences of one moment together: one epoch, one fix."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.model import Floats, Ints
from roadtest.logs.nmea.columns import (
    ABSENT,
    ESTIMATED,
    FIX,
    GOOD,
    MANUAL,
    NO_FIX,
    OUT_OF_RANGE,
    SIMULATED,
    UNREADABLE,
    Rows,
)
from roadtest.logs.nmea.sentences import GGA, GLL, GNS, GST, RMC, Bools

# Receivers round the same moment to two or to three decimals; none sends more than 100 fixes a
# second.
_KEY_US: Final = 10_000
# Sentences with equal times beyond this many share an epoch.
_MOST_ALIKE: Final = 1 << 24

# Why an epoch is no fix; the first stands for one that is.
REASONS: Final = (
    "",
    "no fix",
    "estimated position",
    "manual position",
    "simulated position",
    "unreadable position",
    "position out of range",
    "leap second",
    "duplicate fix",
    "time stands still",
    "time out of order",
)
IS_FIX: Final = 0
_CLAIM_REASONS: Final = {NO_FIX: 1, ESTIMATED: 2, MANUAL: 3, SIMULATED: 4}
_POSITION_REASONS: Final = {ABSENT: 1, UNREADABLE: 5, OUT_OF_RANGE: 6}
LEAP_SECOND, DUPLICATE, STANDS_STILL, OUT_OF_ORDER = range(7, 11)


@dataclass(frozen=True)
class Epochs:
    """Epochs in order of their times; arrays [n]. Equal times stand in file order."""

    place: Ints  # of the first sentence, bytes from the start of the file
    key: Ints  # the time in units in which one moment's sentences agree
    time_us: Ints  # since 1970 UTC
    sixty: Bools  # the clock reads second 60
    reason: NDArray[np.uint8]  # index into REASONS
    latitude_deg: Floats
    longitude_deg: Floats
    decimals: Ints  # of the minutes of the position
    altitude_m: Floats
    speed_mps: Floats
    step_mps: Floats  # one in the last place of the speed
    course_deg: Floats
    hdop: Floats
    u_position_m: Floats
    of_row: Ints  # [rows] the epoch of each row, -1 where it has none


def time_keys(time_us: Ints) -> Ints:
    """Return times in the units in which sentences of one moment agree."""
    return (time_us + _KEY_US // 2) // _KEY_US


def build_epochs(rows: Rows, time_us: Ints) -> Epochs:
    """Return the epochs that the rows make up.

    Position from the sentence that writes it with most decimals, RMC before GGA, GNS and GLL where
    they are level; speed and course from RMC; altitude and HDOP from GGA, then GNS. An epoch is
    a fix when a sentence of it says so and none says otherwise.

    Parameters
    ----------
    rows : [n] TIMED, in file order, of talkers that belong together
    time_us : [n] µs since 1970 UTC
    """
    key = time_keys(time_us)
    fixes = np.flatnonzero(rows["kind"] <= GLL)
    code = key[fixes] * _MOST_ALIKE + _occurrence(key[fixes], rows["kind"][fixes])
    codes, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    of_row = np.full(rows.size, -1, dtype=np.int64)
    of_row[fixes] = inverse
    builder = _Builder(rows, of_row, codes.size)
    u_position_m = _reported_uncertainty(rows, key, codes)
    return Epochs(
        place=rows["place"][fixes[first]].astype(np.int64),
        key=codes // _MOST_ALIKE,
        time_us=builder.times(time_us),
        sixty=builder.sixty,
        reason=builder.reasons(),
        latitude_deg=builder.latitude_deg,
        longitude_deg=builder.longitude_deg,
        decimals=builder.decimals,
        altitude_m=builder.first_known("altitude_m", (GGA, GNS)),
        speed_mps=builder.first_known("speed_mps", (RMC,)),
        step_mps=builder.first_known("step_mps", (RMC,)),
        course_deg=builder.first_known("course_deg", (RMC,)),
        hdop=builder.first_known("hdop", (GGA, GNS)),
        u_position_m=u_position_m,
        of_row=of_row,
    )


def _occurrence(key: Ints, kind: NDArray[np.uint8]) -> Ints:
    """Return how many sentences of the same kind and time stand before each one in the file."""
    count = np.zeros(key.size, dtype=np.int64)
    for one in range(RMC, GLL + 1):
        rows = np.flatnonzero(kind == one)
        times = key[rows]
        if (np.diff(times) > 0).all():
            continue
        order = np.argsort(times, kind="stable")
        sorted_times = times[order]
        at = np.arange(times.size)
        starts = np.diff(sorted_times, prepend=sorted_times[:1] - 1) != 0
        count[rows[order]] = at - np.maximum.accumulate(np.where(starts, at, 0))
    return np.minimum(count, _MOST_ALIKE - 1)


def _reported_uncertainty(rows: Rows, key: Ints, codes: Ints) -> Floats:
    """Return what GST says of each epoch, by time; it stands for the first epoch of that time."""
    u_position_m = np.full(codes.size, np.nan)
    gst = np.flatnonzero(rows["kind"] == GST)
    at = np.searchsorted(codes, key[gst] * _MOST_ALIKE)
    hit = at < codes.size
    hit[hit] = codes[at[hit]] == key[gst[hit]] * _MOST_ALIKE
    u_position_m[at[hit]] = rows["u_position_m"][gst[hit]]
    return u_position_m


class _Builder:
    """Spreads rows over their epochs, one kind of sentence at a time."""

    def __init__(self, rows: Rows, of_row: Ints, count: int) -> None:
        self._rows = rows
        self._count = count
        self._of_kind: dict[int, tuple[Ints, Ints]] = {}
        for kind in (GLL, GNS, GGA, RMC):  # the later has the last word where both are as good
            at = np.flatnonzero(rows["kind"] == kind)
            if at.size:
                self._of_kind[kind] = at, of_row[at]
        self.sixty = np.zeros(count, dtype=np.bool_)
        self.latitude_deg = np.full(count, np.nan)
        self.longitude_deg = np.full(count, np.nan)
        self.decimals = np.full(count, -1, dtype=np.int64)
        self._claim = np.zeros(count, dtype=np.uint8)
        self._position = np.full(count, ABSENT, dtype=np.uint8)
        for at, epoch in self._of_kind.values():
            self._add(at, epoch)

    def _add(self, at: Ints, epoch: Ints) -> None:
        rows = self._rows
        self.sixty[epoch] |= rows["sixty"][at]
        self._claim[epoch] = np.maximum(self._claim[epoch], rows["claim"][at])
        position, decimals = rows["position"][at], rows["decimals"][at]
        good = position == GOOD
        # A position from one sentence makes up for a bad one in another.
        had_good = self._position[epoch] == GOOD
        worse = ~good & ~had_good & (position > self._position[epoch])
        self._position[epoch[worse]] = position[worse]
        better = good & (decimals >= self.decimals[epoch])
        at, epoch = at[better], epoch[better]
        self._position[epoch] = GOOD
        self.latitude_deg[epoch] = rows["latitude_deg"][at]
        self.longitude_deg[epoch] = rows["longitude_deg"][at]
        self.decimals[epoch] = rows["decimals"][at]

    def times(self, time_us: Ints) -> Ints:
        """Return the time of each epoch, as RMC writes it before GGA, GNS and GLL."""
        times = np.zeros(self._count, dtype=np.int64)
        for at, epoch in self._of_kind.values():
            times[epoch] = time_us[at]
        return times

    def first_known(self, name: str, kinds: tuple[int, ...]) -> Floats:
        """Return column `name` of each epoch from the first of `kinds` that has it, else NaN."""
        values = np.full(self._count, np.nan)
        for kind in reversed(kinds):
            if kind in self._of_kind:
                at, epoch = self._of_kind[kind]
                column = self._rows[name][at]
                known = np.isfinite(column)
                values[epoch[known]] = column[known]
        return values

    def reasons(self) -> NDArray[np.uint8]:
        """Return why each epoch is no fix, as index into REASONS."""
        reason = np.full(self._count, IS_FIX, dtype=np.uint8)
        for position, index in _POSITION_REASONS.items():
            reason[self._position == position] = index
        reason[self._claim < FIX] = _CLAIM_REASONS[NO_FIX]
        for claim, index in _CLAIM_REASONS.items():
            reason[self._claim == claim] = index
        return reason
