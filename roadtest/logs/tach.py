"""Reading tach.csv: engine speed against time, or the times of raw pulses."""

from __future__ import annotations

from typing import Final

import numpy as np

from roadtest.errors import InputError
from roadtest.logs.csv_cells import EMPTY, NOT_A_NUMBER, NOT_FINITE
from roadtest.logs.csv_table import (
    Column,
    Table,
    layout_remarks,
    other_columns,
    read_table,
    refuse_damaged,
    refuse_shifted,
    shown,
)
from roadtest.logs.model import Floats, TachLog
from roadtest.logs.rejects import Rejects
from roadtest.logs.time_column import (
    find_time_column,
    in_order,
    missing_columns,
    nothing_usable,
    read_times,
)
from roadtest.units import UnknownUnitError, find_unit

_WANTED: Final = 'the columns "time" (or "elapsed_s") and "rpm", or the column "pulse_time_s"'
_FASTEST_RPM: Final = 30000.0
"""Chosen here: no car engine turns as fast, so a higher figure is damage."""

_SLOWEST_RPM: Final = 300.0
"""Chosen here: no car engine idles below it (common practice, no published source)."""
_ENOUGH_ROWS: Final = 100  # to tell what a log is in


def read_tach(data: bytes, name: str) -> TachLog:
    """Return the engine speeds (or pulses) in `data`, the content of a tach.csv called `name`.

    Every row that can't be used is counted by reason. Where there is a column `pulse_time_s`
    and no `rpm` with a time of its own, the rows are pulses and `rpm` is None.

    Raises InputError when the header lacks what is needed or no row can be used.
    """
    table = read_table(data, name, _WANTED)
    time, rpm_column = _columns(table)
    used = (time,) if rpm_column is None else (time, rpm_column)
    rejects = Rejects(table.records.line)
    refuse_damaged(table, rejects)
    remarks = refuse_shifted(table, needed=used, read=used, rejects=rejects)
    clock, seconds = read_times(table, time, rejects)
    rpm = None if rpm_column is None else _engine_speed(table, rpm_column, rejects)
    order, order_remarks = in_order(clock, seconds, table.records.line, rejects)
    if not order.size:
        raise nothing_usable(table, time, rejects, _WANTED)
    if rpm is not None and rpm_column is not None:
        _check_size(table, rpm_column, rpm[order])
    numeric = [column for column in used if column.name != "time"]
    return TachLog(
        name=name,
        clock=clock,
        time_s=seconds[order],
        rpm=None if rpm is None else rpm[order],
        rows_read=len(table),
        rejected=rejects.losses(),
        ignored_columns=other_columns(table, used),
        remarks=(*layout_remarks(table, numeric), *remarks, *order_remarks),
    )


def _columns(table: Table) -> tuple[Column, Column | None]:
    """Return the time column and the column of engine speed, None for a log of pulses."""
    rpm = table.find("rpm")
    own_time = table.find("time") or table.find("elapsed_s")
    if table.find("pulse_time_s") and not (rpm and own_time):
        return find_time_column(table, ("pulse_time_s",), _WANTED), None
    time = find_time_column(table, ("time", "elapsed_s"), _WANTED)
    if rpm is None:
        raise missing_columns(table, _WANTED)
    _check_unit(table, rpm)
    return time, rpm


def _check_unit(table: Table, rpm: Column) -> None:
    try:
        plain = not rpm.unit or find_unit(rpm.unit).name == "rpm"
    except UnknownUnitError:
        plain = False
    if not plain:
        found = f'column "rpm" in {shown(rpm.unit)}'
        raise InputError(table.name, f"line {table.header_line}", found, "revolutions a minute")


def _check_size(table: Table, column: Column, rpm: Floats) -> None:
    """Raise InputError where the figures are too small for an engine: thousands, or turns a second.

    A log of an engine that stood still is one all the same.
    """
    if rpm.size >= _ENOUGH_ROWS and 0.0 < rpm.max() < _SLOWEST_RPM:
        found = f'column "{column.name}" never above {rpm.max():.3g}'
        raise InputError(table.name, f"line {table.header_line}", found, "revolutions a minute")


def _engine_speed(table: Table, column: Column, rejects: Rejects) -> Floats:
    rpm, codes = table.numbers(column)
    rejects.mark(codes == EMPTY, "no rpm")
    rejects.mark(codes == NOT_A_NUMBER, "rpm not a number")
    rejects.mark(codes == NOT_FINITE, "rpm not finite")
    rejects.mark(rpm < 0.0, "negative rpm")
    rejects.mark(rpm > _FASTEST_RPM, f"rpm above {_FASTEST_RPM:.0f}")
    return np.abs(rpm)  # "-0" is written by some loggers
