"""ISO 8601 date and time, many at once.

The profile read is a date, a time of day and perhaps a zone: `2026-05-02T09:14:10.25+01:00`. "T"
may be a space or small; seconds may be missing; the fraction may follow a point or a comma; the
zone is `Z`, `±hh:mm`, `±hhmm` or `±hh`, or missing.

Reference: ISO 8601-1:2019, 5.2.2.1, 5.3 and 5.4.2.1 (extended format) [value from memory].
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.csv_cells import Bools, Bytes, Cells, Codes
from roadtest.logs.model import Floats, Ints

UNREADABLE: Final = 0
NO_ZONE: Final = 1
ZONED: Final = 2

_TAIL_AT: Final = 16  # where seconds, fraction and zone begin
_LONGEST: Final = 40
_WIDEST_OFFSET_H: Final = 14  # the widest in use is +14:00
_MOST_DECIMALS: Final = 12


def iso_seconds(cells: Cells) -> tuple[Floats, Codes]:
    """Return seconds since 1970 and UNREADABLE, NO_ZONE or ZONED for each cell.

    Zoned times count from 1970 UTC; others from 1970 on their own wall clock. NaN where
    unreadable. A leap second (`:60`) is the first second after it.
    """
    seconds = np.full(len(cells), np.nan)
    codes = np.full(len(cells), UNREADABLE, dtype=np.int8)
    for rows, letters in cells.blocks():
        if letters.shape[0] < _TAIL_AT:
            continue
        padded = np.zeros((_LONGEST + 8, letters.shape[1]), dtype=np.uint8)
        kept = min(letters.shape[0], _LONGEST)
        padded[:kept] = letters[:kept]
        seconds[rows], codes[rows] = _block_seconds(padded)
    too_wide = cells.length > _LONGEST
    seconds[too_wide], codes[too_wide] = np.nan, UNREADABLE
    return seconds, codes


def _block_seconds(letters: Bytes) -> tuple[Floats, Codes]:
    days, date_ok = _days(letters)
    whole, fraction, at, clock_ok = _time_of_day(letters)
    offset, zoned, zone_ok = _zone(letters, at)
    good = date_ok & clock_ok & zone_ok
    seconds = (days * 86400 + whole - offset) + fraction
    codes = np.where(good, np.where(zoned, ZONED, NO_ZONE), UNREADABLE).astype(np.int8)
    return np.where(good, seconds, np.nan), codes


def _days(letters: Bytes) -> tuple[Ints, Bools]:
    """Return days since 1970 of the date in the first ten places, and where there is one."""
    year, year_ok = _digits(letters[0:4])
    month, month_ok = _digits(letters[5:7])
    day, day_ok = _digits(letters[8:10])
    good = year_ok & month_ok & day_ok & (letters[4] == ord("-")) & (letters[7] == ord("-"))
    good &= (year >= 1) & (month >= 1) & (month <= 12) & (day >= 1)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0)
    first, following = _month_start(months), _month_start(months + 1)
    good &= day <= following - first
    return first + day - 1, good


def _month_start(months: Ints) -> Ints:
    return months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def _time_of_day(letters: Bytes) -> tuple[Ints, Floats, Ints, Bools]:
    """Return whole seconds, the fraction, the place after both, and where they can be read."""
    hour, hour_ok = _digits(letters[11:13])
    minute, minute_ok = _digits(letters[14:16])
    good = hour_ok & minute_ok & (hour < 24) & (minute < 60) & (letters[13] == ord(":"))
    good &= np.isin(letters[10], (ord("T"), ord("t"), ord(" ")))
    second, second_ok = _digits(letters[17:19])
    has_second = letters[16] == ord(":")
    good &= ~has_second | (second_ok & (second <= 60))
    whole = hour * 3600 + minute * 60 + np.where(has_second, second, 0)
    at = np.where(has_second, 19, _TAIL_AT)
    has_fraction = has_second & np.isin(letters[19], (ord("."), ord(",")))
    fraction, decimals = _fraction(letters, has_fraction)
    good &= ~has_fraction | (decimals > 0)
    return whole, fraction, np.where(has_fraction, 20 + decimals, at), good


def _fraction(letters: Bytes, has_fraction: Bools) -> tuple[Floats, Ints]:
    """Return the fraction written from place 20 on, and how many decimals it has."""
    value = np.zeros(has_fraction.size, dtype=np.int64)
    decimals = np.zeros(has_fraction.size, dtype=np.int64)
    running = has_fraction
    for place in range(20, 20 + _MOST_DECIMALS):
        digit = letters[place] - np.uint8(ord("0"))
        running = running & (digit < 10)
        if not running.any():
            break
        value = np.where(running, value * 10 + digit, value)
        decimals += running
    return value / 10.0**decimals, decimals


def _zone(letters: Bytes, at: Ints) -> tuple[Ints, Bools, Bools]:
    """Return the offset in seconds, whether a zone is written, and where all of it can be read."""
    # One blank may stand before the zone.
    at = at + (_letter(letters, at) == ord(" "))
    mark = _letter(letters, at)
    none = mark == 0
    utc = np.isin(mark, (ord("Z"), ord("z"))) & (_letter(letters, at + 1) == 0)
    signed = np.isin(mark, (ord("+"), ord("-")))
    offset, offset_ok = _offset(letters, at + 1, signed)
    offset = np.where(mark == ord("-"), -offset, offset)
    return np.where(signed, offset, 0), ~none, none | utc | offset_ok


def _offset(letters: Bytes, at: Ints, signed: Bools) -> tuple[Ints, Bools]:
    """Return the seconds in `hh:mm`, `hhmm` or `hh` from place `at` on, and where it is one."""
    if not signed.any():
        return np.zeros(at.size, dtype=np.int64), signed
    hour, hour_ok = _digits(np.stack([_letter(letters, at + k) for k in range(2)]))
    at = at + 2 + (_letter(letters, at + 2) == ord(":"))
    minute, minute_ok = _digits(np.stack([_letter(letters, at + k) for k in range(2)]))
    bare = (_letter(letters, at) == 0) & (_letter(letters, at - 1) != ord(":"))
    end = np.where(bare, at, at + 2)
    good = signed & hour_ok & (bare | minute_ok) & (_letter(letters, end) == 0)
    minute = np.where(bare, 0, minute)
    return hour * 3600 + minute * 60, good & (hour <= _WIDEST_OFFSET_H) & (minute < 60)


def _letter(letters: Bytes, at: Ints) -> Bytes:
    picked: NDArray[np.uint8] = letters[at, np.arange(at.size)]
    return picked


def _digits(letters: Bytes) -> tuple[Ints, Bools]:
    """Return the number written in the rows of `letters`, and where all of them are digits."""
    value = np.zeros(letters.shape[1], dtype=np.int64)
    good = np.ones(letters.shape[1], dtype=np.bool_)
    for row in letters:
        digit = row - np.uint8(ord("0"))  # wraps round below "0"
        good &= digit < 10
        value = value * 10 + digit
    return value, good
