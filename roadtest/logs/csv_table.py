"""A CSV file as a table: named columns, and rows of which the damaged ones are known.

One reader for tach.csv, channels.csv and notes.csv. It never guesses at what a damaged row meant:
a row whose needed cells may have moved is refused and counted.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.errors import InputError
from roadtest.logs.csv_cells import Bools, Cells, Codes, numbers
from roadtest.logs.csv_records import LONGEST_LINE, Records, find_records
from roadtest.logs.csv_text import csv_text
from roadtest.logs.model import Floats
from roadtest.logs.rejects import Rejects
from roadtest.units import is_unit

_DELIMITERS: Final = (",", ";", "\t")
_NO_HEADER: Final = re.compile(rb"[ \t]*#|sep=[,;\t]$")  # comments; a spreadsheet's own hint
_VALUE: Final = re.compile(r"[-+0-9.,:tez ]*[0-9][-+0-9.,:tez ]*")
_MOST_SURPLUS_FIELDS: Final = 64
_MOST_COLUMNS: Final = 1000  # chosen here: no logger has as many
# Bounds of memory, our choice: twelve hours at 25 Hz with ten columns fit.
_MOST_BYTES: Final = 128 * 2**20
_MOST_MARKS: Final = 12_000_000  # line ends, delimiters and quotation marks, some 24 bytes each
_HEADING: Final = re.compile(r"(.*?)\s*\[([^\[\]]*)\]", re.DOTALL)
_IN_ROUND: Final = re.compile(r"(.*?)\s*\(([^()]*)\)", re.DOTALL)
_ENOUGH_ROWS_TO_COMPARE: Final = 10
_LONGEST_SHOWN: Final = 60


@dataclass(frozen=True)
class Column:
    """A column as its heading names it: `Coolant_Temperature [degC]`."""

    name: str  # without blanks around it, case-folded: "coolant_temperature"
    unit: str  # "degC", "" when the heading gives none
    place: int  # 0 for the first column

    @property
    def label(self) -> str:
        """How to name the column to a reader."""
        return self.name or f"column {self.place + 1}, which has no name"


@dataclass(frozen=True)
class Table:
    """A header and the rows under it."""

    name: str  # of the file
    columns: tuple[Column, ...]
    header_line: int
    records: Records  # the rows
    delimiter: str  # ",", ";", a tab, or "" where the header has one column only
    complete: bool  # the last line ends as a line should
    remarks: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.records)

    def find(self, name: str) -> Column | None:
        """Return the first column of that name."""
        return next((column for column in self.columns if column.name == name), None)

    @property
    def repeated(self) -> tuple[Column, ...]:
        """The columns whose name an earlier one has; the first of a name is the one used."""
        first: dict[str, Column] = {}
        return tuple(c for c in self.columns if c.name and first.setdefault(c.name, c) is not c)

    def cells(self, column: Column) -> Cells:
        """Return the cells of a column, [n]; empty where a row is too short to have one."""
        return self.records.cells(column.place)

    def numbers(self, column: Column) -> tuple[Floats, Codes]:
        """Return the numbers in a column and what each cell holds, as `csv_cells.numbers`."""
        return numbers(self.cells(column), decimal_comma=self.delimiter != ",")

    def has_decimal_commas(self, columns: Iterable[Column]) -> bool:
        """Tell whether any number in the columns is written with a decimal comma."""
        if self.delimiter == "," or not self.records.contain(ord(",")).any():
            return False
        return any(
            bool((self.numbers(c)[1] != numbers(self.cells(c), decimal_comma=False)[1]).any())
            for c in columns
        )


def read_table(data: bytes, name: str, wanted: str) -> Table:
    """Return the table in `data`, the content of a CSV file.

    The first line that is neither blank nor a comment (#) is the header; what parts its columns
    (comma, semicolon or tab) parts the rows.

    Parameters
    ----------
    data : any bytes
    name : of the file, for messages
    wanted : the columns to expect, in words, for messages

    Raises InputError when there is no header.
    """
    if len(data) > _MOST_BYTES:
        most = f"at most {_MOST_BYTES // 2**20} MiB"
        raise InputError(name, "", f"a CSV file of {len(data) // 2**20} MiB", most)
    text = csv_text(data)
    expected = f"a header line with {wanted}"
    line, header = _header_line(text.content, name, expected)
    delimiter = _delimiter(header)
    columns = _columns(header, delimiter)
    if len(columns) > _MOST_COLUMNS:
        found = f"{len(columns)} columns"
        raise InputError(
            name, f"line {line}", found, f"{expected}, at most {_MOST_COLUMNS} columns"
        )
    if _names_nothing(columns):
        found = f"the first line is {shown(header)}, which names no columns"
        raise InputError(name, f"line {line}", found, expected)
    marks = sum(text.content.count(mark.encode()) for mark in ("\n", '"', delimiter) if mark)
    if marks > _MOST_MARKS:
        found = f"{marks} line ends, delimiters and quotation marks"
        raise InputError(name, "", found, f"at most {_MOST_MARKS}")
    records = find_records(text.content, delimiter, len(columns))
    rows = records.pick(records.line > line)
    complete = text.content.endswith(b"\n")
    return Table(name, columns, line, rows, delimiter, complete, text.remarks)


def refuse_damaged(table: Table, rejects: Rejects) -> None:
    """Refuse the rows that are no text, and the last one where the file breaks off in it."""
    records = table.records
    rejects.mark(records.contain(0), "NUL bytes")
    rejects.mark(records.end - records.start > LONGEST_LINE, "line too long")
    if not table.complete and len(table) and _breaks_off(table):
        last = np.arange(len(table)) == len(table) - 1
        rejects.mark(last, "truncated last line")


def refuse_shifted(
    table: Table, needed: Iterable[Column], read: Iterable[Column], rejects: Rejects
) -> list[str]:
    """Refuse rows with too few or too many fields to trust their cells; remark on the others.

    A row that is too short is used where it has the `needed` cells. So is one that is too long,
    unless the cells that are `read` may have been pushed along by a decimal comma.
    """
    width, fields = len(table.columns), table.records.fields
    rejects.mark(fields <= max(column.place for column in needed), "short row")
    long = fields > width
    if long.any():
        shifted = np.zeros(len(table), dtype=np.bool_)
        shifted[long] = _may_be_shifted(table, long, max(column.place for column in read))
        rejects.mark(shifted, "long row")
    remarks = []
    for word, rows in (("fewer", fields < width), ("more", long)):
        used = rows & rejects.good
        if used.any():
            remarks.append(
                f"{_rows(int(used.sum()))} with {word} fields than the header has columns still "
                f"used, first line {int(table.records.line[used][0])}"
            )
    return remarks


def layout_remarks(table: Table, numeric: Iterable[Column]) -> list[str]:
    """Return remarks on how the file is written."""
    remarks = list(table.remarks)
    remarks += [
        f'there is more than one column "{c.name}"; the first is used' for c in table.repeated
    ]
    if table.has_decimal_commas(numeric):
        remarks.append("numbers are written with a decimal comma")
    return remarks


def other_columns(table: Table, used: Iterable[Column]) -> tuple[str, ...]:
    """Return how to name the columns that are not `used`."""
    taken, repeated = set(used), set(table.repeated)
    return tuple(
        f"{c.name} (column {c.place + 1})" if c in repeated else c.label
        for c in table.columns
        if c not in taken
    )


def shown(text: str) -> str:
    """Return `text` in quotation marks, cut to a length that fits a message."""
    text = text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "..."
    return f'"{text}"'


def named(columns: Iterable[Column]) -> str:
    """Return the names of columns for a message."""
    names = [shown(column.name) for column in columns]
    more = [f"and {len(names) - 12} more"] if len(names) > 12 else []
    return ", ".join(names[:12] + more)


def _header_line(content: bytes, name: str, expected: str) -> tuple[int, str]:
    """Return the number and the text of the header's line."""
    line, start = 0, 0
    while start < len(content):
        end = content.find(b"\n", start)
        end = len(content) if end < 0 else end
        line += 1
        if end - start > LONGEST_LINE:
            found = f"a line of {end - start} bytes where the header should be"
            raise InputError(name, f"line {line}", found, expected)
        head, start = content[start:end], end + 1
        if not head.strip() or _NO_HEADER.match(head):
            continue
        if b"\0" in head:
            found = "NUL bytes where the header should be"
            raise InputError(name, f"line {line}", found, expected)
        return line, head.decode("utf-8", errors="replace")
    found = "nothing but blank lines and comments" if content else "the file is empty"
    raise InputError(name, "", found, expected)


def _delimiter(header: str) -> str:
    """Return what parts the columns: of the three, the one the header has most of."""
    bare = re.sub(r'"[^"]*"', "", header)
    best = max(_DELIMITERS, key=bare.count)
    return best if best in bare else ""


def _columns(header: str, delimiter: str) -> tuple[Column, ...]:
    if delimiter:
        parts = next(csv.reader([header], delimiter=delimiter, skipinitialspace=True), [header])
    else:
        parts = [header.strip().strip('"')]
    return tuple(_column(part, place) for place, part in enumerate(parts))


def _column(heading: str, place: int) -> Column:
    heading = heading.strip()
    match = _HEADING.fullmatch(heading)
    if match is None:
        # In round brackets many things stand that are no unit: "oil (rear)".
        match = _IN_ROUND.fullmatch(heading)
        match = match if match and is_unit(match[2]) else None
    name, unit = (match[1], match[2].strip()) if match else (heading, "")
    return Column(" ".join(name.casefold().split()), unit, place)


def _names_nothing(columns: tuple[Column, ...]) -> bool:
    """Tell whether what should be names has no letters, or begins with a number or a time."""
    lettered = any(re.search(r"[^\W\d_]", column.name) for column in columns)
    return not lettered or bool(_VALUE.fullmatch(columns[0].name))


def _breaks_off(table: Table) -> bool:
    """Tell whether the last row, whose line has no end, is likely to have lost something.

    It is when fields are missing, or when its last cell is shorter than that of every other row.
    """
    fields, width = table.records.fields, len(table.columns)
    if fields[-1] < width:
        return True
    length = table.cells(table.columns[-1]).length
    others = length[:-1][fields[:-1] == width]
    return others.size >= _ENOUGH_ROWS_TO_COMPARE and bool(length[-1] < others.min())


def _may_be_shifted(table: Table, long: Bools, last: int) -> Bools:
    """Tell which of the `long` rows may have a cell up to column `last` out of its place.

    A decimal comma in a comma-separated file leaves two whole numbers side by side. Where that
    is found, nothing tells which cell is which. Empty fields at the end of a row shift nothing.
    """
    records, width = table.records.pick(long), len(table.columns)
    if table.delimiter != ",":
        return np.zeros(len(records), dtype=np.bool_)
    surplus = records.fields > width + _MOST_SURPLUS_FIELDS
    for place in range(width, min(int(records.fields.max()), width + _MOST_SURPLUS_FIELDS)):
        surplus |= records.cells(place).length > 0
    pairs = np.zeros(len(records), dtype=np.bool_)
    left = _whole_number(records.cells(0))
    for place in range(1, last + 2):
        right = _whole_number(records.cells(place))
        pairs |= left & right
        left = right
    return surplus & pairs


def _whole_number(cells: Cells) -> Bools:
    """Tell which cells are digits only, perhaps with a sign."""
    good = cells.length > 0
    for rows, letters in cells.blocks():
        digit = (letters - np.uint8(ord("0")) < 10) | (letters == 0)
        digit[0] |= np.isin(letters[0], (ord("+"), ord("-")))
        good[rows] &= digit.all(axis=0)
    return good


def _rows(count: int) -> str:
    return f"{count} row" if count == 1 else f"{count} rows"
