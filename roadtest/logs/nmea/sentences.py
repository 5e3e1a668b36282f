"""Finds the sentences in the bytes of a log, whatever stands between them, and checks them.

A sentence runs from `$` to `*` and two hexadecimal digits; the digits are the XOR of all bytes
between `$` and `*`. What stands before `$` or behind the digits (a logger's own time stamp, binary
messages of the receiver) does not matter.

Reference: NMEA 0183 sentence form as described in the gpsd project's public NMEA page (repository
ntpsec/gpsd, www/NMEA.adoc).
"""

from __future__ import annotations

import operator
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import reduce
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.model import Ints

Bytes = NDArray[np.uint8]
Bools = NDArray[np.bool_]

KINDS: Final = ("", "RMC", "GGA", "GNS", "GLL", "ZDA", "GST", "VTG", "GSA", "RPM")
RMC, GGA, GNS, GLL, ZDA, GST, VTG, GSA, RPM = range(1, len(KINDS))

# Small pieces stay in the processor's cache, and bound the memory whatever the size of the file.
_PIECE_BYTES: Final = 1 << 20
# The standard allows 82 bytes and receivers exceed it; a sentence longer than this is noise.
_LONGEST: Final = 1000
_LONGEST_SPLIT: Final = 200
_SHORTEST: Final = 4  # bytes to a mark that is no comma, on average: no log has so few

PADDING: Final = 32  # so that a field can be read at full width wherever it begins

_DOLLAR, _COMMA, _STAR, _CR, _LF = b"$,*\r\n"
_END_OF_PIECE: Final = 0  # the mark behind the last byte
_WHOLE: Final = re.compile(rb"\$([A-Z0-9]{4,},[^$*]*)\*([0-9A-Fa-f]{2})")


def _table(members: bytes, values: list[int] | None = None, other: int = 0) -> Bytes:
    table = np.full(256, other, dtype=np.uint8)
    table[np.frombuffer(members, dtype=np.uint8)] = values or [1] * len(members)
    return table


_IS_MARK: Final = _table(b"$,*\r\n").astype(np.bool_)
_IS_ADDRESS: Final = _table(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789").astype(np.bool_)
_HEX: Final = _table(b"0123456789ABCDEFabcdef", [*range(16), *range(10, 16)], other=255)


@dataclass(frozen=True)
class Sentences:
    """The sentences of one piece of a file that can be read. Arrays [n], one element a sentence.

    text : [bytes] uint8, the piece, and PADDING zeros
    marks : [m], where each `$`, comma, `*` and line end of the piece stands, and its end
    first : the number of the sentence's `$` among the marks
    fields : how many fields follow the address
    kind : index into `KINDS`, 0 for any other sentence
    talker : the two characters behind `$` as one number, high byte first
    bare : carries no checksum
    place : where the `$` stands in the file, bytes
    """

    text: Bytes
    marks: Ints
    first: Ints
    fields: Ints
    kind: Bytes
    talker: NDArray[np.uint16]
    bare: Bools
    place: Ints

    def __getitem__(self, chosen: Bools) -> Sentences:
        if chosen.all():
            return self
        at = np.flatnonzero(chosen)
        return replace(
            self,
            first=self.first[at],
            fields=self.fields[at],
            kind=self.kind[at],
            talker=self.talker[at],
            bare=self.bare[at],
            place=self.place[at],
        )

    def span(self, number: int | Ints) -> tuple[Ints, Ints]:
        """Return where field `number` (1 is the first after the address) starts and stops.

        Start and stop are equal where the field is empty or the sentence has fewer fields.
        """
        present = self.fields >= number
        if present.all():
            mark = self.first + number
            return self.marks[mark] + 1, self.marks[mark + 1]
        mark = np.minimum(self.first + number, self.marks.size - 2)
        start = np.where(present, self.marks[mark] + 1, 0)
        return start, np.where(present, self.marks[mark + 1], 0)


@dataclass(frozen=True)
class Scan:
    """What one piece of a file holds. `places` of losses are bytes from the start of the file."""

    sentences: Sentences
    count: int  # of all that look like sentences
    checked: int  # of these, how many have a right checksum
    rejoined: int  # how many were split over two lines
    bad_checksum: Ints
    cut_off: Ints


def pieces(data: bytes) -> Iterator[tuple[int, int]]:
    """Yield start and stop of pieces of `data` of a few MB that cut no sentence in two."""
    low = 0
    while low < len(data):
        high = low + _PIECE_BYTES
        high = len(data) if high >= len(data) else _cut(data, low, high)
        yield low, high
        low = high


def _cut(data: bytes, low: int, high: int) -> int:
    # At the start of a line at best: what follows a line end may still be a split sentence.
    for mark in (b"\n$", b"\r$"):
        at = data.rfind(mark, low, high)
        if at > low:
            return at + 1
    at = data.rfind(b"$", low + 1, high)
    return at if at > low else high


def scan(data: bytes, low: int, high: int) -> Scan:
    """Return the sentences in `data[low:high]`, split ones put together again."""
    last = high == len(data)
    marked = _marked(np.frombuffer(data, dtype=np.uint8, count=high - low, offset=low), last)
    breaks, rejoined = _breaks_within(marked)
    if rejoined:
        marked = _marked(np.delete(marked.text[: marked.size], breaks), last)
    return _sort_out(marked, breaks, low, rejoined)


@dataclass(frozen=True)
class _Marked:
    """A piece of a file and where its marks stand; the last mark stands for its end."""

    text: Bytes  # with PADDING zeros behind it
    size: int  # without them
    marks: Ints
    kinds: Bytes  # which byte each mark is
    ends: Ints  # the marks that are no commas
    dollars: Ints  # the `$` among those
    last: bool  # whether it is the last piece of the file

    def end_kind(self, step: int) -> Bytes:
        """Return which mark stands `step` marks (commas not counted) behind each `$`."""
        return self.kinds[self.ends.take(self.dollars + step, mode="clip")]

    def end_at(self, step: int | Ints) -> Ints:
        """Return where that mark stands."""
        return self.marks[self.ends.take(self.dollars + step, mode="clip")]


def _marked(piece: Bytes, last: bool) -> _Marked:
    size = piece.size
    text = np.zeros(size + PADDING, dtype=np.uint8)
    text[:size] = piece
    # All marks are low in the code table, where little else of a sentence is.
    marks = np.flatnonzero(text[: size + 1] <= _COMMA)
    kinds = text[marks]
    ends = np.flatnonzero(kinds != _COMMA)
    real = _IS_MARK[kinds[ends]]
    if ends.size > size // _SHORTEST:
        # No log: a piece of little but `$` or line ends. Of equal ones in a row the first will do,
        # and no `$` before what can't be an address.
        real &= text[marks[ends] - 1] != kinds[ends]
        real &= (kinds[ends] != _DOLLAR) | _IS_ADDRESS[text[marks[ends] + 1]]
    real[-1] = True
    if not real.all():
        keep = np.ones(marks.size, dtype=np.bool_)
        keep[ends[~real]] = False
        marks, kinds = marks[keep], kinds[keep]
        ends = np.flatnonzero(kinds != _COMMA)
    dollars = np.flatnonzero(kinds[ends] == _DOLLAR)
    return _Marked(text, size, marks, kinds, ends, dollars, last)


def _sort_out(marked: _Marked, breaks: Ints, low: int, rejoined: int) -> Scan:
    text, marks = marked.text, marked.marks
    # Without a comma as the next mark it is no sentence; the last may be one that is cut off.
    maybe = marked.kinds[marked.ends[marked.dollars] + 1] == _COMMA
    maybe[-1:] = True
    dollars = marked.dollars[maybe]
    first, stop = marked.ends[dollars], marked.ends[dollars + 1]
    start, end, end_kind = marks[first], marks[stop], marked.kinds[stop]
    place = start + low + _removed_before(breaks, start)
    head = windows(text, 8)[start]
    comma = marks[first + 1]
    like = _like_sentence(head, comma - start, comma < end) & (end - start <= _LONGEST)
    sum_at = end_kind == _STAR
    written = _written_sum(text, end)
    summed = like & sum_at & (written >= 0)
    right = summed.copy()
    right[summed] = _xor(text, start[summed] + 1, end[summed]) == written[summed]
    line_end = (end_kind == _CR) | (end_kind == _LF)
    bare = like & line_end
    kind, talker = _kind(head, comma - start)
    cut_off = (kind > 0) & like & ~summed & ~line_end
    if not marked.last:
        cut_off &= ~sum_at
    else:
        cut_off &= ~sum_at | (end + 3 > marked.size)
        cut_off |= _tail(marked, start, end, end_kind)
    good = Sentences(text, marks, first, stop - first - 1, kind, talker, bare, place)
    return Scan(
        sentences=good[(right | bare) & (kind > 0)],
        count=int(np.count_nonzero(like | cut_off)),
        checked=int(np.count_nonzero(right)),
        rejoined=rejoined,
        bad_checksum=place[like & sum_at & ~right & ~cut_off],
        cut_off=place[cut_off],
    )


def windows(text: Bytes, width: int) -> Bytes:
    """Return [bytes, width]: a view in which row k holds text[k : k + width]."""
    # As numpy's sliding_window_view, which takes longer than what is done with it here.
    return np.ndarray((text.size - width + 1, width), np.uint8, text.data, strides=(1, 1))


def _like_sentence(head: Bytes, comma: Ints, within: Bools) -> Bools:
    """Return which `$` begin an address of 4 to 11 characters, the first ones letters and digits.

    Parameters
    ----------
    head : [n, 8], the first bytes from `$` on
    comma : how far behind `$` the first comma stands
    within : whether that is before the sentence's end
    """
    like = within & (comma >= 5) & (comma <= 12)
    for step in (1, 2, 3):
        like &= _IS_ADDRESS[head[:, step]]
    return like


def _kind(head: Bytes, comma: Ints) -> tuple[Bytes, NDArray[np.uint16]]:
    """Return the index into KINDS of each sentence, by the three letters behind the talker; and it.

    A proprietary address ($PABCRMC) has no talker, and mostly another length.
    """
    word = head.view(">u8")[:, 0].astype(np.uint64)
    letters = (word >> np.uint64(16)).astype(np.uint32) & np.uint32(0xFFFFFF)
    letters[comma != 6] = 0
    kind = np.zeros(letters.size, dtype=np.uint8)
    for index, name in enumerate(KINDS[1:], start=1):
        kind[letters == int.from_bytes(name.encode(), "big")] = index
    return kind, (word >> np.uint64(40)).astype(np.uint16)


def _written_sum(text: Bytes, star: Ints) -> NDArray[np.int16]:
    """Return the checksum written behind each `*`, -1 where there are no two digits."""
    high = _HEX[text[star + 1]].astype(np.int16)
    low = _HEX[text[star + 2]].astype(np.int16)
    return np.where((high | low) < 16, high << np.int16(4) | low, np.int16(-1))


def _xor(text: Bytes, start: Ints, stop: Ints) -> Bytes:
    """Return the XOR of text[start:stop] for each pair; pairs in order, none empty."""
    if not start.size:
        return np.zeros(0, dtype=np.uint8)
    bounds = np.stack((start, stop), axis=1).ravel()
    return np.bitwise_xor.reduceat(text, bounds)[::2]


def _tail(marked: _Marked, start: Ints, end: Ints, end_kind: Bytes) -> Bools:
    """Return whether the last `$` of the file begins a sentence that the file's end cuts off."""
    tail = np.zeros(start.size, dtype=np.bool_)
    if start.size and end_kind[-1] == _END_OF_PIECE:
        rest = marked.text[start[-1] : end[-1]]
        tail[-1] = rest.size <= _LONGEST_SPLIT and bool(((rest >= 32) & (rest < 127)).all())
    return tail


def _breaks_within(marked: _Marked) -> tuple[Ints, int]:
    """Return the bytes of line ends that stand within sentences, and how many sentences those are.

    Only where the sentence without its line end has the right checksum.
    """
    one, two = marked.end_kind(1), marked.end_kind(2)
    broken = (one == _CR) | (one == _LF)
    within_sum = (one == _STAR) & ((two == _CR) | (two == _LF))
    within_sum &= marked.end_at(2) - marked.end_at(1) <= 2
    if not (broken | within_sum).any():
        return np.arange(0), 0
    pair = (one == _CR) & (two == _LF)
    star = np.where(pair, marked.end_kind(3), two) == _STAR
    start = marked.end_at(0)
    reach = marked.end_at(np.where(pair, 3, np.where(broken, 2, 1)))
    maybe = ((broken & star) | within_sum) & (reach - start <= _LONGEST_SPLIT)
    text = marked.text
    found = [_rejoin(text, int(a), int(b)) for a, b in zip(start[maybe], reach[maybe], strict=True)]
    breaks = [at for places in found for at in places]
    return np.array(breaks, dtype=np.int64), sum(1 for places in found if places)


def _rejoin(text: Bytes, start: int, star: int) -> list[int]:
    """Return where line ends stand between `$` and the checksum, if it is right without them."""
    raw = text[start : star + 5].tobytes()
    whole = _WHOLE.match(raw.translate(None, b"\r\n"))
    if not whole or reduce(operator.xor, whole[1]) != int(whole[2], 16):
        return []
    breaks: list[int] = []
    for at, byte in enumerate(raw):
        if at - len(breaks) == whole.end():
            break
        if byte in b"\r\n":
            breaks.append(at)
    return [start + at for at in breaks]


def _removed_before(breaks: Ints, at: Ints) -> Ints:
    """Return how many of the bytes `breaks` were taken out before byte `at` of what is left."""
    if not breaks.size:
        return np.zeros_like(at)
    return np.searchsorted(breaks - np.arange(breaks.size), at, side="right")
