"""Reading channels.csv: any other logged quantities against time, units in the header."""

from __future__ import annotations

from typing import Final

import numpy as np

from roadtest.logs.csv_cells import NOT_A_NUMBER, NOT_FINITE, NUMBER
from roadtest.logs.csv_table import (
    Column,
    Table,
    layout_remarks,
    other_columns,
    read_table,
    refuse_damaged,
    refuse_shifted,
)
from roadtest.logs.model import Channel, ChannelsLog, Floats
from roadtest.logs.rejects import Rejects
from roadtest.logs.time_column import (
    find_time_column,
    in_order,
    missing_columns,
    nothing_usable,
    read_times,
)

_WANTED: Final = (
    'a column "time" (or "elapsed_s") and columns of readings such as "coolant_temperature [degC]"'
)


def read_channels(data: bytes, name: str) -> ChannelsLog:
    """Return the quantities in `data`, the content of a channels.csv called `name`.

    A column is a channel when it has a name and more of its cells are numbers than are not;
    others are listed as ignored. A cell that holds no number is NaN; a row without any number
    is refused. Values stay in the unit of the header.

    Raises InputError when the header lacks what is needed or no row can be used.
    """
    table = read_table(data, name, _WANTED)
    time = find_time_column(table, ("time", "elapsed_s"), _WANTED)
    repeated = set(table.repeated)
    named = [c for c in table.columns if c.name and c is not time and c not in repeated]
    if not named:
        raise missing_columns(table, _WANTED)
    rejects = Rejects(table.records.line)
    refuse_damaged(table, rejects)
    remarks = refuse_shifted(table, needed=[time], read=[time, *named], rejects=rejects)
    clock, seconds = read_times(table, time, rejects)
    found = {column: values for column in named if (values := _values(table, column, rejects))}
    numeric = np.zeros(len(table), dtype=np.bool_)
    for readings, _ in found.values():
        numeric |= np.isfinite(readings)
    rejects.mark(~numeric, "no reading")
    order, order_remarks = in_order(clock, seconds, table.records.line, rejects)
    if not order.size:
        raise nothing_usable(table, time, rejects, _WANTED)
    cell_remarks = [remark for _, remark in found.values() if remark]
    used = [time, *found]
    numeric_columns = used[1:] if time.name == "time" else used
    return ChannelsLog(
        name=name,
        clock=clock,
        time_s=seconds[order],
        channels=tuple(Channel(c.name, c.unit, v[order]) for c, (v, _) in found.items()),
        rows_read=len(table),
        rejected=rejects.losses(),
        ignored_columns=other_columns(table, used),
        remarks=(*layout_remarks(table, numeric_columns), *remarks, *cell_remarks, *order_remarks),
    )


def _values(table: Table, column: Column, rejects: Rejects) -> tuple[Floats, str] | None:
    """Return a channel's values and a remark on cells lost, or None when it is no channel."""
    values, codes = table.numbers(column)
    usable = rejects.good
    words = usable & (codes == NOT_A_NUMBER)
    count = int((usable & (codes == NUMBER)).sum())
    if not count or count < int(words.sum()):
        return None
    lost = words | (usable & (codes == NOT_FINITE))
    if not lost.any():
        return values, ""
    first = int(table.records.line[lost][0])
    return values, f"{column.name}: {int(lost.sum())} cells hold no number, first line {first}"
