"""Turns the text of sentence fields into numbers, a column at a time.

Digits are gathered into whole numbers and divided by a power of ten once, so a field of up to 15
digits becomes the float nearest to what is written. Text that is no number never raises: it is
told apart from an empty field and from a good one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.logs.model import Floats, Ints
from roadtest.logs.nmea.sentences import Bools, Bytes, windows

DAY_US: Final = 86_400_000_000
NO_TIME: Final = -1  # an empty field
BAD_TIME: Final = -2
NO_DAY: Final = -(2**31)

_LONGEST: Final = 18  # characters; more digits would not fit a 64-bit whole number
_TENS: Final = 10 ** np.arange(_LONGEST + 1, dtype=np.int64)


@dataclass(frozen=True)
class Decimals:
    """A column of plain decimal numbers, [n]: `digits` / 10**`decimals`, with sign."""

    digits: Ints
    decimals: Bytes  # digits behind the point
    whole: Bytes  # digits before it
    readable: Bools  # False where empty or no number
    empty: Bools

    @property
    def scale(self) -> Ints | np.int64:
        """10**`decimals`; one number where all fields are written alike, which is faster."""
        if self.decimals.size and (self.decimals == self.decimals[0]).all():
            return np.int64(_TENS[self.decimals[0]])
        return _TENS[self.decimals]

    @property
    def values(self) -> Floats:
        """The numbers, NaN where there is none."""
        return np.where(self.readable, self.digits / self.scale, np.nan)

    @property
    def step(self) -> Floats:
        """The value of one in the last place."""
        return 1.0 / _TENS[self.decimals]


def read_decimals(text: Bytes, span: tuple[Ints, Ints], signed: bool = False) -> Decimals:
    """Return the numbers in text[start:stop], one a pair. A sign is a number only if `signed`."""
    start, stop = span
    length = stop - start
    width = max(1, min(int(length.max(initial=0)), _LONGEST))
    # A row a character, a column a field.
    char = np.ascontiguousarray(windows(text, width)[start].T)
    inside = np.arange(width, dtype=np.uint8)[:, np.newaxis] < np.minimum(length, 255).astype("u1")
    figure = char - np.uint8(ord("0"))
    is_digit = inside & (figure < 10)
    is_dot = inside & (char == ord("."))
    strange = inside & ~is_digit & ~is_dot
    minus = np.zeros(start.size, dtype=np.bool_)
    if signed:
        minus = strange[0] & (char[0] == ord("-"))
        strange[0] &= ~minus & (char[0] != ord("+"))
    digits = _whole_number(figure, is_digit)
    dots = np.add.reduce(is_dot, axis=0, dtype=np.uint8)
    count = np.add.reduce(is_digit, axis=0, dtype=np.uint8)
    decimals = _digits_behind(is_dot, is_digit)
    return Decimals(
        digits=np.where(minus, -digits, digits) if signed else digits,
        decimals=decimals,
        whole=count - decimals,
        readable=(count > 0) & (dots < 2) & (length <= _LONGEST) & ~strange.any(axis=0),
        empty=length == 0,
    )


def _whole_number(figure: Bytes, is_digit: Bools) -> Ints:
    """Return the digits of each column, read from the top, as one number."""
    digits = np.zeros(figure.shape[1], dtype=np.int64)
    everywhere, somewhere = np.all(is_digit, axis=1), np.any(is_digit, axis=1)
    for number, row in enumerate(figure):
        if everywhere[number]:
            digits *= 10
            digits += row
        elif somewhere[number]:
            digits = np.where(is_digit[number], digits * 10 + row, digits)
    return digits


def _digits_behind(is_dot: Bools, is_digit: Bools) -> Bytes:
    """Return how many digits of each column stand below a point."""
    count = np.zeros(is_dot.shape[1], dtype=np.uint8)
    dotted = is_dot[0].copy()
    for dot, digit in zip(is_dot[1:], is_digit[1:], strict=True):
        count += digit & dotted
        dotted |= dot
    return count


def read_letter(text: Bytes, span: tuple[Ints, Ints]) -> Bytes:
    """Return the one character of each field; 0 where the field is empty, 255 where longer."""
    start, stop = span
    char = text[start]
    return np.where(stop - start == 1, char, np.where(stop == start, 0, 255)).astype(np.uint8)


def read_clock(text: Bytes, span: tuple[Ints, Ints]) -> tuple[Ints, Bools]:
    """Return the time of day in hhmmss[.sss] fields, in µs, and which of them read second 60.

    NO_TIME where the field is empty, BAD_TIME where it holds no time.
    """
    field = read_decimals(text, span)
    scale = field.scale
    clock = field.digits // scale
    part_us = (field.digits - clock * scale) * 1_000_000 // scale
    hour = clock // 10_000
    minute = clock // 100 - hour * 100
    second = clock - clock // 100 * 100
    good = field.readable & (field.whole == 6) & (hour < 24) & (minute < 60) & (second <= 60)
    time_us = ((hour * 60 + minute) * 60 + second) * 1_000_000 + part_us
    time_us = np.where(good, time_us, np.where(field.empty, NO_TIME, BAD_TIME))
    return time_us, good & (second == 60)


def read_angle(text: Bytes, span: tuple[Ints, Ints]) -> tuple[Floats, Decimals]:
    """Return degrees from [d]ddmm.mmm fields: the two digits left of the point are minutes.

    NaN where unreadable. Minutes above 60 (60 itself comes from rounding) give infinity, so that
    they are found out of range.
    """
    field = read_decimals(text, span)
    scale = field.scale
    degrees = field.digits // scale // 100
    minutes = (field.digits - degrees * 100 * scale) / scale
    angle = np.where(minutes <= 60.0, degrees + minutes / 60.0, np.inf)
    return np.where(field.readable, angle, np.nan), field


def read_date(text: Bytes, span: tuple[Ints, Ints]) -> Ints:
    """Return the day of ddmmyy fields, counted from 1970-01-01; NO_DAY where there is none.

    Years 80 to 99 are those of the 20th century, for GPS time begins in 1980.
    """
    field = read_decimals(text, span)
    good = field.readable & (field.whole == 6) & (field.decimals == 0)
    number = np.where(good, field.digits, 0)
    # Dates hardly change: work out those that differ from the one before.
    fresh = np.diff(number, prepend=-1) != 0
    number = number[fresh]
    year = number % 100
    year += np.where(year >= 80, 1900, 2000)
    days = day_number(year, number // 100 % 100, number // 10_000)
    every: Ints = days[np.cumsum(fresh) - 1]
    return every


def day_number(year: Ints, month: Ints, day: Ints) -> Ints:
    """Return the days from 1970-01-01 to each date, NO_DAY where there is no such date."""
    good = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1970) & (year < 2200)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0)
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    following = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    good &= day <= following - first
    return np.where(good, first + day - 1, NO_DAY)
