"""The cells of one CSV column as slices of the file's bytes, and what numbers they hold.

A long log has millions of cells, so they stay bytes: a block of them is looked at as a matrix of
characters, and no Python object is made for a cell unless somebody asks for its text.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.model import Floats, Ints

Bools = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Codes = NDArray[np.int8]

WIDEST_CELL: Final = 64
"""No number or time takes more bytes than this; a wider cell is neither."""

_BLOCK_ROWS: Final = 1 << 16
_SPACES: Final = (ord(" "), ord("\t"))
_QUOTE: Final = ord('"')


@dataclass(frozen=True)
class Cells:
    """Slices of `buffer`, one a row; `buffer` has WIDEST_CELL zeros after the text."""

    buffer: Bytes
    start: Ints  # [n]
    end: Ints  # [n]

    def __len__(self) -> int:
        return self.start.size

    @property
    def length(self) -> Ints:
        """Bytes in each cell, [n]."""
        return self.end - self.start

    def text(self, row: int) -> str:
        """Return the text of one cell; a doubled quotation mark stands for one."""
        start, end = int(self.start[row]), int(self.end[row])
        text = self.buffer[start:end].tobytes().decode("utf-8", errors="replace")
        return text.replace('""', '"')

    def blocks(self) -> Iterator[tuple[slice, Bytes]]:
        """Yield rows and their characters, [width, rows], zeros after the end of each cell."""
        for first in range(0, len(self), _BLOCK_ROWS):
            rows = slice(first, min(first + _BLOCK_ROWS, len(self)))
            length = np.minimum(self.length[rows], WIDEST_CELL)
            width = max(1, int(length.max()))
            windows = np.lib.stride_tricks.sliding_window_view(self.buffer, width)
            letters = np.ascontiguousarray(windows[self.start[rows]].T)
            letters[letters == 0] = 1  # a zero inside a cell is not its end
            letters[np.arange(width)[:, None] >= length] = 0
            yield rows, letters


def tidy(cells: Cells) -> Cells:
    """Return the cells without the blanks around them, and without a pair of quotation marks."""
    start, end = _without_spaces(cells.buffer, cells.start.copy(), cells.end.copy())
    buffer = cells.buffer
    quoted = (end - start >= 2) & (buffer[start] == _QUOTE) & (buffer[end - 1] == _QUOTE)
    if quoted.any():
        start, end = _without_spaces(buffer, start + quoted, end - quoted)
    return Cells(buffer, start, end)


def _without_spaces(buffer: Bytes, start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """Move the ends of the slices inwards past blanks, in place."""
    left = np.flatnonzero((start < end) & np.isin(buffer[start], _SPACES))
    while left.size:
        start[left] += 1
        left = left[(start[left] < end[left]) & np.isin(buffer[start[left]], _SPACES)]
    right = np.flatnonzero((start < end) & np.isin(buffer[end - 1], _SPACES))
    while right.size:
        end[right] -= 1
        right = right[(start[right] < end[right]) & np.isin(buffer[end[right] - 1], _SPACES)]
    return start, end


NUMBER: Final = 0
EMPTY: Final = 1
NOT_A_NUMBER: Final = 2
NOT_FINITE: Final = 3

# The grammar of a decimal number as a table of states, walked by all cells of a block at once.
# Python's own float() would also take "1_000" and "infinity".
_DIGIT, _SIGN, _POINT, _EXPONENT, _END, _OTHER = range(6)
_DEAD, _DONE = 8, 9
_NEXT: Final = np.array(
    [  # digit, sign, point, exponent, end, other
        [2, 1, 3, 8, 8, 8],  # 0 start
        [2, 8, 3, 8, 8, 8],  # 1 after the sign
        [2, 8, 4, 5, 9, 8],  # 2 digits
        [4, 8, 8, 8, 8, 8],  # 3 a point with nothing before it
        [4, 8, 8, 5, 9, 8],  # 4 decimals
        [7, 6, 8, 8, 8, 8],  # 5 after the e
        [7, 8, 8, 8, 8, 8],  # 6 after the sign of the exponent
        [7, 8, 8, 8, 9, 8],  # 7 digits of the exponent
        [8, 8, 8, 8, 8, 8],  # 8 not a number
        [8, 8, 8, 8, 9, 8],  # 9 past the end of a number
    ],
    dtype=np.uint8,
)
_WHOLE: Final = (2, 4, 7, _DONE)
_NON_FINITE_WORDS: Final = np.array(
    [sign + word for sign in (b"", b"+", b"-") for word in (b"nan", b"inf", b"infinity")]
)


def _letter_classes() -> Bytes:
    classes = np.full(256, _OTHER, dtype=np.uint8)
    classes[ord("0") : ord("9") + 1] = _DIGIT
    classes[[ord("+"), ord("-")]] = _SIGN
    classes[ord(".")] = _POINT
    classes[[ord("e"), ord("E")]] = _EXPONENT
    classes[0] = _END
    return classes


_CLASSES: Final = _letter_classes()


def numbers(cells: Cells, decimal_comma: bool) -> tuple[Floats, Codes]:
    """Return the numbers in `cells`, NaN where there is none, and what each cell holds.

    The codes are NUMBER, EMPTY, NOT_A_NUMBER and NOT_FINITE ("nan", "inf", or too large for a
    float). `decimal_comma`: a comma may stand for the decimal point.
    """
    values = np.full(len(cells), np.nan)
    codes = np.full(len(cells), NOT_A_NUMBER, dtype=np.int8)
    for rows, letters in cells.blocks():
        if decimal_comma:
            letters[letters == ord(",")] = ord(".")
        values[rows], codes[rows] = _block_numbers(letters)
    codes[cells.length == 0] = EMPTY
    too_wide = cells.length > WIDEST_CELL
    values[too_wide], codes[too_wide] = np.nan, NOT_A_NUMBER
    return values, codes


def _block_numbers(letters: Bytes) -> tuple[Floats, Codes]:
    state = np.zeros(letters.shape[1], dtype=np.uint8)
    for row in letters:
        state = _NEXT[state, _CLASSES[row]]
    whole = np.isin(state, _WHOLE)
    values = np.full(state.size, np.nan)
    codes = np.full(state.size, NOT_A_NUMBER, dtype=np.int8)
    with np.errstate(over="ignore"):
        values[whole] = _words(letters[:, whole]).astype(np.float64)
    codes[whole] = np.where(np.isfinite(values[whole]), NUMBER, NOT_FINITE)
    values[~np.isfinite(values)] = np.nan
    if not whole.all():
        other = np.flatnonzero(~whole)
        lower = np.strings.lower(_words(letters[:, other]))
        codes[other[np.isin(lower, _NON_FINITE_WORDS)]] = NOT_FINITE
    return values, codes


def _words(letters: Bytes) -> NDArray[np.bytes_]:
    width, count = letters.shape
    return np.ascontiguousarray(letters.T).view(f"S{width}").reshape(count)
