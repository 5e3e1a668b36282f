"""Where the records of a CSV text begin and end, and where their fields do.

A record is a line, or several lines when a quoted field holds line breaks. Quotation marks are
believed only where a field begins with one and the record closes it; any other is a letter like
the rest, so one stray mark can't swallow the lines after it.

Reference: RFC 4180 (2005), section 2; comments (#), blank lines and other delimiters are common
practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from roadtest.logs.csv_cells import WIDEST_CELL, Bools, Bytes, Cells, tidy
from roadtest.logs.model import Ints

LONGEST_LINE: Final = 1 << 16
"""Bytes. Chosen here: a thousand columns fit, a binary file taken for a CSV does not."""

_MOST_LINES_IN_A_FIELD: Final = 50
_LINE_FEED, _QUOTE, _COMMENT = ord("\n"), ord('"'), ord("#")
_BEFORE_A_FIELD: Final = (ord(" "), ord("\t"), _QUOTE, _LINE_FEED)
_NOWHERE: Final = np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class Records:
    """The records of a text, comments and blank lines left out; one element a record."""

    buffer: Bytes
    line: Ints  # number of the line it begins in, from 1
    start: Ints  # its bytes in `buffer`
    end: Ints
    first: Ints  # index of its first delimiter in `delimiters`
    fields: Ints  # how many fields it has
    delimiters: Ints  # where the delimiters stand

    def __len__(self) -> int:
        return self.line.size

    def cells(self, column: int) -> Cells:
        """Return the cells of a column, tidy; empty where the record has no such field."""
        count = self.fields - 1
        # One more element, so that the records after the last delimiter have something to index.
        delimiters = np.append(self.delimiters, self.buffer.size - 1)
        last = delimiters.size - 1
        before = delimiters[np.minimum(self.first + column - 1, last)] + 1 if column else self.start
        after = delimiters[np.minimum(self.first + column, last)]
        end = np.where(column < count, after, self.end)
        start = np.where(column <= count, before, end)
        return tidy(Cells(self.buffer, start, end))

    def contain(self, letter: int) -> Bools:
        """Tell which records hold the byte `letter`."""
        places = np.flatnonzero(self.buffer[: self._size] == letter)
        return np.searchsorted(places, self.start) < np.searchsorted(places, self.end)

    def pick(self, rows: Bools | slice) -> Records:
        """Return some of the records."""
        picked = {
            name: getattr(self, name)[rows] for name in ("line", "start", "end", "first", "fields")
        }
        return replace(self, **picked)

    @property
    def _size(self) -> int:
        return self.buffer.size - WIDEST_CELL


@dataclass(frozen=True)
class _Lines:
    buffer: Bytes
    number: Ints
    start: Ints
    end: Ints

    def pick(self, keep: Bools) -> _Lines:
        return _Lines(self.buffer, self.number[keep], self.start[keep], self.end[keep])


@dataclass(frozen=True)
class _Marks:
    """Where the quotation marks and the delimiters stand."""

    quotes: Ints
    delimiters: Ints
    delimiter: int  # the letter


def find_records(content: bytes, delimiter: str, width: int) -> Records:
    """Return the records of `content`: UTF-8 whose lines end in LF.

    `width` is the number of fields the header names, `delimiter` what parts them ("" when the
    header has but one field and nothing does).
    """
    lines = _lines(content)
    letter = ord(delimiter) if delimiter else _LINE_FEED
    marks = _Marks(
        quotes=np.flatnonzero(lines.buffer == _QUOTE),
        delimiters=np.flatnonzero(lines.buffer == letter) if delimiter else _NOWHERE,
        delimiter=letter,
    )
    if marks.quotes.size:
        lines = _join_quoted(lines, marks, width)
    lines = _without_blanks(lines, delimiter)
    delimiters = marks.delimiters
    if marks.quotes.size:
        delimiters = delimiters[~_inside_quotes(lines, marks)]
    first = np.searchsorted(delimiters, lines.start)
    fields = np.searchsorted(delimiters, lines.end) - first + 1
    return Records(lines.buffer, lines.number, lines.start, lines.end, first, fields, delimiters)


def _lines(content: bytes) -> _Lines:
    text = np.frombuffer(content, dtype=np.uint8)
    breaks = np.flatnonzero(text == _LINE_FEED)
    start = np.concatenate([[0], breaks + 1])
    end = np.concatenate([breaks, [text.size]])
    buffer = np.concatenate([text, np.zeros(WIDEST_CELL, dtype=np.uint8)])
    return _Lines(buffer, np.arange(1, start.size + 1), start, end)


def _without_blanks(lines: _Lines, delimiter: str) -> _Lines:
    """Drop comments and blank lines, such as a spreadsheet writes as delimiters only."""
    empty = b" \t" + delimiter.encode()
    blank = np.isin(lines.buffer[lines.start], (*empty, _LINE_FEED, _COMMENT))
    blank |= lines.start == lines.end
    for at in np.flatnonzero(blank):
        text = lines.buffer[lines.start[at] : lines.end[at]].tobytes()
        blank[at] = not text.strip(empty) or text.lstrip().startswith(b"#")
    return lines.pick(~blank) if blank.any() else lines


def _join_quoted(lines: _Lines, marks: _Marks, width: int) -> _Lines:
    """Make one record of lines that a quoted field runs across.

    Such a field begins in a line whose quotation marks don't pair, and ends in the next such
    line. A line between them that could be a row of its own forbids it, so a stray quotation
    mark costs no other row.
    """
    first = np.searchsorted(marks.quotes, lines.start)
    count = np.searchsorted(marks.quotes, lines.end) - first
    comment = lines.buffer[lines.start] == _COMMENT
    odd = np.flatnonzero((count % 2 == 1) & ~comment)
    begins = ~_wrongly_opened(lines, marks)[odd]
    after = lines.buffer[marks.quotes[first[odd]] + 1]  # zero, of the padding, at the very end
    ends = np.isin(after, (marks.delimiter, _QUOTE, _LINE_FEED, 0))
    before = np.searchsorted(marks.delimiters, lines.start)
    ends &= np.searchsorted(marks.delimiters, marks.quotes[first[odd]]) - before[odd] < width - 1
    row_like = np.searchsorted(marks.delimiters, lines.end) - before >= width - 1
    so_far = np.cumsum(row_like)
    between: Ints = so_far[odd[1:] - 1] - so_far[odd[:-1]]
    near = odd[1:] - odd[:-1] <= _MOST_LINES_IN_A_FIELD
    end, inner = lines.end.copy(), np.zeros(count.size + 1, dtype=np.int64)
    taken = -1
    for k in np.flatnonzero(begins[:-1] & ends[1:] & near & (between == 0)).tolist():
        if k > taken:
            end[odd[k]] = lines.end[odd[k + 1]]
            inner[odd[k] + 1] += 1
            inner[odd[k + 1] + 1] -= 1
            taken = k + 1
    keep: Bools = np.cumsum(inner[:-1]) == 0
    return _Lines(lines.buffer, lines.number, lines.start, end).pick(keep)


def _wrongly_opened(lines: _Lines, marks: _Marks) -> Bools:
    """Tell which lines have a quotation mark that would open a field but stands inside one."""
    first = np.searchsorted(marks.quotes, lines.start)
    owner = np.searchsorted(lines.start, marks.quotes, side="right") - 1
    inside = (owner >= 0) & (marks.quotes < lines.end[owner])
    opens = inside & ((np.arange(marks.quotes.size) - first[owner]) % 2 == 0)
    before = lines.buffer[np.maximum(marks.quotes - 1, 0)]
    field_begins = np.isin(before, (*_BEFORE_A_FIELD, marks.delimiter)) | (
        marks.quotes == lines.start[owner]
    )
    wrong = np.zeros(lines.start.size, dtype=np.bool_)
    wrong[owner[opens & ~field_begins]] = True
    return wrong


def _inside_quotes(lines: _Lines, marks: _Marks) -> Bools:
    """Tell which of the delimiters stand inside a quoted field."""
    first = np.searchsorted(marks.quotes, lines.start)
    count = np.searchsorted(marks.quotes, lines.end) - first
    believed = (count % 2 == 0) & ~_wrongly_opened(lines, marks)
    at = np.searchsorted(lines.start, marks.delimiters, side="right") - 1
    odd: Bools = (np.searchsorted(marks.quotes, marks.delimiters) - first[at]) % 2 == 1
    inside: Bools = odd & (at >= 0) & believed[at]
    return inside
