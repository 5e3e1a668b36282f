"""Puts the times of day in a log onto the calendar.

Only RMC and ZDA carry a date. Times of day are first made continuous over midnight in file order;
what is left to find is by how many days each stretch of the file is out, which its dates say.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from roadtest.logs.model import Ints
from roadtest.logs.nmea.columns import FIX, Rows
from roadtest.logs.nmea.fields import DAY_US, NO_DAY
from roadtest.logs.nmea.sentences import GLL, RMC, ZDA, Bools

# The week number a GPS satellite sends has 10 bits.
_ROLLOVER_DAYS: Final = 1024 * 7
_YEAR_2000: Final = 10_957  # days from 1970-01-01
# A receiver may be late to change its date at midnight.
_LATE_DATE_US: Final = 30_000_000


def calendar_times(rows: Rows) -> tuple[Ints, tuple[str, ...]]:
    """Return the time of each row in µs since 1970 UTC, [n], and remarks.

    `rows` are TIMED rows in file order. Without any date the log begins on 1970-01-01.
    """
    clock = rows["clock_us"]
    wraps = _wraps(clock)
    day = rows["day"].astype(np.int64)
    dated = _trusted(rows)
    if not dated.any():
        remark = "no date in the file: the day is taken as 1970-01-01"
        return clock + wraps * DAY_US, (remark,) if rows.size else ()
    at = np.flatnonzero(dated)
    running_us = clock + wraps * DAY_US
    shift = _right_century(rows, day)[at] - wraps[at]
    shift, late = _without_late_dates(shift, running_us[at])
    shift, rolled = _without_rollover(shift)
    time_us = running_us + _spread(shift, at, running_us) * DAY_US
    remarks = []
    if late:
        remarks.append(
            f"dates at odds with the times around them, mended from those around: {late}"
        )
    if rolled:
        remarks.append(
            "dates 1024 weeks before the rest of the file (the receiver's week number had rolled"
            f" over), moved on by 1024 weeks: {rolled}"
        )
    if time_us[at].min() < _YEAR_2000 * DAY_US:
        remarks.append(
            "dates before 2000: a receiver whose week number has rolled over shows dates 1024"
            " weeks (19.6 years) too early"
        )
    return time_us, tuple(remarks)


def _wraps(clock: Ints) -> Ints:
    """Return how many midnights have passed since the first row; steps are below half a day."""
    step = np.diff(clock, prepend=clock[:1])
    passed = (step < -DAY_US // 2).astype(np.int64) - (step > DAY_US // 2)
    return np.cumsum(passed)


def _trusted(rows: Rows) -> Bools:
    """Return which rows have a date to go by: those with a fix, if any has.

    Before its first fix a receiver may show any date.
    """
    has_day = rows["day"] != NO_DAY
    fixes = rows["kind"] <= GLL
    # A ZDA is as good as the last sentence before it that says whether there is a fix.
    at = np.maximum.accumulate(np.where(fixes, np.arange(rows.size), -1))
    fixed = (at >= 0) & (rows["claim"][at] == FIX)
    good: Bools = has_day & fixed
    return good if good.any() else np.asarray(has_day)


def _right_century(rows: Rows, day: Ints) -> Ints:
    """Return the days, with RMC's two-digit years in the century that ZDA states."""
    is_zda = (rows["kind"] == ZDA) & (rows["day"] != NO_DAY)
    is_rmc = (rows["kind"] == RMC) & (rows["day"] != NO_DAY)
    if not is_zda.any() or not is_rmc.any():
        return day
    years = np.unique(_year(day[is_zda]))
    year = _year(day)
    day = day.copy()
    for change in (100, -100):
        wrong = is_rmc & ~np.isin(year, years) & np.isin(year + change, years)
        if wrong.any():
            months = day[wrong].astype("datetime64[D]").astype("datetime64[M]")
            moved = (months + 12 * change).astype("datetime64[D]") - months.astype("datetime64[D]")
            day[wrong] += moved.astype(np.int64)
    return day


def _year(day: Ints) -> Ints:
    return day.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64) + 1970


def _without_late_dates(shift: Ints, running_us: Ints) -> tuple[Ints, int]:
    """Return the shifts with short deviations mended, and how many those were.

    A deviation counts where the times run on through it while the dates leave and come back.
    """
    starts = np.flatnonzero(np.diff(shift, prepend=shift[:1] - 1))
    if starts.size < 3:
        return shift, 0
    stops = np.append(starts[1:], shift.size)
    before, after = starts[1:-1] - 1, stops[1:-1]
    back = shift[before] == shift[after]
    brief = np.abs(running_us[after] - running_us[before]) <= _LATE_DATE_US
    mended = shift.copy()
    for run in np.flatnonzero(back & brief) + 1:
        mended[starts[run] : stops[run]] = mended[starts[run] - 1]
    return mended, int(np.count_nonzero(mended != shift))


def _without_rollover(shift: Ints) -> tuple[Ints, int]:
    """Return the shifts with those 1024 weeks (or twice that) before the latest moved on."""
    early = shift.max() - shift
    rolled = (early > 0) & (early % _ROLLOVER_DAYS == 0)
    return np.where(rolled, shift + early, shift), int(np.count_nonzero(rolled))


def _spread(shift: Ints, at: Ints, running_us: Ints) -> Ints:
    """Return the shift of every row: that of the nearer dated row, before or after it, by time."""
    if (shift == shift[0]).all():
        return np.full(running_us.size, shift[0])
    rows = np.arange(running_us.size)
    after = np.minimum(np.searchsorted(at, rows), at.size - 1)
    before = np.maximum(np.searchsorted(at, rows, side="right") - 1, 0)
    late = np.abs(running_us - running_us[at[after]])
    early = np.abs(running_us - running_us[at[before]])
    # At equal times the nearer in the file.
    closer = (late == early) & (np.abs(at[after] - rows) < np.abs(rows - at[before]))
    return np.where((late < early) | closer, shift[after], shift[before])
