"""A chart as a plotly figure: the screen's counterpart of `roadtest/charts/svg.py`.

A figure is plain data, as the browser gets it. Words from files are escaped: plotly reads a few
HTML tags in every text.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from textwrap import wrap
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from roadtest.charts.model import (
    CAPS,
    Axis,
    Band,
    Bars,
    Chart,
    Dash,
    Level,
    Line,
    Mark,
    Marker,
    Note,
    Panel,
    Points,
    Slope,
    Span,
)
from roadtest.charts.palette import LIGHT, Palette
from roadtest.charts.reduce import reduced
from roadtest.charts.scale import Range, ticks, x_range, y_range
from roadtest.quantity import Floats

Figure = dict[str, Any]

_DASH: Final[dict[Dash, str]] = {
    "solid": "solid",
    "dashed": "dash",
    "dotted": "dot",
    "dash-dot": "dashdot",
    "long dash": "longdash",
}
_SYMBOL: Final[dict[Marker, str]] = {
    "circle": "circle",
    "square": "square",
    "diamond": "diamond",
    "triangle up": "triangle-up",
    "triangle down": "triangle-down",
    "plus": "cross-thin-open",
    "cross": "x-thin-open",
    "star": "star",
}
_LINE_PX: Final = 1.8
_WORDS_PX: Final = 15  # height of a line of words
_AWAY_PX: Final = 5  # words from the point they are about
_MARKER_PX: Final = 8.0
_TOP_PX: Final = 26  # above the first panel: its title
_BOTTOM_PX: Final = 46  # below the last: numbers and title of the x axis
_GAP_PX: Final = 36  # between panels; their titles stand in it
_PANEL_PX: Final = 95  # of a panel with a share of 1, where there are several
_ALONE_PX: Final = (150.0, 400.0)  # least and most of a panel that stands alone
_AS_WIDE_PX: Final = 640.0  # a width that a chart's height is reckoned from
_BAR_PX: Final = 58.0  # of a bar with two lines of words above it
_BAR_LETTERS: Final = 46  # to a line: a phone's width
_PATH_PX: Final = (260.0, 520.0)  # least and most of what keeps its shape
_PATH_WIDE_PX: Final = 420.0  # its width, beside the drive or on a phone
_MOST_CLOCK_LABELS: Final = 8  # that have room on a phone's width
_MOST_NAMES: Final = 3  # printed beside points; on a screen the others tell theirs when pointed at
_FAMILY: Final = "system-ui, sans-serif"


def draw_plotly(
    chart: Chart,
    palette: Palette = LIGHT,
    between: tuple[float, float] | None = None,
    *,
    still: bool = False,
) -> Figure:
    """Return `chart` as a plotly figure, fit for JSON; `between` shows that stretch of x.
    A `still` one leaves dragging to the page, for fingers.

    No line has more than some 2,000 points, extremes kept: a closer look is drawn anew.
    """
    across = between or x_range(chart)
    slim = reduced(chart, between=between)
    figure = _Figure(chart, palette, across, still)
    for number, panel in enumerate(slim.panels):
        # The range is that of the whole chart, so that a closer look keeps its scale.
        pen = _Pen(figure, number, y_range(chart, chart.panels[number]))
        for mark in panel.marks:
            _draw(mark, pen)
        _draw_caps(panel.marks, pen)
    return {"data": figure.traces, "layout": _layout(figure)}


def height_px(chart: Chart) -> float:
    """Return how tall the figure of a chart is, whatever its width."""
    if chart.x.equal or chart.panels[0].y.equal:
        inside = _PATH_WIDE_PX * chart.height
        return float(np.clip(inside + _TOP_PX + _BOTTOM_PX, *_PATH_PX))
    bars = sum(mark.y.size for mark in chart.marks if isinstance(mark, Bars))
    if bars:
        return _BAR_PX * bars + _TOP_PX + _BOTTOM_PX
    if len(chart.panels) == 1:
        least, most = _ALONE_PX
        return float(np.clip(_AS_WIDE_PX * chart.height, least, most)) + _TOP_PX + _BOTTOM_PX
    shares = sum(panel.share for panel in chart.panels)
    gaps = _GAP_PX * (len(chart.panels) - 1)
    return _PANEL_PX * shares + gaps + _TOP_PX + _BOTTOM_PX


@dataclass
class _Figure:
    """A figure while it is drawn."""

    chart: Chart
    palette: Palette
    across: Range
    still: bool = False
    traces: list[Figure] = field(default_factory=list)
    shapes: list[Figure] = field(default_factory=list)
    annotations: list[Figure] = field(default_factory=list)
    named: set[str] = field(default_factory=set)  # what the legend has already


@dataclass(frozen=True)
class _Pen:
    """What draws on one panel."""

    figure: _Figure
    number: int
    along: Range

    @property
    def named_at_ends(self) -> bool:
        """Whether lines of this panel have their names at their ends, on the right."""
        marks = self.figure.chart.panels[self.number].marks
        return any(isinstance(mark, Slope) and mark.at_end and mark.label for mark in marks)

    def has_room_above(self, value: float) -> bool:
        """Return whether a line of words has room between a value and the top of the panel."""
        panels = self.figure.chart.panels
        high_px = _PANEL_PX * panels[self.number].share if len(panels) > 1 else _ALONE_PX[0]
        low, high = self.along
        return (high - value) * high_px > _WORDS_PX * (high - low)

    @property
    def axis(self) -> str:
        return "y" if self.number == 0 else f"y{self.number + 1}"

    def ink(self, mark: Any) -> str:
        return self.figure.palette.roles[mark.role]

    def trace(self, label: str, **parts: object) -> None:
        """Add a trace; a label stands in the legend once."""
        named = self.figure.named
        self.figure.traces.append(
            {
                "type": "scatter",
                "xaxis": "x",
                "yaxis": self.axis,
                "name": _safe(label),
                "legendgroup": _safe(label) or f"alone {len(self.figure.traces)}",
                "showlegend": bool(label) and label not in named,
                **parts,
            }
        )
        named.add(label)

    def words(self, text: str | Sequence[str], ink: str, **parts: object) -> None:
        """Add words at a place, a line or several."""
        lines = [text] if isinstance(text, str) else text
        self.figure.annotations.append(
            {
                "text": "<br>".join(_safe(line) for line in lines),
                "align": "left",
                "showarrow": False,
                "font": {"color": ink, "size": 11},
                "bgcolor": _faded(self.figure.palette.ground, 0.75),
                "borderpad": 1,
                "xref": "x",
                "yref": self.axis,
                **parts,
            }
        )


def _draw(mark: Mark, pen: _Pen) -> None:
    if isinstance(mark, Line):
        _draw_line(mark, pen)
    elif isinstance(mark, Points):
        _draw_points(mark, pen)
    elif isinstance(mark, Band):
        _draw_band(mark, pen)
    elif isinstance(mark, Bars):
        _draw_bars(mark, pen)
    elif isinstance(mark, Span):
        _draw_span(mark, pen)
    elif isinstance(mark, Level):
        _draw_level(mark, pen)
    elif isinstance(mark, Slope):
        _draw_slope(mark, pen)
    else:
        _draw_note(mark, pen)


def _draw_line(mark: Line, pen: _Pen) -> None:
    line = {
        "color": pen.ink(mark),
        "dash": _DASH[mark.dash],
        "width": _LINE_PX * mark.width,
        "shape": "hv" if mark.steps else "linear",
    }
    name = mark.label or mark.manoeuvre or ""
    said = "%{y:.4~g}" + (f"<extra>{_safe(name).replace('%{', '% {')}</extra>")
    parts: Figure = {"hovertemplate": said}
    if mark.time_s is not None:
        parts = {"customdata": _listed(mark.time_s), "hoverinfo": "skip"}
    elif pen.figure.chart.x.scale == "clock":
        parts = {"meta": _read_as(pen.figure.chart.panels[pen.number].y)}
    pen.trace(mark.label, mode="lines", x=_listed(mark.x), y=_listed(mark.y), line=line, **parts)


def _read_as(axis: Axis) -> Figure:
    """Return what the page says before and after a value read off a line over time."""
    labels = {f"{value:g}": label for value, label in axis.labels}
    return {"title": axis.title, "unit": axis.unit, "labels": labels}


def _draw_points(mark: Points, pen: _Pen) -> None:
    ink = pen.ink(mark)
    open_ = "-open" if mark.hollow and not _SYMBOL[mark.marker].endswith("-open") else ""
    marker = {
        "color": ink,
        "symbol": _SYMBOL[mark.marker] + open_,
        "size": _MARKER_PX * mark.size,
        "line": {"color": ink, "width": 1.5},
    }
    few = 0 < len(mark.names) <= _MOST_NAMES
    parts: Figure = {"mode": "markers+text" if mark.named and few else "markers"}
    for name, half in (("error_x", mark.x_u95), ("error_y", mark.y_u95)):
        if half is not None:
            bar = {"type": "data", "array": _listed(half), "color": ink, "thickness": 1.2}
            parts[name] = {**bar, "width": 3}
    if mark.names:
        parts |= {"text": [_safe(name) for name in mark.names], "textposition": _beside(pen)}
        parts |= {"textfont": {"color": ink}, "hoverinfo": "text+x+y"}
    pen.trace(mark.label, x=_listed(mark.x), y=_listed(mark.y), marker=marker, **parts)


def _beside(pen: _Pen) -> str:
    """Return where the names of points stand: above them, beside a path that runs up and down."""
    if not pen.figure.chart.x.equal:
        return "top center"
    path = next(
        mark for mark in pen.figure.chart.panels[pen.number].marks if isinstance(mark, Line)
    )
    known = np.isfinite(path.x) & np.isfinite(path.y)
    east, north = path.x[known], path.y[known]
    if east.size < 2 or np.ptp(east) > np.ptp(north):
        return "top center"
    rises = float(np.sum((east - east.mean()) * (north - north.mean()))) > 0.0
    return "middle left" if rises else "middle right"


def _draw_band(mark: Band, pen: _Pen) -> None:
    """Fill each stretch of a band that has no gap; endless ends reach well past the frame."""
    far = 10.0 * (pen.along[1] - pen.along[0])
    low = np.where(np.isneginf(mark.low), pen.along[0] - far, mark.low)
    high = np.where(np.isposinf(mark.high), pen.along[1] + far, mark.high)
    x: list[float | None] = []
    y: list[float | None] = []
    for rows in _runs(np.isfinite(mark.x) & np.isfinite(low) & np.isfinite(high)):
        x += [*_listed(mark.x[rows]), *_listed(mark.x[rows][::-1]), None]
        y += [*_listed(low[rows]), *_listed(high[rows][::-1]), None]
    ink = pen.ink(mark)
    pen.trace(
        mark.label,
        mode="lines",
        x=x[:-1],
        y=y[:-1],
        fill="toself",
        fillcolor=_faded(ink, pen.figure.palette.band_opacity),
        line={"color": ink, "width": 1.0 if mark.edged else 0.0},
        hoverinfo="skip",
    )


def _runs(good: NDArray[np.bool_]) -> Iterator[slice]:
    """Yield the stretches of rows over which `good` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield slice(start, end)


def _draw_bars(mark: Bars, pen: _Pen) -> None:
    pen.trace(
        mark.label,
        type="bar",
        orientation="h",
        x=_listed(mark.length),
        y=_listed(mark.y),
        width=0.25,
        offset=-0.25,
        marker={"color": pen.ink(mark)},
        hoverinfo="x+text",
        hovertext=[_safe(name) for name in mark.names],
    )
    for y, name in zip(mark.y.tolist(), mark.names, strict=False):
        ink = pen.figure.palette.ink
        pen.words(
            wrap(name, _BAR_LETTERS), ink, x=0.0, y=y, xanchor="left", yanchor="bottom", xshift=2
        )


def _draw_span(mark: Span, pen: _Pen) -> None:
    opacity = pen.figure.palette.span_opacity * (0.35 if mark.faint or mark.set_aside else 1.0)
    ink = pen.ink(mark)
    pen.figure.shapes.append(
        {
            "type": "rect",
            "xref": "x",
            "yref": f"{pen.axis} domain",
            "x0": mark.start,
            "x1": mark.end,
            "y0": 0,
            "y1": 1,
            "layer": "below",
            "fillcolor": _faded(ink, opacity),
            "line": {"color": ink, "width": 0.8 if mark.set_aside else 0.0, "dash": "dot"},
        }
    )
    if mark.role not in CAPS and mark.label and mark.label not in pen.figure.named:
        box = {"color": _faded(ink, 2 * opacity), "symbol": "square", "size": 10}
        pen.trace(mark.label, mode="markers", x=[None], y=[None], marker=box)


def _draw_caps(marks: tuple[Mark, ...], pen: _Pen) -> None:
    """Draw the markers that tell the kinds of manoeuvre, on the upper edge of the first panel."""
    if pen.number:
        return
    for role, marker in CAPS.items():
        spans = [mark for mark in marks if isinstance(mark, Span) and mark.role == role]
        if not spans:
            continue
        ink = pen.figure.palette.roles[role]
        hollow = [span.set_aside or span.faint for span in spans]
        symbols = [_SYMBOL[marker] + ("-open" if bare else "") for bare in hollow]
        pen.trace(
            role,
            mode="markers",
            x=[0.5 * (span.start + span.end) for span in spans],
            y=[pen.along[1]] * len(spans),
            marker={"color": ink, "symbol": symbols, "size": 9},
            hoverinfo="text",
            hovertext=[_span_said(span) for span in spans],
            cliponaxis=False,
        )


def _span_said(span: Span) -> str:
    said = _safe(span.manoeuvre or span.label)
    return f"{said}, set aside" if span.set_aside else said


def _draw_level(mark: Level, pen: _Pen) -> None:
    ink, along_x = pen.ink(mark), mark.axis == "y"
    own, other = ("y", "x") if along_x else ("x", "y")
    own_ref = pen.axis if along_x else "x"
    other_ref = "x domain" if along_x else f"{pen.axis} domain"
    place = {f"{own}ref": own_ref, f"{other}ref": other_ref, f"{other}0": 0, f"{other}1": 1}
    ends = {f"{own}0": mark.value, f"{own}1": mark.value}
    line = {"color": ink, "dash": _DASH[mark.dash], "width": 1.5}
    pen.figure.shapes.append({"type": "line", **place, **ends, "line": line})
    if mark.allowed is not None:
        low, high = pen.along if along_x else pen.figure.across
        far = 10.0 * (high - low)
        edge = mark.value - far if mark.allowed == "above" else mark.value + far
        shade = {"fillcolor": _faded(ink, 0.1), "line": {"width": 0}, "layer": "below"}
        ends = {f"{own}0": mark.value, f"{own}1": edge}
        pen.figure.shapes.append({"type": "rect", **place, **ends, **shade})
    if mark.label and mark.allowed is None and mark.role != "limit":
        # Not a limit: its name stands in the key, where it hides no point.
        look = {"color": ink, "dash": _DASH[mark.dash]}
        pen.trace(mark.label, mode="lines", x=[None], y=[None], line=look)
    elif mark.label:
        # On the side where no line's own name stands.
        left = along_x and pen.named_at_ends
        at = {own: mark.value, f"{own}ref": own_ref, f"{other}ref": other_ref, other: 1.0 - left}
        side = "left" if left else "right"
        above = along_x and pen.has_room_above(mark.value)
        pen.words(mark.label, ink, **at, xanchor=side, yanchor="bottom" if above else "top")


def _draw_slope(mark: Slope, pen: _Pen) -> None:
    ends = np.array(pen.figure.across)
    y = mark.intercept + mark.slope * ends
    line = {"color": pen.ink(mark), "dash": _DASH[mark.dash], "width": _LINE_PX * mark.width}
    label = "" if mark.at_end else mark.label
    pen.trace(label, mode="lines", x=_listed(ends), y=_listed(y), line=line, hoverinfo="skip")
    if mark.at_end and mark.label:
        x_end, y_end = _last_inside(mark, pen)
        side = "top" if y_end >= pen.along[1] else "bottom"  # inside the frame
        at = {"x": x_end, "y": y_end, "xanchor": "right", "yanchor": side}
        pen.words(mark.label, pen.ink(mark), **at)


def _last_inside(mark: Slope, pen: _Pen) -> tuple[float, float]:
    """Return the right-most point of the line inside the frame."""
    x, top = pen.figure.across[1], pen.along[1]
    y = mark.intercept + mark.slope * x
    if y > top and mark.slope > 0.0:
        return (top - mark.intercept) / mark.slope, top
    return x, y


def _draw_note(mark: Note, pen: _Pen) -> None:
    anchors: dict[str, Figure] = {
        "left": {"xanchor": "right", "yanchor": "middle", "xshift": -_AWAY_PX},
        "right": {"xanchor": "left", "yanchor": "middle", "xshift": _AWAY_PX},
        "above": {"xanchor": "center", "yanchor": "bottom", "yshift": _AWAY_PX},
        "below": {"xanchor": "center", "yanchor": "top", "yshift": -_AWAY_PX},
    }
    pen.words(mark.text, pen.ink(mark), x=mark.x, y=mark.y, **anchors[mark.side])


def _layout(figure: _Figure) -> Figure:
    chart, palette = figure.chart, figure.palette
    over_time = chart.x.scale == "clock"
    layout: Figure = {
        "paper_bgcolor": palette.ground,
        "plot_bgcolor": palette.ground,
        "font": {"family": _FAMILY, "size": 12, "color": palette.ink},
        "margin": {"l": 52, "r": 14, "t": _TOP_PX, "b": _BOTTOM_PX},
        "showlegend": False,  # the page has its own, which wraps
        "meta": _meta(chart),
        "hovermode": False if over_time else "closest",  # over time the page tells the moment
        "hoverlabel": {"namelength": -1},
        "dragmode": False if figure.still else "zoom",
        "shapes": figure.shapes,
        "annotations": figure.annotations,
        "barmode": "overlay",
        "xaxis": _x_axis(figure),
    }
    for number, (low, high) in enumerate(_domains(chart)):
        name = "yaxis" if number == 0 else f"yaxis{number + 1}"
        layout[name] = _y_axis(figure, number, (low, high))
        above = {"xref": "paper", "yref": "paper", "x": 0, "y": high, "yanchor": "bottom"}
        title = _safe(chart.panels[number].y.title_text)
        aside = _safe(chart.panels[number].title)
        said = f"<b>{title}</b>" + (f"  {aside}" if aside else "")
        lift = {"xanchor": "left", "yshift": 4, "showarrow": False, "xshift": -46}
        figure.annotations.append({"text": said, **above, **lift, "font": {"size": 12}})
    return layout


def _meta(chart: Chart) -> Figure:
    """Return what the page needs to keep charts in step with each other."""
    spans = [mark for mark in chart.panels[0].marks if isinstance(mark, Span) and mark.manoeuvre]
    return {
        "shared": chart.x.shared,
        "over_time": chart.x.scale == "clock",
        "whole": list(x_range(chart)),
        "heights": [_upright(chart, panel) for panel in chart.panels],
        "spans": [[span.start, span.end, span.manoeuvre] for span in spans],
    }


def _x_axis(figure: _Figure) -> Figure:
    chart = figure.chart
    last = len(chart.panels)
    # A frame that keeps the shape of a path may be narrow.
    few = {"nticks": 5, "tickangle": 0} if chart.x.equal or chart.panels[0].y.equal else {}
    return {
        **_axis(chart.x, figure.across, figure.palette),
        "title": {"text": _safe(chart.x.title_text), "standoff": 8, "font": {"size": 11.5}},
        "anchor": "y" if last == 1 else f"y{last}",
        "side": "bottom",
        "constrain": "domain",
        **few,
    }


def _upright(chart: Chart, panel: Panel) -> Range:
    """Return the ends of a panel's y axis, the lower one on the screen first."""
    low, high = y_range(chart, panel)
    return (high, low) if panel.y.reverse else (low, high)


def _y_axis(figure: _Figure, number: int, domain: Range) -> Figure:
    chart = figure.chart
    panel = chart.panels[number]
    axis = _axis(panel.y, _upright(chart, panel), figure.palette)
    axis |= {"domain": list(domain), "anchor": "x", "fixedrange": chart.x.scale == "clock"}
    if panel.y.labels:
        axis |= {"automargin": True}
    if panel.y.equal or chart.x.equal:
        axis |= {"scaleanchor": "x", "scaleratio": 1, "constrain": "domain"}
    return axis


def _axis(axis: Axis, between: Range, palette: Palette) -> Figure:
    drawn: Figure = {
        "range": list(between),
        "gridcolor": palette.grid,
        "linecolor": palette.frame,
        "showline": True,
        "mirror": True,
        "zeroline": False,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": palette.frame,
        "minor": {"showgrid": True, "gridcolor": palette.minor_grid},
    }
    if axis.labels:
        labels = [(value, _safe(label)) for value, label in axis.labels]
    elif axis.scale == "clock":
        labels = list(ticks(axis, between, _few).major)
    elif axis.scale == "none":
        return drawn | {"showticklabels": False, "showgrid": False, "ticks": "", "minor": {}}
    elif axis.scale == "whole":
        return drawn | {"tickformat": "d", "nticks": 8}
    else:
        return drawn | {"nticks": 9, "separatethousands": False, "exponentformat": "none"}
    return drawn | {"tickvals": [at for at, _ in labels], "ticktext": [say for _, say in labels]}


def _few(labels: tuple[str, ...], _apart: float) -> bool:
    return len(labels) <= _MOST_CLOCK_LABELS


def _domains(chart: Chart) -> list[Range]:
    """Return the ends of every panel as fractions of the height, the first panel at the top."""
    inside = height_px(chart) - _TOP_PX - _BOTTOM_PX
    gap = _GAP_PX / inside
    room = 1.0 - gap * (len(chart.panels) - 1)
    whole = sum(panel.share for panel in chart.panels)
    found, top = [], 1.0
    for panel in chart.panels:
        height = room * panel.share / whole
        found.append((max(top - height, 0.0), top))
        top -= height + gap
    return found


def _listed(values: Floats) -> list[float | None]:
    """Return numbers as JSON has them: a gap is None."""
    return [value if np.isfinite(value) else None for value in values.tolist()]


def _faded(colour: str, opacity: float) -> str:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:.3g})"


def _safe(text: str) -> str:
    """Return `text` so that plotly shows it as it stands."""
    return html.escape("".join(c if c.isprintable() else " " for c in text), quote=False)
