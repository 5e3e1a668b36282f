"""A notes.csv with rows added to it or taken out of it; every other byte stays as it is."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from roadtest.errors import InputError
from roadtest.logs.csv_table import Table, read_table
from roadtest.logs.csv_text import letters_of

_HEADER: Final = "time,item,value,unit,remark"
_WANTED: Final = f"the columns {_HEADER}"
_LINE: Final = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|$)")
_FORMULA: Final = re.compile(r"'*[=+\-@]")
_BYTES: Final = "latin-1"  # every byte a letter, and back


@dataclass(frozen=True)
class NewRow:
    """A row to be written; the cells as text."""

    item: str
    value: str
    time: str = ""
    unit: str = ""
    remark: str = ""


def with_rows(data: bytes, name: str, without: Collection[int], rows: Sequence[NewRow]) -> bytes:
    """Return the content of a notes.csv without some of its rows, and with `rows` at its end.

    `without` holds the numbers of the lines in which those rows begin. New rows are in the file's
    own letters, line ends, delimiter and columns; without content there is a new header. Text that
    a spreadsheet would take for a formula gets an apostrophe before it, which the reader takes
    away again.

    Raises InputError where the file has no header, or lacks a column that the rows need.
    """
    if not data.strip():
        lines = [_HEADER, *(_as_line(row, _HEADER.split(","), ",") for row in rows)]
        return "".join(f"{line}\n" for line in lines).encode()
    table = read_table(data, name, _WANTED)
    letters = letters_of(data)
    carrier = letters if letters.startswith("utf-16") else _BYTES
    lines = _LINE.findall(data.decode(carrier, "surrogatepass"))[:-1]
    gone = _lines_of(table, without)
    kept = "".join(line for number, line in enumerate(lines, start=1) if number not in gone)
    ends = "\r\n" if "\r\n" in kept else "\r" if "\r" in kept and "\n" not in kept else "\n"
    if kept and not kept.endswith(("\r", "\n")) and rows:
        kept += ends
    columns = _columns(table, rows)
    added = "".join(_as_line(row, columns, table.delimiter) + ends for row in rows)
    return kept.encode(carrier, "surrogatepass") + added.encode(letters, "replace")


def _lines_of(table: Table, first: Collection[int]) -> set[int]:
    """Return the numbers of all lines of the rows that begin in these."""
    records = table.records
    lines: set[int] = set()
    for line, start, end in zip(records.line, records.start, records.end, strict=True):
        if int(line) in first:
            breaks = records.buffer[start:end].tobytes().count(b"\n")
            lines.update(range(int(line), int(line) + breaks + 1))
    return lines


def _columns(table: Table, rows: Sequence[NewRow]) -> list[str]:
    """Return what stands in each column of the file: a key of a row, or "" for nothing of ours."""
    known = _HEADER.split(",")
    names = [c.name if c.name in known and c is table.find(c.name) else "" for c in table.columns]
    for name in known:
        if name not in names and any(getattr(row, name) for row in rows):
            place = f"line {table.header_line}"
            raise InputError(table.name, place, f'no column "{name}"', _WANTED)
    return names


def _as_line(row: NewRow, columns: Sequence[str], delimiter: str) -> str:
    return delimiter.join(_cell(getattr(row, name), delimiter) if name else "" for name in columns)


def _cell(text: str, delimiter: str) -> str:
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if _FORMULA.match(plain):
        plain = f"'{plain}"
    if any(c in plain for c in (delimiter, '"', "#")):
        return '"' + plain.replace('"', '""') + '"'
    return plain
