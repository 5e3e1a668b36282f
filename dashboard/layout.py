"""What stands on the page before there is a drive."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from dashboard.aria import aria
from dashboard.ids import Ids
from dashboard.intake import MOST_BYTES, MOST_FILES


def page_layout(drives: Sequence[str], folder_given: bool) -> Any:
    """Return the page: where a drive comes in, and the empty places of what follows."""
    return html.Div(
        [
            html.A("Skip to the findings", href="#body", className="skip"),
            html.Header([html.H1("roadtest"), html.P("What a logged drive proves of the car")]),
            html.Main(
                [
                    html.Section(_ways_in(drives, folder_given), id="ways-in"),
                    html.Div(id=Ids.TELL, role="status", **aria(live="polite")),
                    html.Div(id=Ids.BODY),
                ]
            ),
            dcc.Store(id=Ids.DROPPED),
            dcc.Store(id=Ids.DRIVE),
            dcc.Store(id=Ids.READY),
            dcc.Store(id=Ids.VIEW),
            dcc.Store(id=Ids.TYPED, data=0),
            dcc.Store(id=Ids.SCHEME),
            dcc.Interval(id=Ids.TICK, interval=300, disabled=True),
        ]
    )


def _ways_in(drives: Sequence[str], folder_given: bool) -> list[Any]:
    most = f"At most {MOST_FILES} files, {MOST_BYTES // 2**20} MiB in all."
    drop = dcc.Upload(
        html.Div(
            [
                html.Strong("Drop the files of one drive here, or choose them"),
                html.Span("build.toml, GPS logs, tach.csv, channels.csv, notes.csv. " + most),
            ],
            className="drop",
        ),
        id=Ids.UPLOAD,
        multiple=True,
        max_size=-1,  # a file over dash's own limit would vanish without a word
    )
    parts: list[Any] = [html.H2("A drive"), drop]
    if folder_given:
        parts += [
            html.Label("Or pick one of the folder", htmlFor=Ids.SEARCH, className="or"),
            dcc.Input(
                id=Ids.SEARCH, type="search", placeholder="search by name", debounce=False, value=""
            ),
            html.Ul(drive_buttons(drives, ""), id=Ids.DRIVES, className="drives"),
        ]
    return parts


def drive_buttons(drives: Sequence[str], search: str) -> list[Any]:
    """Return a button for each drive whose name holds `search`."""
    wanted = [name for name in drives if search.casefold() in name.casefold()]
    if not wanted:
        none = "No drive of that name." if drives else "There is no drive folder in it."
        return [html.Li(none)]
    return [html.Li(html.Button(name, id=Ids.pick(name), n_clicks=0)) for name in wanted]
