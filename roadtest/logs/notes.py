"""Reading notes.csv: what the crew read off the dials, and hand checks.

People type these files. A row that can't be understood is not dropped: all such rows are told at
once, so that they can be mended.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal

from roadtest.errors import InputError, InputErrors
from roadtest.logs.csv_records import LONGEST_LINE
from roadtest.logs.csv_table import Column, Table, layout_remarks, other_columns, read_table, shown
from roadtest.logs.model import Loss, Note, Notes
from roadtest.logs.note_values import (
    NotUnderstoodError,
    Units,
    read_clock_face,
    read_item,
    read_text,
    read_time_tolerance,
    read_value,
)
from roadtest.logs.time_column import missing_columns
from roadtest.logs.timestamps import UNREADABLE, ZONED, iso_seconds

_WANTED: Final = "the columns time,item,value,unit,remark"
_NEEDED: Final = ("time", "item", "value")
_COLUMNS: Final = (*_NEEDED, "unit", "remark")
_TIME_WANTED: Final = (
    'ISO 8601 such as 2026-05-02T09:14:10+01:00, clock time of 24 hours such as "14:05:10", or '
    "nothing"
)
_WHOLE: Final = re.compile(r"[+-]?[0-9]+")
_TO_THE_MINUTE: Final = re.compile(r"(?:^|[Tt ])[0-9]{1,2}:[0-9]{2}(?![0-9:])")
_MOST_FIELDS: Final = 200

_NoteClock = Literal["utc", "local", "face"] | None


@dataclass(frozen=True)
class _Row:
    """The cells of a row as text, "" where it has none."""

    time: str
    item: str
    value: str
    unit: str = ""
    remark: str = ""


def read_notes(data: bytes, name: str, units: Units, dial: Units | None = None) -> Notes:
    """Return the notes in `data`, the content of a notes.csv called `name`, in file order.

    `units` is what people read (the build sheet's key), for readings without a unit; `dial` is what
    the speedometer shows, where that is another.

    Raises InputError when the header lacks what is needed, and InputErrors with a line for every
    row that can't be understood.
    """
    table = read_table(data, name, _WANTED)
    columns = _columns(table)
    seconds, zones = iso_seconds(table.cells(columns["time"]))
    rows: list[tuple[_Row, Note]] = []
    faults = []
    for index, fields in enumerate(_fields(table)):
        line = int(table.records.line[index])
        try:
            row = _row(table, columns, fields)
            clock, time_s = _time(row.time, float(seconds[index]), int(zones[index]))
            note = _note(row, line, (units, dial or units), decimal_comma=table.delimiter != ",")
        except NotUnderstoodError as fault:
            faults.append(InputError(name, f"line {line}", fault.found, fault.expected))
        else:
            rows.append((row, replace(note, clock=clock, time_s=time_s)))
    if faults:
        raise InputErrors(tuple(faults))
    empty = [n.line for _, n in rows if n.item == "remark" and not (n.text or n.remark)]
    return Notes(
        name=name,
        rows=tuple(note for _, note in rows if note.line not in empty),
        rejected={"remark with no text": Loss(len(empty), f"line {empty[0]}")} if empty else {},
        remarks=(*layout_remarks(table, [columns["value"]]), *_remarks(table, columns, rows)),
    )


def _columns(table: Table) -> dict[str, Column]:
    found = {name: column for name in _COLUMNS if (column := table.find(name))}
    if any(name not in found for name in _NEEDED):
        raise missing_columns(table, _WANTED)
    unit = found["value"].unit
    if unit:
        place, what = f"line {table.header_line}", f'column "value" in {shown(unit)}'
        raise InputError(table.name, place, what, "the unit of each row in the column unit")
    return found


def _fields(table: Table) -> Iterator[list[str]]:
    """Yield the text of all fields of each row."""
    records = table.records
    count = int(records.fields.max()) if len(table) else 0
    grid = [records.cells(place) for place in range(min(count, _MOST_FIELDS))]
    for index in range(len(table)):
        yield [cells.text(index) for cells in grid[: int(records.fields[index])]]


def _row(table: Table, columns: dict[str, Column], fields: list[str]) -> _Row:
    """Return the cells of a row; raises NotUnderstoodError where it isn't clear which is which."""
    if any("\0" in text for text in fields):
        raise NotUnderstoodError("NUL bytes", "text")
    if sum(map(len, fields)) > LONGEST_LINE or len(fields) == _MOST_FIELDS:
        raise NotUnderstoodError("a line too long to be a note", _WANTED)
    width, value_at = len(table.columns), columns["value"].place
    unit_at = columns["unit"].place if "unit" in columns else -1
    if table.delimiter == "," and (len(fields) > width or unit_at == value_at + 1):
        pair = fields[value_at : value_at + 2]
        if len(pair) == 2 and all(_WHOLE.fullmatch(text) for text in pair):
            raise NotUnderstoodError(
                f"{shown(','.join(pair))}, a decimal comma where commas part the columns",
                f'a decimal point: "{pair[0]}.{pair[1]}"',
            )
    cells = {
        name: fields[column.place] if column.place < len(fields) else ""
        for name, column in columns.items()
    }
    surplus = [text for text in fields[width:] if text]
    if surplus:
        # A comma in a remark that isn't in quotation marks: all of it is the remark.
        if "remark" not in columns or columns["remark"].place != width - 1:
            raise NotUnderstoodError(f"{len(fields)} fields", f"{width}, as the header has columns")
        cells["remark"] = ", ".join([cells["remark"], *surplus])
    return _Row(**{name: read_text(text) for name, text in cells.items()})


def _note(row: _Row, line: int, units: tuple[Units, Units], decimal_comma: bool) -> Note:
    """Return the note in a row, but for its time."""
    item = read_item(row.item)
    if item in ("left out", "target") and not row.remark:
        raise NotUnderstoodError(f"{item} without a reason", "the reason, under remark")
    if item == "left out" and not (row.time or row.value):
        raise NotUnderstoodError(
            "left out, but not what", "a time inside the manoeuvre, or its id such as stop-2"
        )
    plain = decimal_comma and item in ("indicated speed", "odometer", "tach", "gear")
    text = row.value.replace(",", ".") if plain else row.value
    value = read_value(item, text, row.unit, units[item == "indicated speed"])
    u_time_s = read_time_tolerance(row.remark)
    return Note(
        line=line,
        item=item,
        clock=None,
        time_s=None,
        value=value.value,
        text=row.value if plain else value.text,
        resolution=value.resolution,
        remark=row.remark,
        u_time_s=Note.u_time_s if u_time_s is None else u_time_s,
    )


def _time(text: str, iso_s: float, zone: int) -> tuple[_NoteClock, float | None]:
    """Return the clock and the time of a note whose ISO reading is `iso_s` on `zone`."""
    if not text:
        return None, None
    if zone != UNREADABLE:
        return ("utc" if zone == ZONED else "local"), iso_s
    face_s = read_clock_face(text)
    if face_s is None:
        raise NotUnderstoodError(f"time {shown(text)}", _TIME_WANTED)
    return "face", face_s


def _remarks(
    table: Table, columns: dict[str, Column], rows: list[tuple[_Row, Note]]
) -> Iterator[str]:
    ignored = other_columns(table, columns.values())
    if ignored:
        yield "columns not used: " + ", ".join(ignored)
    minutes = [
        note.line
        for row, note in rows
        if _TO_THE_MINUTE.search(row.time) and read_time_tolerance(row.remark) is None
    ]
    if minutes:
        yield (
            f"times written to the minute and taken as good to ±5 s: {len(minutes)}, first line "
            f'{minutes[0]}; a remark such as "±30 s" says otherwise'
        )
    unnamed = [note.line for _, note in rows if note.item == "inspection" and not note.remark]
    if unnamed:
        yield f"an inspection that doesn't say what was looked at, line {unnamed[0]}"
