"""Where the parts of a drawing stand: frames of panels, axes, the legend above. All in points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from roadtest.charts.lettering import fitted, width_pt
from roadtest.charts.model import (
    CAPS,
    Axis,
    Band,
    Bars,
    Chart,
    Line,
    Mark,
    Panel,
    Points,
    Slope,
    Span,
)
from roadtest.charts.scale import Range, Ticks, ticks, x_range, y_range
from roadtest.quantity import Floats

LETTERS_PT: Final = 8.0  # readable in print
TITLE_PT: Final = 10.0
LINE_PT: Final = 11.5  # from one row of words to the next
SWATCH_PT: Final = 20.0  # of the line or marker beside a legend's word
_GAP_PT: Final = 4.0
_ABOVE_PT: Final = 5.5  # from a frame to the words above it: half a tick's label is between
_END_PT: Final = 1e4  # farthest outside the page that anything is drawn


@dataclass(frozen=True)
class Box:
    """A rectangle: left, top, width, height; y grows downward."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """Its lower edge."""
        return self.top + self.height

    def overlaps(self, other: Box) -> bool:
        """Return whether the two have any area in common."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(frozen=True)
class Frame:
    """A panel in its place: its box, the ranges of its axes and where they are labelled."""

    panel: Panel
    box: Box
    x: Range
    y: Range
    x_ticks: Ticks
    y_ticks: Ticks

    def across(self, x: Floats) -> Floats:
        """Return where values of x ([n] float) stand, in points from the left."""
        place = self.box.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * self.box.width
        return np.clip(place, -_END_PT, _END_PT)

    def down(self, y: Floats) -> Floats:
        """Return where values of y ([n] float) stand, in points from the top."""
        up = (y - self.y[0]) / (self.y[1] - self.y[0])
        if self.panel.y.reverse:
            up = 1.0 - up
        place = self.box.bottom - up * self.box.height
        return np.clip(place, -_END_PT, _END_PT)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return where one point stands."""
        return float(self.across(np.array([x]))[0]), float(self.down(np.array([y]))[0])


@dataclass(frozen=True)
class Entry:
    """A word of the legend and the mark it explains."""

    label: str
    mark: Mark
    left: float = 0.0
    middle: float = 0.0  # height of the middle of its row


@dataclass(frozen=True)
class Layout:
    """A chart in its place."""

    frames: tuple[Frame, ...]
    legend: tuple[Entry, ...]
    title_at: float | None  # the baseline of the title


def laid_out(chart: Chart, width: float, height: float, *, headed: bool) -> Layout:
    """Return where everything of `chart` stands on `width` by `height` points."""
    top = TITLE_PT + 5.0 if headed else 1.0
    title_at = TITLE_PT if headed else None
    legend, top = _legend(_entries(chart), width, top)
    across = x_range(chart)
    downs = [y_range(chart, panel) for panel in chart.panels]
    foot = (LETTERS_PT + 7.0 if chart.x.scale != "none" else 2.0) + (
        LINE_PT if chart.x.title else 0.0
    )
    capped = any(isinstance(mark, Span) and mark.role in CAPS for mark in chart.marks)
    head = LINE_PT + (LETTERS_PT if capped else 3.5)
    boxes = _boxes(chart, Box(0.0, top, width, height - top - foot), head)
    y_ticks = [
        _ticks_down(panel.y, down, box)
        for panel, down, box in zip(chart.panels, downs, boxes, strict=True)
    ]
    words = [label for each in y_ticks for _, label in each.major]
    margin = max((width_pt(word, LETTERS_PT) for word in words), default=0.0) + 7.0
    x_ticks = _ticks_across(chart.x, across, width - margin - 10.0)
    overhang = width_pt(x_ticks.major[-1][1], LETTERS_PT) / 2 if x_ticks.major else 0.0
    room = width - margin - max(overhang, 4.0)
    frames = []
    for panel, box, down, labels in zip(chart.panels, boxes, downs, y_ticks, strict=True):
        placed = replace(box, left=margin, width=room)
        frames.append(Frame(panel, placed, across, down, x_ticks, labels))
    return Layout(tuple(_true_to_shape(chart, frame) for frame in frames), legend, title_at)


def _boxes(chart: Chart, whole: Box, head: float) -> list[Box]:
    """Share the height among the panels, each with its title above."""
    shares = np.array([panel.share for panel in chart.panels])
    heads = np.full(shares.size, LINE_PT + _ABOVE_PT)
    heads[0] = head
    free = max(whole.height - float(heads.sum()), 12.0 * shares.size)
    heights = free * shares / shares.sum()
    tops = whole.top + np.cumsum(heads) + np.concatenate([[0.0], np.cumsum(heights)[:-1]])
    return [
        Box(whole.left, float(top), whole.width, float(height))
        for top, height in zip(tops, heights, strict=True)
    ]


def _true_to_shape(chart: Chart, frame: Frame) -> Frame:
    """Widen the range of one axis until a unit is as long on both, where the chart asks for it."""
    if not (chart.x.equal and frame.panel.y.equal):
        return frame
    box = frame.box
    per_pt = max((frame.x[1] - frame.x[0]) / box.width, (frame.y[1] - frame.y[0]) / box.height)
    across, down = _widened(frame.x, per_pt * box.width), _widened(frame.y, per_pt * box.height)
    return replace(
        frame,
        x=across,
        y=down,
        x_ticks=_ticks_across(chart.x, across, box.width),
        y_ticks=_ticks_down(frame.panel.y, down, box),
    )


def _widened(between: Range, width: float) -> Range:
    middle = 0.5 * (between[0] + between[1])
    return middle - 0.5 * width, middle + 0.5 * width


def _ticks_down(axis: Axis, between: Range, box: Box) -> Ticks:
    """Return ticks of a y axis: a row of words apart at least."""
    per_unit = box.height / (between[1] - between[0])
    return _roomy(
        ticks(axis, between, lambda _, step: step * per_unit >= 1.7 * LETTERS_PT), box.height
    )


def _roomy(found: Ticks, length: float) -> Ticks:
    """Leave out the minor grid where its lines would be closer than 7 points."""
    lines = len(found.major) + len(found.minor)
    return found if length >= 7.0 * lines else Ticks(found.major)


def _ticks_across(axis: Axis, between: Range, width: float) -> Ticks:
    """Return ticks of an x axis: their words side by side, with air between."""
    per_unit = width / (between[1] - between[0])

    def fit(labels: tuple[str, ...], step: float) -> bool:
        widest = max((width_pt(label, LETTERS_PT) for label in labels), default=0.0)
        return step * per_unit >= max(widest + 1.2 * LETTERS_PT, 4.0 * LETTERS_PT)

    return _roomy(ticks(axis, between, fit), width)


def _entries(chart: Chart) -> list[Entry]:
    """Return what the legend explains, each label once; a rule carries its own words."""
    found: dict[tuple[str, str, str], Entry] = {}
    for mark in chart.marks:
        label = ""
        if isinstance(mark, Line | Points | Band | Bars):
            label = mark.label
        elif isinstance(mark, Span) and mark.role in CAPS:
            label = mark.role
        elif isinstance(mark, Slope) and not mark.at_end:
            label = mark.label
        if label:
            kind = type(mark).__name__
            found.setdefault((label, kind, getattr(mark, "role", "")), Entry(label, mark))
    return list(found.values())


def _legend(entries: Sequence[Entry], width: float, top: float) -> tuple[tuple[Entry, ...], float]:
    """Return the legend in rows across the page, and where it ends."""
    if not entries:
        return (), top
    placed: list[Entry] = []
    left, row = 0.0, 0
    for entry in entries:
        label = fitted(entry.label, LETTERS_PT, width - SWATCH_PT - _GAP_PT)
        needed = SWATCH_PT + _GAP_PT + width_pt(label, LETTERS_PT)
        if left > 0.0 and left + needed > width:
            left, row = 0.0, row + 1
        middle = top + (row + 0.5) * LINE_PT
        placed.append(replace(entry, label=label, left=left, middle=middle))
        left += needed + 2.0 * LETTERS_PT
    return tuple(placed), top + (row + 1) * LINE_PT + 2.0


def slope_ends(frame: Frame, slope: float, intercept: float) -> tuple[Floats, Floats] | None:
    """Return the ends (x [2], y [2]) of a straight line within the frame, None if it misses it."""
    x = np.array(frame.x)
    if slope != 0.0:
        crossings = np.sort((np.array(frame.y) - intercept) / slope)
        x = np.array([max(x[0], crossings[0]), min(x[1], crossings[1])])
    y = intercept + slope * x
    inside = x[1] > x[0] and math.isfinite(float(y.sum()))
    reaches = frame.y[0] <= y.max() + 1e-9 and y.min() - 1e-9 <= frame.y[1]
    return (x, y) if inside and reaches else None
