"""The times of the rows of a CSV log: which column has them, on what clock, and in what order."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from roadtest.errors import InputError
from roadtest.logs.csv_cells import EMPTY, NOT_FINITE, NUMBER, Bools, Codes
from roadtest.logs.csv_table import Column, Table, named, shown
from roadtest.logs.model import Clock, Floats, Ints
from roadtest.logs.rejects import Rejects
from roadtest.logs.timestamps import NO_ZONE, UNREADABLE, ZONED, iso_seconds

_ISO_EXAMPLE: Final = "2026-05-02T09:14:10.25+01:00"
_LONGEST_ELAPSED_S: Final = 1e10
"""About 300 years, chosen here: more is damage, and seconds since 1970 still fit."""

_LEAST_JUMP_S: Final = 1.0
_JUMP_STEPS: Final = 10.0
"""What makes a step back a jump rather than rows out of order: both chosen here."""


def find_time_column(table: Table, accepted: tuple[str, ...], wanted: str) -> Column:
    """Return the first of the `accepted` columns that the table has.

    Raises InputError, naming the columns there are, when it has none.
    """
    for name in accepted:
        column = table.find(name)
        if column:
            if name != "time" and column.unit not in ("", "s"):
                place = f"line {table.header_line}"
                found = f'column "{name}" in {shown(column.unit)}'
                raise InputError(table.name, place, found, "seconds")
            return column
    raise missing_columns(table, wanted)


def missing_columns(table: Table, wanted: str) -> InputError:
    """Return the error for a header that lacks what is needed."""
    found = f"the columns {named(table.columns)}"
    return InputError(table.name, f"line {table.header_line}", found, wanted)


def read_times(table: Table, column: Column, rejects: Rejects) -> tuple[Clock, Floats]:
    """Return the clock and the time of every row in s ([n], NaN where refused).

    A column `time` holds ISO 8601; others hold seconds on a clock of their own. Where some rows
    have a zone and some have none, the fewer are refused.
    """
    if column.name != "time":
        return "elapsed", _elapsed(table, column, rejects)
    seconds, codes = iso_seconds(table.cells(column))
    rejects.mark(codes == UNREADABLE, "unreadable time")
    good = rejects.good
    zoned, bare = good & (codes == ZONED), good & (codes == NO_ZONE)
    local = int(bare.sum()) > int(zoned.sum())
    rejects.mark(zoned if local else bare, "zone unlike the other rows" if local else "no zone")
    return "local" if local else "utc", np.where(rejects.good, seconds, np.nan)


def _elapsed(table: Table, column: Column, rejects: Rejects) -> Floats:
    seconds, codes = table.numbers(column)
    absurd = (codes == NOT_FINITE) | (np.abs(seconds) > _LONGEST_ELAPSED_S)
    rejects.mark(absurd, "absurd time")
    rejects.mark(codes != NUMBER, "unreadable time")
    return np.where(rejects.good, seconds, np.nan)


def in_order(
    clock: Clock, seconds: Floats, lines: Ints, rejects: Rejects
) -> tuple[Ints, list[str]]:
    """Return the rows to use in order of time, strictly increasing, and remarks.

    Rows out of order are sorted. Refused are: a single row whose time jumps away and back, the
    shorter stretches of a clock of its own that started again, and rows that repeat a time.
    """
    rows = np.flatnonzero(rejects.good)
    steps = np.diff(seconds[rows])
    if bool((steps > 0.0).all()):
        return rows, []
    jump_s = max(_LEAST_JUMP_S, _JUMP_STEPS * float(np.median(np.abs(steps))))
    rejects.mark(_among(rows[_strays(seconds[rows], jump_s)], seconds), "time out of order")
    rows = np.flatnonzero(rejects.good)
    if clock == "elapsed":
        rejects.mark(_among(_restarted(rows, seconds[rows], jump_s), seconds), "clock restarted")
        rows = np.flatnonzero(rejects.good)
    back = np.flatnonzero(np.diff(seconds[rows]) < 0.0)
    remarks = [
        f"rows sorted by time, which goes back: {back.size}, first line {lines[rows[k + 1]]}"
        for k in back[:1]
    ]
    rows = rows[np.argsort(seconds[rows], kind="stable")]
    again = np.flatnonzero(np.diff(seconds[rows]) == 0.0) + 1
    rejects.mark(_among(rows[again], seconds), "duplicate time")
    return np.delete(rows, again), remarks


def _strays(seconds: Floats, jump_s: float) -> Bools:
    """Tell which single rows stand more than a jump away from neighbours that are in order."""
    stray = np.zeros(seconds.size, dtype=np.bool_)
    if seconds.size < 3:
        return stray
    before, here, after = seconds[:-2], seconds[1:-1], seconds[2:]
    away = (here > after + jump_s) | (here < before - jump_s)
    stray[1:-1] = away & (before <= after)
    stray[0] = seconds[0] > seconds[1] + jump_s
    stray[-1] = seconds[-1] < seconds[-2] - jump_s
    return stray


def _restarted(rows: Ints, seconds: Floats, jump_s: float) -> Ints:
    """Return the rows outside the longest stretch, when stretches between jumps back overlap."""
    cuts = np.flatnonzero(np.diff(seconds) < -jump_s) + 1
    blocks = np.split(np.arange(rows.size), cuts)
    spans = sorted((float(seconds[b].min()), float(seconds[b].max())) for b in blocks if b.size)
    if all(high < low for (_, high), (low, _) in pairwise(spans)):
        return rows[:0]
    longest = max(blocks, key=len)
    return np.delete(rows, longest)


def _among(rows: Ints, like: Floats) -> Bools:
    chosen = np.zeros(like.size, dtype=np.bool_)
    chosen[rows] = True
    return chosen


def nothing_usable(table: Table, time: Column, rejects: Rejects, wanted: str) -> InputError:
    """Return the error for a file of which no row can be used."""
    place = f"line {table.header_line}"
    if not len(table):
        return InputError(table.name, place, "no rows after the header", f"rows of {wanted}")
    found = f"none of {len(table)} rows can be used ({rejects.summary()})"
    losses = rejects.losses()
    if "long row" in losses and table.delimiter == ",":
        wanted = f"as many fields as the header has columns ({len(table.columns)}), decimal points"
    elif "unreadable time" in losses and time.name == "time":
        codes: Codes = table.numbers(time)[1]
        plain = 2 * int((codes == NUMBER).sum()) > int((codes != EMPTY).sum())
        hint = '; plain numbers of seconds belong in a column "elapsed_s"' if plain else ""
        wanted = f"ISO 8601 times such as {_ISO_EXAMPLE}{hint}"
    return InputError(table.name, "", found, wanted)
