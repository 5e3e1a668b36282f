"""The marks of a chart as SVG: lines, points, bands, regions, rules."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.charts.frames import SWATCH_PT, Frame, slope_ends
from roadtest.charts.model import (
    CAPS,
    Band,
    Bars,
    Dash,
    Level,
    Line,
    Mark,
    Marker,
    Points,
    Role,
    Slope,
    Span,
)
from roadtest.charts.palette import Palette
from roadtest.charts.placing import BAR_PT, HATCH_PT, hatched_below
from roadtest.quantity import Floats

BARE: Final = "none"  # the fill of a hollow marker
_LINE_PT: Final = 1.1
_MARKER_PT: Final = 2.6  # from the middle to the edge
_CAP_PT: Final = 1.8  # half the bar across the end of an interval
_HATCH_STEP_PT: Final = 6.0  # between the strokes on the side of a limit that is not allowed

_DASHES: Final[dict[Dash, str]] = {
    "solid": "",
    "dashed": "5 3",
    "dotted": "1.2 2.2",
    "dash-dot": "6 2.5 1.2 2.5",
    "long dash": "10 4",
}

# Corners of each marker, on a circle of radius 1 or so, all of about the same area.
_CORNERS: Final[dict[Marker, str]] = {
    "square": "-.85 -.85 .85 -.85 .85 .85 -.85 .85",
    "diamond": "0 -1.2 1.2 0 0 1.2 -1.2 0",
    "triangle up": "0 -1.2 1.1 .8 -1.1 .8",
    "triangle down": "0 1.2 1.1 -.8 -1.1 -.8",
    "star": "0 -1.3 .3 -.4 1.24 -.4 .48 .15 .76 1.05 0 .5 -.76 1.05 -.48 .15 -1.24 -.4 -.3 -.4",
}
_STROKES: Final[dict[Marker, str]] = {
    "plus": "-1.1 0 1.1 0 0 -1.1 0 1.1",
    "cross": "-.8 -.8 .8 .8 -.8 .8 .8 -.8",
}


@dataclass(frozen=True)
class Pen:
    """What to draw with: the palette, and the name that ids of this drawing begin with."""

    palette: Palette
    name: str

    def ink(self, role: Role) -> str:
        """Return the colour of a role."""
        return self.palette.roles[role]


def number(value: float) -> str:
    """Return a length with two decimals at most: a hundredth of a point."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def mark_svg(mark: Mark, frame: Frame, pen: Pen) -> Iterator[str]:
    """Yield the drawing of one mark; its words are drawn elsewhere."""
    if isinstance(mark, Line):
        yield from _line(mark, frame, pen)
    elif isinstance(mark, Points):
        yield from _points(mark, frame, pen)
    elif isinstance(mark, Band):
        yield from _band(mark, frame, pen)
    elif isinstance(mark, Bars):
        yield from _bars(mark, frame, pen)
    elif isinstance(mark, Span):
        yield from _span(mark, frame, pen)
    elif isinstance(mark, Level):
        yield from _level(mark, frame, pen)
    elif isinstance(mark, Slope):
        ends = slope_ends(frame, mark.slope, mark.intercept)
        if ends is not None:
            path = polyline(frame.across(ends[0]), frame.down(ends[1]))
            yield stroke(path, pen.ink(mark.role), mark.dash, mark.width)


def stroke(path: str, ink: str, dash: Dash = "solid", width: float = 1.0) -> str:
    """Return a path drawn as a line."""
    dashes = f' stroke-dasharray="{_DASHES[dash]}"' if _DASHES[dash] else ""
    return (
        f'<path d="{path}" fill="none" stroke="{ink}" stroke-width="{number(width * _LINE_PT)}" '
        f'stroke-linejoin="round"{dashes}/>'
    )


def polyline(across: Floats, down: Floats) -> str:
    """Return a path through points ([n] float, points of length), broken where one is NaN."""
    good = np.isfinite(across) & np.isfinite(down)
    parts: list[str] = []
    pen_down = False
    for x, y, ok in zip(across.tolist(), down.tolist(), good.tolist(), strict=True):
        if ok:
            parts.append(f"{'' if pen_down else 'M'}{number(x)} {number(y)}")
        pen_down = ok
    return " ".join(parts)


def _line(mark: Line, frame: Frame, pen: Pen) -> Iterator[str]:
    x, y = mark.x, mark.y
    if mark.steps and x.size > 1:
        x, y = np.repeat(x, 2)[1:], np.repeat(y, 2)[:-1]
    path = polyline(frame.across(x), frame.down(y))
    if path:
        yield stroke(path, pen.ink(mark.role), mark.dash, mark.width)


def _band(mark: Band, frame: Frame, pen: Pen) -> Iterator[str]:
    """Yield the area and, for one that is edged, its ends as far as they are finite."""
    ink = pen.ink(mark.role)
    known = np.isfinite(mark.x) & ~np.isnan(mark.low) & ~np.isnan(mark.high)
    across, low, high = (
        frame.across(mark.x),
        frame.down(np.nan_to_num(mark.low, neginf=-1e30, posinf=1e30)),
        frame.down(np.nan_to_num(mark.high, neginf=-1e30, posinf=1e30)),
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        rows = slice(start, end)
        there = polyline(across[rows], high[rows])
        back = polyline(across[rows][::-1], low[rows][::-1]).removeprefix("M")
        opacity = number(pen.palette.band_opacity)
        yield f'<path d="{there} {back}Z" fill="{ink}" fill-opacity="{opacity}"/>'
    if mark.edged:
        for end in (mark.low, mark.high):
            path = polyline(across, np.where(np.isfinite(end), frame.down(end), np.nan))
            if path:
                yield stroke(path, ink, "solid", 0.8)


def _bars(mark: Bars, frame: Frame, pen: Pen) -> Iterator[str]:
    zero = frame.at(0.0, 0.0)[0]
    for across, middle in zip(frame.across(mark.length), frame.down(mark.y), strict=True):
        left, right = min(zero, across), max(zero, across)
        yield (
            f'<rect x="{number(left)}" y="{number(middle - BAR_PT / 2)}" '
            f'width="{number(max(right - left, 0.6))}" height="{number(BAR_PT)}" '
            f'fill="{pen.ink(mark.role)}"/>'
        )


def _span(mark: Span, frame: Frame, pen: Pen) -> Iterator[str]:
    """Yield a region: filled, or only dotted edges where it was not used."""
    box, ink = frame.box, pen.ink(mark.role)
    start, end = (frame.at(x, 0.0)[0] for x in (mark.start, mark.end))
    end = max(end, start + 0.5)
    if mark.set_aside:
        path = "".join(f"M{number(x)} {number(box.top)}V{number(box.bottom)}" for x in (start, end))
        yield stroke(path, ink, "dotted", 0.6)
        return
    opacity = pen.palette.span_opacity * (0.4 if mark.faint else 1.0)
    yield (
        f'<rect x="{number(start)}" y="{number(box.top)}" width="{number(end - start)}" '
        f'height="{number(box.height)}" fill="{ink}" '
        f'fill-opacity="{number(opacity)}"/>'
    )


def _level(mark: Level, frame: Frame, pen: Pen) -> Iterator[str]:
    """Yield a rule, with short slanting strokes on the side that is not allowed."""
    box, ink = frame.box, pen.ink(mark.role)
    x, y = frame.at(mark.value, mark.value)
    if mark.axis == "x":
        yield stroke(f"M{number(x)} {number(box.top)}V{number(box.bottom)}", ink, mark.dash)
        return
    yield stroke(f"M{number(box.left)} {number(y)}H{number(box.right)}", ink, mark.dash)
    if mark.allowed is not None:
        away = HATCH_PT if hatched_below(frame, mark) else -HATCH_PT
        starts = np.arange(box.left + 2.0, box.right, _HATCH_STEP_PT)
        strokes = (f"M{number(at)} {number(y)}l-3 {number(away)}" for at in starts)
        yield stroke("".join(strokes), ink, "solid", 0.5)


def _points(mark: Points, frame: Frame, pen: Pen) -> Iterator[str]:
    """Yield intervals first, so that markers lie on them."""
    ink = pen.ink(mark.role)
    across, down = frame.across(mark.x), frame.down(mark.y)
    intervals = "".join(_intervals(mark, frame))
    if intervals:
        yield stroke(intervals, ink, "solid", 0.8)
    fill = pen.palette.ground if mark.hollow else ink
    good = np.isfinite(across) & np.isfinite(down)
    if good.any():
        at = np.column_stack([across[good], down[good]])
        yield marker_svg(mark.marker, at, _MARKER_PT * mark.size, (fill, ink))


def _intervals(mark: Points, frame: Frame) -> Iterator[str]:
    for x, y, x_u95, y_u95 in _with_halves(mark):
        at, down = frame.at(x, y)
        if y_u95 > 0.0:
            low, high = frame.at(x, y - y_u95)[1], frame.at(x, y + y_u95)[1]
            left, right = number(at - _CAP_PT), number(at + _CAP_PT)
            yield f"M{number(at)} {number(low)}V{number(high)}"
            yield f"M{left} {number(low)}H{right}M{left} {number(high)}H{right}"
        if x_u95 > 0.0:
            low, high = frame.at(x - x_u95, y)[0], frame.at(x + x_u95, y)[0]
            top, bottom = number(down - _CAP_PT), number(down + _CAP_PT)
            yield f"M{number(low)} {number(down)}H{number(high)}"
            yield f"M{number(low)} {top}V{bottom}M{number(high)} {top}V{bottom}"


def _with_halves(mark: Points) -> Iterator[tuple[float, float, float, float]]:
    """Yield x, y and the half-widths of their intervals, 0 where there are none."""
    none = np.zeros(mark.x.size)
    halves = [none if half is None else half for half in (mark.x_u95, mark.y_u95)]
    for x, y, x_u95, y_u95 in zip(mark.x, mark.y, *halves, strict=True):
        if np.isfinite(x) and np.isfinite(y):
            yield x, y, x_u95, y_u95


def marker_svg(marker: Marker, at: Floats, radius: float, inks: tuple[str, str]) -> str:
    """Return markers about points [n, 2] as one path; `inks` are those of fill and edge."""
    fill, edge = inks
    paths = "".join(_outline(marker, x, y, radius) for x, y in at.tolist())
    if marker in _STROKES:
        return f'<path d="{paths}" fill="none" stroke="{edge}" stroke-width="1.3"/>'
    return (
        f'<path d="{paths}" fill="{fill}" stroke="{edge}" stroke-width="0.9" '
        f'stroke-linejoin="round"/>'
    )


def _outline(marker: Marker, x: float, y: float, radius: float) -> str:
    if marker == "circle":
        r, both = number(radius), number(2.0 * radius)
        half = f"a{r} {r} 0 1 0"
        return f"M{number(x - radius)} {number(y)}{half} {both} 0{half} -{both} 0Z"
    corners = _CORNERS.get(marker) or _STROKES[marker]
    pairs = np.array(corners.split(), dtype=np.float64).reshape(-1, 2) * radius + (x, y)
    points = [f"{number(across)} {number(down)}" for across, down in pairs.tolist()]
    if marker in _CORNERS:
        return f"M{' '.join(points)}Z"
    return "".join(f"M{a} {b}" for a, b in zip(points[::2], points[1::2], strict=True))


def sample_svg(mark: Mark, left: float, middle: float, pen: Pen) -> list[str]:
    """Return what stands beside a word of the legend."""
    right, at = left + SWATCH_PT, np.array([[left + 0.5 * SWATCH_PT, middle]])
    if isinstance(mark, Line | Slope):
        path = f"M{number(left)} {number(middle)}H{number(right)}"
        return [stroke(path, pen.ink(mark.role), mark.dash, getattr(mark, "width", 1.0))]
    if isinstance(mark, Points):
        ink = pen.ink(mark.role)
        fill = pen.palette.ground if mark.hollow else ink
        return [marker_svg(mark.marker, at, _MARKER_PT * max(mark.size, 0.8), (fill, ink))]
    if isinstance(mark, Span):
        ink = pen.ink(mark.role)
        opacity = pen.palette.span_opacity
        cap = marker_svg(CAPS[mark.role], at, 2.3, (ink, ink))
        return [_swatch(left, middle, ink, opacity), cap]
    if isinstance(mark, Band | Bars):
        opacity = pen.palette.band_opacity if isinstance(mark, Band) else 1.0
        return [_swatch(left, middle, pen.ink(mark.role), opacity)]
    return []


def _swatch(left: float, middle: float, ink: str, opacity: float) -> str:
    return (
        f'<rect x="{number(left)}" y="{number(middle - 3.5)}" width="{number(SWATCH_PT)}" '
        f'height="7" fill="{ink}" fill-opacity="{number(opacity)}"/>'
    )
