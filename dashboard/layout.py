"""What stands on the page before there is a drive."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.aria import aria
from dashboard.folder_view import folder_view
from dashboard.ids import Ids
from dashboard.intake import MOST_BYTES, MOST_FILES
from dashboard.shelf import Shelf


def page_layout(shelf: Shelf | None, laid_open: str = "") -> Any:
    """Return the page: where a drive comes in, and the empty places of what follows.

    `shelf` holds the drives of the folder, if one was given; `laid_open` says what serving the page
    on the network lays open, "" where it is on this machine alone.
    """
    warning = [html.P(laid_open, className="fault", role="note")] if laid_open else []
    return html.Div(
        [
            html.A("Skip to the drive", href="#body", className="skip"),
            html.Header([html.H1("roadtest"), html.P("What a logged drive proves of the car")]),
            html.Main(
                [
                    *warning,
                    html.Div(id=Ids.TELL, role="status", **aria(live="polite")),
                    html.Div(id=Ids.HELD, className="downloads"),
                    html.Details(
                        [html.Summary("A drive: drop its files or pick one"), *_ways_in(shelf)],
                        id=Ids.WAYS_IN,
                        open=True,
                    ),
                    html.Div(id=Ids.BODY),
                ]
            ),
            dcc.Store(id=Ids.DROPPED),
            dcc.Store(id=Ids.ASKED_DRIVE),
            dcc.Store(id=Ids.ASKED_MORE),
            dcc.Store(id=Ids.ASKED_COMPARISON),
            dcc.Store(id=Ids.ASKED_EDIT),
            dcc.Store(id=Ids.DRIVE),
            dcc.Store(id=Ids.READY),
            dcc.Store(id=Ids.VIEW),
            dcc.Store(id=Ids.TYPED),
            dcc.Store(id=Ids.SCHEME),
            dcc.Interval(id=Ids.TICK, interval=300, disabled=True),
        ]
    )


def _ways_in(shelf: Shelf | None) -> list[Any]:
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
    return [drop, *(folder_view(shelf) if shelf is not None else [])]
