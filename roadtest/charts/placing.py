"""Words inside a frame: put where they cover no other words and as little else as can be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from roadtest.charts.frames import LETTERS_PT, Box, Frame, slope_ends
from roadtest.charts.lettering import fitted, width_pt
from roadtest.charts.model import (
    Bars,
    Level,
    Line,
    Note,
    Points,
    Role,
    Slope,
    Span,
)
from roadtest.quantity import Floats

_HEIGHT_PT: Final = LETTERS_PT + 1.0
_AWAY_PT: Final = 3.0  # from the thing that the words are about
BAR_PT: Final = 7.0  # thickness of a level bar
HATCH_PT: Final = 3.0  # height of the strokes beside a limit
_SAMPLES: Final = 400  # of a line, to see what words would cover
_MOST_NAMES: Final = 28  # of points and spans in a frame: more would hide what they name
_WEIGHT: Final = 200  # of a point: words rather lie on half a line than on one point


@dataclass(frozen=True)
class Words:
    """Words in their place: `left` and `base` of the first letter, turned upright or not."""

    text: str
    left: float
    base: float
    role: Role
    upright: bool = False


@dataclass
class _Room:
    """What is taken in a frame so far."""

    frame: Frame
    across: Floats
    down: Floats
    taken: list[Box] = field(default_factory=list)

    def best(self, boxes: list[Box]) -> Box | None:
        """Return the box that covers least, None where all of them would cover other words."""
        inside = self.frame.box
        free = [
            box
            for box in boxes
            if box.left >= inside.left - 0.5
            and box.right <= inside.right + 0.5
            and box.top >= inside.top - 0.5
            and box.bottom <= inside.bottom + 0.5
            and not any(box.overlaps(other) for other in self.taken)
        ]
        return min(free, key=self._covered, default=None)

    def _covered(self, box: Box) -> int:
        near = 2.5  # markers and lines are that thick
        inside = (self.across >= box.left - near) & (self.across <= box.right + near)
        inside &= (self.down >= box.top - near) & (self.down <= box.bottom + near)
        return int(np.count_nonzero(inside))


def words_of(frame: Frame) -> tuple[Words, ...]:
    """Return the words of a frame's marks; those that have no room at all are left out."""
    room = _Room(frame, *_drawn(frame))
    placed: list[Words] = []
    marks = frame.panel.marks
    for mark in (*_of(marks, Level), *_of(marks, Note), *_of(marks, Slope), *_of(marks, Bars)):
        placed += _words(room, mark)
    named = (*_of(marks, Points), *_of(marks, Span))
    if sum(_names(mark) for mark in named) <= _MOST_NAMES:
        for mark in named:
            placed += _words(room, mark)
    return tuple(placed)


def _names(mark: object) -> int:
    if isinstance(mark, Points):
        return len(mark.names) if mark.named else 0
    return 1 if isinstance(mark, Span) and mark.label else 0


def _of(marks: tuple[object, ...], kind: type) -> list[object]:
    return [mark for mark in marks if isinstance(mark, kind)]


def _words(room: _Room, mark: object) -> list[Words]:
    if isinstance(mark, Level) and mark.label:
        return _put(room, mark.label, mark.role, _beside_level(room.frame, mark))
    if isinstance(mark, Slope) and mark.label and mark.at_end:
        return _put(room, mark.label, mark.role, _beside_slope(room.frame, mark))
    if isinstance(mark, Note):
        at = room.frame.at(mark.x, mark.y)
        return _put(room, mark.text, mark.role, _around(mark.text, at, mark.side))
    if isinstance(mark, Bars):
        return _above_bars(room, mark)
    if isinstance(mark, Points) and mark.named:
        found: list[Words] = []
        for name, x, y in zip(mark.names, mark.x, mark.y, strict=True):
            found += _put(room, name, mark.role, _around(name, room.frame.at(x, y), "right"))
        return found
    if isinstance(mark, Span) and mark.label:
        return _in_span(room, mark)
    return []


def _put(room: _Room, text: str, role: Role, boxes: list[Box]) -> list[Words]:
    box = room.best(boxes)
    if box is None:
        return []
    room.taken.append(box)
    return [Words(_cut(text, room.frame), box.left, box.bottom - 2.2, role)]


def _cut(text: str, frame: Frame) -> str:
    return fitted(text, LETTERS_PT, frame.box.width - 2.0 * _AWAY_PT)


def _sized(text: str, left: float, bottom: float) -> Box:
    return Box(left, bottom - _HEIGHT_PT, width_pt(text, LETTERS_PT), _HEIGHT_PT)


def _beside_level(frame: Frame, mark: Level) -> list[Box]:
    """Return places along a rule, on the side that is not hatched first, from the right end."""
    text, box = _cut(mark.label, frame), frame.box
    wide = width_pt(text, LETTERS_PT)
    if mark.axis == "x":
        at = frame.at(mark.value, frame.y[0])[0]
        heights = np.linspace(box.top + _HEIGHT_PT + 1.0, box.bottom - 1.0, 9)
        sides = [at + _AWAY_PT, at - _AWAY_PT - wide]
        return [_sized(text, side, float(height)) for side in sides for height in heights]
    at = frame.at(frame.x[0], mark.value)[1]
    lefts = np.linspace(box.right - wide - _AWAY_PT, box.left + _AWAY_PT, 9)
    above, below = at - 2.0, at + _HEIGHT_PT + 1.5
    if mark.allowed is None:
        sides = [above, below]
    elif hatched_below(frame, mark):
        sides = [above, below + HATCH_PT]
    else:
        sides = [below, above - HATCH_PT]
    return [_sized(text, float(left), side) for side in sides for left in lefts]


def hatched_below(frame: Frame, mark: Level) -> bool:
    """Return whether the side of a limit that is not allowed lies lower on the page."""
    return (mark.allowed == "above") is not frame.panel.y.reverse


def _beside_slope(frame: Frame, mark: Slope) -> list[Box]:
    """Return places along a line, from its far end inward, right of it and left of it."""
    ends = slope_ends(frame, mark.slope, mark.intercept)
    if ends is None:
        return []
    text = _cut(mark.label, frame)
    wide = width_pt(text, LETTERS_PT)
    boxes = []
    for part in (0.97, 0.9, 0.83, 0.75, 0.65, 0.5):
        x, y = (float(end[0] + part * (end[1] - end[0])) for end in ends)
        at, down = frame.at(x, y)
        boxes += [_sized(text, at + _AWAY_PT, down + _HEIGHT_PT), _sized(text, at - wide, down - 2)]
    return boxes


def _around(text: str, at: tuple[float, float], side: str) -> list[Box]:
    """Return places around a point, on the `side` asked for first."""
    x, y = at
    wide, half = width_pt(text, LETTERS_PT), 0.5 * _HEIGHT_PT
    away = _AWAY_PT + 2.0
    boxes = {
        "right": _sized(text, x + away, y + half),
        "left": _sized(text, x - away - wide, y + half),
        "above": _sized(text, x - 0.5 * wide, y - away),
        "below": _sized(text, x - 0.5 * wide, y + away + _HEIGHT_PT),
        "right above": _sized(text, x + 2.0, y - 2.0),
        "left above": _sized(text, x - 2.0 - wide, y - 2.0),
        "right below": _sized(text, x + 2.0, y + 2.0 + _HEIGHT_PT),
        "left below": _sized(text, x - 2.0 - wide, y + 2.0 + _HEIGHT_PT),
    }
    return [boxes.pop(side), *boxes.values()]


def _above_bars(room: _Room, mark: Bars) -> list[Words]:
    found: list[Words] = []
    for name, y in zip(mark.names, mark.y, strict=True):
        text = _cut(name, room.frame)
        bottom = room.frame.at(0.0, y)[1] - BAR_PT / 2 - 1.0
        found += _put(room, text, mark.role, [_sized(text, room.frame.box.left + 1.0, bottom)])
    return found


def _in_span(room: _Room, mark: Span) -> list[Words]:
    """Return a region's name at its top: level where it fits, else upright, else not at all."""
    frame = room.frame
    start, end = (frame.at(x, frame.y[0])[0] for x in (mark.start, mark.end))
    start, end = max(start, frame.box.left), min(end, frame.box.right)
    wide = width_pt(mark.label, LETTERS_PT)
    middle = 0.5 * (start + end)
    if end <= start:
        return []
    top, bottom = frame.box.top + 2.0, frame.box.bottom - 2.0
    upright = end - start < wide + 2.0
    size = (_HEIGHT_PT, wide) if upright else (wide, _HEIGHT_PT)
    left = middle - 0.5 * size[0]
    box = room.best([Box(left, at, *size) for at in (top, bottom - size[1])])
    if box is None:
        return []
    room.taken.append(box)
    if upright:
        return [Words(mark.label, box.left + 7.0, box.bottom, mark.role, upright=True)]
    return [Words(mark.label, box.left, box.bottom - 2.2, mark.role)]


def _drawn(frame: Frame) -> tuple[Floats, Floats]:
    """Return where points and lines are drawn, thinned: what words should not cover."""
    xs, ys = [np.empty(0)], [np.empty(0)]
    for mark in frame.panel.marks:
        if isinstance(mark, Line) and mark.x.size:
            good = np.isfinite(mark.x) & np.isfinite(mark.y)
            if np.count_nonzero(good) > 1:
                rows = np.flatnonzero(good)
                at = np.linspace(0, rows.size - 1, _SAMPLES)
                xs.append(np.interp(at, np.arange(rows.size), mark.x[rows]))
                ys.append(np.interp(at, np.arange(rows.size), mark.y[rows]))
        elif isinstance(mark, Points):
            good = np.isfinite(mark.x) & np.isfinite(mark.y)
            half = np.zeros(mark.x.size) if mark.y_u95 is None else mark.y_u95
            for part in (-1.0, -0.5, 0.0, 0.5, 1.0):
                xs.append(np.repeat(mark.x[good], _WEIGHT))
                ys.append(np.repeat((mark.y + part * half)[good], _WEIGHT))
        elif isinstance(mark, Slope):
            x = np.linspace(*frame.x, _SAMPLES)
            xs.append(x)
            ys.append(mark.intercept + mark.slope * x)
    return frame.across(np.concatenate(xs)), frame.down(np.concatenate(ys))
