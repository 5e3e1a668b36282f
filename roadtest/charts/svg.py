"""A chart as SVG: vectors and real text, for paper and for a page without scripts.

The same chart gives the same bytes. Everything that comes from a file is escaped.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from roadtest.charts.frames import LETTERS_PT, TITLE_PT, Entry, Frame, laid_out
from roadtest.charts.lettering import FAMILY, fitted, harmless, identifier, true_minus
from roadtest.charts.model import CAPS, Chart, Span
from roadtest.charts.palette import LIGHT, Palette
from roadtest.charts.placing import words_of
from roadtest.charts.reduce import reduced
from roadtest.charts.svg_marks import BARE, Pen, mark_svg, marker_svg, number, sample_svg

A4_WIDTH_PT: Final = 480.0  # of text on an A4 page with margins of 20 mm; our choice
_LINES_PER_PT: Final = 3.0  # points of a line per point of width: finer than print can show


def draw_svg(
    chart: Chart,
    size: tuple[float, float] | None = None,
    palette: Palette = LIGHT,
    *,
    headed: bool = False,
) -> str:
    """Return `chart` as an SVG document of `size` (width and height in points, 1/72 in).

    Without a size it is as wide as the text of an A4 page, and as high as the chart suggests.
    Letters are 8 points high at that size. `headed` draws the title as well, for where no heading
    or caption stands by. The title and the sentence that the chart says are in it for those who
    hear it read.
    """
    width, height = size or (A4_WIDTH_PT, A4_WIDTH_PT * chart.height)
    chart = reduced(chart, max(int(width * _LINES_PER_PT), 200))
    name = identifier(chart.id)
    layout = laid_out(chart, width, height, headed=headed)
    parts = list(_opening(chart, name, (width, height), palette))
    if layout.title_at is not None:
        title = fitted(chart.title, TITLE_PT, width)
        style = f'font-size="{number(TITLE_PT)}" font-weight="bold"'
        parts.append(_text(title, 0.0, layout.title_at, palette.ink, style))
    for entry in layout.legend:
        parts += _legend_entry(entry, Pen(palette, name))
    for row, frame in enumerate(layout.frames):
        last = row == len(layout.frames) - 1
        parts += _frame(frame, Pen(palette, f"{name}-{row}"), capped=row == 0)
        parts += _x_axis(chart, frame, palette, last=last)
    parts.append("</svg>\n")
    return "\n".join(parts)


def _opening(chart: Chart, name: str, size: tuple[float, float], palette: Palette) -> Iterator[str]:
    width, height = (number(length) for length in size)
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}pt" height="{height}pt" '
        f'viewBox="0 0 {width} {height}" role="img" '
        f'aria-labelledby="{name}-title {name}-says" '
        f'font-family="{FAMILY}" font-size="{number(LETTERS_PT)}">'
    )
    yield f'<title id="{name}-title">{harmless(chart.title)}</title>'
    yield f'<desc id="{name}-says">{harmless(chart.says)}</desc>'
    yield f'<rect width="{width}" height="{height}" fill="{palette.ground}"/>'


def _text(text: str, x: float, y: float, ink: str, style: str = "") -> str:
    style = f" {style}" if style else ""
    said = harmless(true_minus(text))
    return f'<text x="{number(x)}" y="{number(y)}" fill="{ink}"{style}>{said}</text>'


def _legend_entry(entry: Entry, pen: Pen) -> list[str]:
    sample = sample_svg(entry.mark, entry.left, entry.middle, pen)
    base = entry.middle + 0.35 * LETTERS_PT
    return [*sample, _text(entry.label, entry.left + 24.0, base, pen.palette.ink)]


def _frame(frame: Frame, pen: Pen, *, capped: bool) -> Iterator[str]:
    """Yield one panel: title of its axis, grid, marks, frame, words."""
    box, palette = frame.box, pen.palette
    edge = (
        f'x="{number(box.left)}" y="{number(box.top)}" '
        f'width="{number(box.width)}" height="{number(box.height)}"'
    )
    yield f'<clipPath id="{pen.name}-clip"><rect {edge}/></clipPath>'
    yield from _panel_titles(frame, palette, capped=capped)
    yield from _grid(frame, palette)
    yield f'<g clip-path="url(#{pen.name}-clip)">'
    for mark in frame.panel.marks:
        yield from mark_svg(mark, frame, pen)
    yield "</g>"
    yield f'<rect {edge} fill="none" stroke="{palette.frame}" stroke-width="0.8"/>'
    if capped:
        yield from _caps(frame, pen)
    yield from _words(frame, palette)


def _panel_titles(frame: Frame, palette: Palette, *, capped: bool) -> Iterator[str]:
    """Yield what stands above a panel: what its y axis shows, and at the right its title."""
    box, panel = frame.box, frame.panel
    above = any(isinstance(mark, Span) and mark.role in CAPS for mark in panel.marks) and capped
    base = box.top - (LETTERS_PT + 2.5 if above else 6.0)
    room = box.right if not panel.title else 0.5 * box.right
    title = fitted(panel.y.title_text, LETTERS_PT, room)
    yield _text(title, 0.0, base, palette.ink, 'font-weight="bold"')
    if panel.title:
        title = fitted(panel.title, LETTERS_PT, 0.5 * box.right)
        yield _text(title, box.right, base, palette.faint_ink, 'text-anchor="end"')


def _grid(frame: Frame, palette: Palette) -> Iterator[str]:
    """Yield the minor and major grid, and the words of the y axis."""
    box = frame.box
    labelled = frame.panel.y.labels
    for ink, xs, ys in (
        (palette.minor_grid, frame.x_ticks.minor, frame.y_ticks.minor),
        (
            palette.grid,
            [tick for tick, _ in frame.x_ticks.major],
            [tick for tick, _ in frame.y_ticks.major],
        ),
    ):
        path = "".join(
            f"M{number(frame.at(x, 0.0)[0])} {number(box.top)}V{number(box.bottom)}" for x in xs
        )
        path += "".join(
            f"M{number(box.left)} {number(frame.at(0.0, y)[1])}H{number(box.right)}" for y in ys
        )
        if path:
            yield f'<path d="{path}" stroke="{ink}" stroke-width="0.5" fill="none"/>'
    for y, label in frame.y_ticks.major:
        base = frame.at(0.0, y)[1] + 0.35 * LETTERS_PT
        label = fitted(label, LETTERS_PT, box.left - 2.0) if labelled else label
        yield _text(label, box.left - 4.0, base, palette.ink, 'text-anchor="end"')


def _x_axis(chart: Chart, frame: Frame, palette: Palette, *, last: bool) -> Iterator[str]:
    """Yield the words of the x axis, beneath the last panel only."""
    if not last:
        return
    base = frame.box.bottom + LETTERS_PT + 3.0
    for x, label in frame.x_ticks.major:
        yield _text(label, frame.at(x, 0.0)[0], base, palette.ink, 'text-anchor="middle"')
    if chart.x.title:
        title = fitted(chart.x.title_text, LETTERS_PT, frame.box.width)
        base += LETTERS_PT + 3.5 if chart.x.scale != "none" else 0.0
        style = 'text-anchor="end" font-weight="bold"'
        yield _text(title, frame.box.right, base, palette.ink, style)


def _caps(frame: Frame, pen: Pen) -> Iterator[str]:
    """Yield the markers above the frame that tell the kinds of manoeuvre."""
    for mark in frame.panel.marks:
        if isinstance(mark, Span) and mark.role in CAPS:
            middle = frame.at(0.5 * (mark.start + mark.end), 0.0)[0]
            if frame.box.left <= middle <= frame.box.right:
                at = np.array([[middle, frame.box.top - 4.2]])
                ink = BARE if mark.set_aside or mark.faint else pen.palette.roles[mark.role]
                edge = pen.palette.roles[mark.role]
                yield marker_svg(CAPS[mark.role], at, 2.3, (ink, edge))


def _words(frame: Frame, palette: Palette) -> Iterator[str]:
    """Yield the words inside a frame, on a rim of the ground's colour so that they stay clear."""
    for words in words_of(frame):
        ink = palette.roles[words.role]
        width = 1.2 if words.upright else 2.4  # a span is narrow: a wide rim would hide its line
        rim = f'stroke="{palette.ground}" stroke-width="{width}" stroke-linejoin="round"'
        turned = (
            f' transform="rotate(-90 {number(words.left)} {number(words.base)})"'
            if words.upright
            else ""
        )
        yield _text(words.text, words.left, words.base, ink, f'paint-order="stroke" {rim}{turned}')
