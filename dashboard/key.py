"""What the lines and marks of a chart stand for, as words beside small pictures of them."""

from __future__ import annotations

import html
from typing import Any, Final
from urllib.parse import quote

from dash import html as page

from dashboard.plotly_drawer import Figure

_WIDE, _HIGH = 30, 14
_DASHES: Final = {
    "dash": "6 4",
    "dot": "2 3",
    "dashdot": "7 3 2 3",
    "longdash": "10 4",
}
_SHAPES: Final = {
    "circle": '<circle cx="15" cy="7" r="4.5"/>',
    "square": '<path d="M11 3h8v8h-8z"/>',
    "diamond": '<path d="M15 1.5l5.5 5.5-5.5 5.5-5.5-5.5z"/>',
    "triangle-up": '<path d="M15 1.5l5.5 10h-11z"/>',
    "triangle-down": '<path d="M15 12.5l5.5-10h-11z"/>',
    "star": '<path d="M15 1l1.6 4.2 4.4.2-3.500 2.700 1.200 4.300-3.700-2.400-3.700 2.400 '
    '1.200-4.300L9 5.400l4.400-.2z"/>',
    "cross-thin": '<path d="M15 2v10M10 7h10"/>',
    "x-thin": '<path d="M11 3l8 8m0-8l-8 8"/>',
}


def key_of(figure: Figure) -> Any:
    """Return the key of a figure: an entry for each thing named in it. None without any."""
    named = [trace for trace in figure["data"] if trace.get("showlegend")]
    if not named:
        return None
    return page.Ul([_entry(trace) for trace in named], className="key")


def _entry(trace: Figure) -> Any:
    picture = "data:image/svg+xml," + quote(_picture(trace))
    name = html.unescape(str(trace["name"]))  # it was escaped for plotly
    return page.Li([page.Img(src=picture, alt=""), page.Span(name)])


def _picture(trace: Figure) -> str:
    """Return the picture of one trace: an area, a line with its dash, or a marker."""
    line = trace.get("line", {})
    if trace.get("fill"):
        edge = f'stroke="{line["color"]}"' if line.get("width") else ""
        inside = f'<rect x="1" y="2" width="28" height="10" fill="{trace["fillcolor"]}" {edge}/>'
    elif trace.get("mode", "").startswith("lines"):
        dash = _DASHES.get(line.get("dash", ""), "")
        dashed = f'stroke-dasharray="{dash}"' if dash else ""
        inside = f'<path d="M0 7h30" stroke="{line["color"]}" stroke-width="2.5" {dashed}/>'
    else:
        inside = _marker(trace.get("marker", {}))
    size = f'width="{_WIDE}" height="{_HIGH}" viewBox="0 0 {_WIDE} {_HIGH}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{inside}</svg>'


def _marker(marker: Figure) -> str:
    symbol = marker.get("symbol", "circle")
    symbol = str(symbol[0] if isinstance(symbol, list) else symbol)
    colour = marker.get("color", "#888888")
    fill = "none" if symbol.endswith("-open") else colour
    shape = _SHAPES.get(symbol.removesuffix("-open"), _SHAPES["circle"])
    return f'<g stroke="{colour}" stroke-width="1.6" fill="{fill}">{shape}</g>'
