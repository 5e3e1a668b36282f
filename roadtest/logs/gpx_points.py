"""The track points of a GPX file, one by one, with a watch on what XML and GPX let pass.

Each point is looked at as it comes and bad ones are counted with their reason. XML that is damaged
somewhere is taken up again at the next track point.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat
from xml.parsers.expat import errors as expat_errors

import numpy as np

from roadtest.errors import InputError
from roadtest.logs.gpx_fix import ANYWHERE, FIELDS, judge
from roadtest.logs.gpx_text import GpxText
from roadtest.logs.model import Floats, Ints, Loss
from roadtest.logs.tally import Tally

_CHUNK_BYTES: Final = 16384
# Bounds of our own. A tag or comment longer than this is damage (a quote or bracket is missing):
# the parser would look at it again and again.
_LONGEST_TOKEN_BYTES: Final = 65536
_MOST_DAMAGES: Final = 10_000

_CUT_OFF: Final = frozenset(
    expat_errors.codes[message]
    for message in (
        expat_errors.XML_ERROR_NO_ELEMENTS,
        expat_errors.XML_ERROR_UNCLOSED_TOKEN,
        expat_errors.XML_ERROR_PARTIAL_CHAR,
        expat_errors.XML_ERROR_UNCLOSED_CDATA_SECTION,
    )
)
_OPENING = re.compile(rb"<((?:[\w.-]{1,40}:)?)trkpt(?=[\s/>]|\Z)")
_CLOSING = re.compile(rb"</(?:[\w.-]{1,40}:)?trkpt(?=[\s>]|\Z)")


@dataclass(frozen=True)
class TrackPoints:
    """What a file's track points say; arrays have one element a point that can be used."""

    table: Floats  # [n, 7], time to hdop as in `Fix`
    line: Ints
    segment: Ints  # counts up wherever the file or damage to it breaks the track
    leaps: int  # points in leap seconds
    seen: int  # all track points
    others: int  # route points and waypoints
    creator: str
    rejected: Mapping[str, Loss]
    remarks: tuple[str, ...]


def track_points(text: GpxText, name: str) -> TrackPoints:
    """Return the track points of a GPX file.

    Raises InputError for a DTD or entity, and for a root element that is not `gpx`.
    """
    _refuse_dtd(text, name)
    reader = _Reader(text, name)
    reader.run()
    return reader.result()


def _refuse_dtd(text: GpxText, name: str) -> None:
    """Refuse a DTD before any parser sees it: told to stop, expat still finishes its chunk."""
    content = text.content
    first = _OPENING.search(content, text.start)
    at = content.find(b"<!DOCTYPE", text.start, first.start() if first else len(content))
    if at < 0:
        at = content.find(b"<!ENTITY")
    if at >= 0:
        line = text.first_line + content.count(b"\n", text.start, at)
        raise _dtd_error(name, f"line {line}")


def _dtd_error(name: str, place: str) -> InputError:
    return InputError(name, place, "a DTD or entity, which is not taken", "plain GPX")


class _DamageError(Exception):
    """The XML is well-formed so far, but a point is open where it can't be."""

    def __init__(self, offset: int, line: int) -> None:
        super().__init__()
        self.offset, self.line = offset, line


class _Reader:
    """Reads a text with one expat parser after the other, a new one after each damage."""

    def __init__(self, text: GpxText, name: str) -> None:
        self.content, self.stop, self.name = text.content, text.stop, name
        self.losses, self.faults = Tally(), Tally()
        self.remarks: list[str] = []
        self.table, self.lines, self.segments = array("d"), array("q"), array("q")
        self.leaps = 0
        self.seen, self.others, self.segment, self.creator = 0, 0, 0, ""
        self.damages = 0
        self.start, self.line_base = text.start, text.first_line - 1  # where this parser began
        self.shift = text.start  # offset in content = offset in the parser + shift
        self.settled = text.start  # all points before this offset are counted
        self.root_seen = False
        # The point being read: depth 0 outside, 1 in it, 2 in a child.
        self.depth, self.field_depth, self.field, self.child = 0, 0, "", ""
        self.point_line, self.prefix = 0, ""
        self.attributes: dict[str, str] = {}
        self.values: dict[str, str] = {}
        self.parts: list[str] = []

    def result(self) -> TrackPoints:
        faults = (
            f"{loss.count} × {what}, first on {loss.first}"
            for what, loss in self.faults.counts.items()
        )
        return TrackPoints(
            np.array(self.table, dtype=np.float64).reshape(-1, 7),
            np.array(self.lines, dtype=np.int64), np.array(self.segments, dtype=np.int64),
            self.leaps, self.seen, self.others, self.creator,
            self.losses.counts, (*self.remarks, *faults),
        )  # fmt: skip

    # --- one parser after the other ---

    def run(self) -> None:
        prologue = b""
        while True:
            trouble = self._parse(prologue)
            if trouble is None:
                return
            offset, line, cut_off = trouble
            self.damages += 1
            # A tag that never ends is no place to begin again.
            after = max(offset + cut_off, self.start + 1)
            following = _OPENING.search(self.content, after)
            if self.damages >= _MOST_DAMAGES:
                following = None
            self._count_damage(following.start() if following else None, line, cut_off)
            if following is None:
                return
            prologue = b"<%bgpx><%btrk><%btrkseg>" % ((following[1],) * 3)
            self._restart(following.start(), len(prologue))

    def _restart(self, offset: int, prologue_bytes: int) -> None:
        self.line_base += self.content.count(b"\n", self.start, offset)
        self.start = self.settled = offset
        self.shift = offset - prologue_bytes
        self.segment += 1
        self.root_seen = True
        self.depth = self.field_depth = 0

    def _parse(self, prologue: bytes) -> tuple[int, int, bool] | None:
        """Parse from `start` on; return offset and line of the trouble, and if it is the end."""
        parser = self.parser = self._new_parser()
        try:
            if prologue:
                parser.Parse(prologue, False)
            for at in range(self.start, self.stop, _CHUNK_BYTES):
                parser.Parse(self.content[at : min(at + _CHUNK_BYTES, self.stop)], False)
                if at + _CHUNK_BYTES - self._offset() > _LONGEST_TOKEN_BYTES:
                    return self._offset() + 1, self._line(), False
            parser.Parse(b"", True)
        except expat.ExpatError as error:
            offset = self.shift + parser.ErrorByteIndex
            return offset, self.line_base + error.lineno, error.code in _CUT_OFF
        except _DamageError as damage:
            return damage.offset, damage.line, False
        return None

    def _new_parser(self) -> expat.XMLParserType:
        parser = expat.ParserCreate("utf-8")
        parser.buffer_text = True
        parser.StartElementHandler = self._on_start
        parser.EndElementHandler = self._on_end
        parser.CharacterDataHandler = self._on_text
        parser.StartDoctypeDeclHandler = self._on_dtd
        parser.EntityDeclHandler = self._on_dtd
        return parser

    def _offset(self) -> int:
        return self.shift + self.parser.CurrentByteIndex

    def _line(self) -> int:
        return self.line_base + self.parser.CurrentLineNumber

    def _count_damage(self, resume: int | None, line: int, cut_off: bool) -> None:
        end = len(self.content) if resume is None else resume
        opened = sum(1 for _ in _OPENING.finditer(self.content, self.settled, end))
        closed = sum(1 for _ in _CLOSING.finditer(self.content, self.settled, end))
        lost = max(opened, closed)
        cut_off = cut_off and resume is None
        self.seen += lost
        if lost:
            self.losses.add("truncated file" if cut_off else "damaged XML", line, lost)
        if cut_off:
            self.remarks.append(f"the file is cut off on line {line}; what came before is used")
        elif not lost:
            self.faults.add("damaged XML between the track points", line)

    # --- what expat calls ---

    def _on_dtd(self, *_: object) -> None:
        raise _dtd_error(self.name, f"line {self._line()}")

    def _on_start(self, name: str, attributes: dict[str, str]) -> None:
        prefix, _, local = name.rpartition(":")
        if self.depth:
            if local in ("trkpt", "trkseg", "trk"):
                raise _DamageError(self._offset(), self._line())
            self._start_inside(prefix, local)
        elif local == "trkpt":
            self.depth, self.field_depth = 1, 0
            self.point_line, self.prefix = self._line(), prefix
            self.attributes, self.values = attributes, {}
        elif not self.root_seen:
            self._check_root(local, attributes)
        elif local in ("trkseg", "trk"):
            self.segment += 1
        elif local in ("wpt", "rtept"):
            self.others += 1

    def _start_inside(self, prefix: str, local: str) -> None:
        self.depth += 1
        if self.depth == 2:
            self.child = local
            wanted = local in ANYWHERE or (local in FIELDS and prefix == self.prefix)
        else:
            wanted = local in ANYWHERE and self.child == "extensions"
        if wanted and not self.field_depth:
            self.field_depth, self.field, self.parts = self.depth, local, []

    def _on_end(self, _: str) -> None:
        if not self.depth:
            return
        if self.depth == self.field_depth:
            self.values.setdefault(self.field, "".join(self.parts))
            self.field_depth = 0
        self.depth -= 1
        if not self.depth:
            self.settled = self._offset() + 1  # past the "<" of the closing tag
            self._close_point()

    def _on_text(self, text: str) -> None:
        if self.field_depth:
            self.parts.append(text)

    def _check_root(self, local: str, attributes: dict[str, str]) -> None:
        if local != "gpx":
            found = f"the root element is <{local[:40]}>"
            raise InputError(self.name, f"line {self._line()}", found, "<gpx>")
        self.root_seen = True
        self.creator = attributes.get("creator", "").strip()[:100]

    # --- one point ---

    def _close_point(self) -> None:
        self.seen += 1
        fix = judge(self.attributes, self.values)
        if isinstance(fix, str):
            self.losses.add(fix, self.point_line)
            return
        for fault in fix.faults:
            self.faults.add(fault, self.point_line)
        self.table.extend(fix[:7])
        self.leaps += fix.leap
        self.lines.append(self.point_line)
        self.segments.append(self.segment)
