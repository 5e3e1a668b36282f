"""The page as a program: `make_app` gives it, `roadtest dashboard` serves it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from dash import Dash
from flask import Flask, Response, abort

from dashboard.apart import Runner
from dashboard.callbacks import connect, tell_of_fault
from dashboard.comparing import Compared
from dashboard.guard import browser_key, guard
from dashboard.intake import MOST_REQUEST_BYTES
from dashboard.layout import page_layout
from dashboard.server import Server
from dashboard.sessions import Sessions
from dashboard.shelf import Shelf
from dashboard.work import Work
from roadtest.charts.svg import draw_svg

_Content = Callable[[Work, Runner], bytes]
_FILES: Final[dict[str, tuple[str, _Content]]] = {
    # Set in a process of its own: the typesetter keeps for good what it has set (30 MB a report).
    "report.pdf": ("application/pdf", lambda work, runner: work.report(".pdf", runner)),
    "report.html": ("text/html", lambda work, _: work.report(".html")),
    "results.json": ("application/json", lambda work, _: work.report(".json")),
    "notes.csv": ("text/csv", lambda work, _: work.notes()),
    "build.toml": ("application/toml", lambda work, _: work.sheet_text.encode()),
}
_COMPARED: Final[dict[str, tuple[str, _Content]]] = {
    "comparison.pdf": ("application/pdf", lambda work, runner: work.report(".pdf", runner)),
    "comparison.html": ("text/html", lambda work, _: work.report(".html")),
    "comparison.json": ("application/json", lambda work, _: work.report(".json")),
}
_HEAD: Final = """<!DOCTYPE html>
<html lang="en">
    <head>
        {%metas%}
        <title>{%title%}</title>
        {%favicon%}
        {%css%}
    </head>
    <body>
        {%app_entry%}
        {%config%}
        {%scripts%}
        {%renderer%}
    </body>
</html>
"""


def make_app(
    folder: Path | None = None, laid_open: str = "", sessions: Sessions | None = None
) -> Dash:
    """Return the page. `folder` holds the drives it offers, or is one drive's own.

    `laid_open` says what serving it beyond this machine lays open, and the page says it too. Where
    it is "", requests that ask for this machine by any other name are refused. `sessions` holds the
    drives of every browser, within the usual bounds where none are given.
    """
    app = Dash(
        "dashboard",
        assets_folder=str(Path(__file__).parent / "assets"),
        serve_locally=True,
        title="roadtest",
        update_title=None,  # type: ignore[arg-type]
        index_string=_HEAD,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "color-scheme", "content": "light dark"},
        ],
        suppress_callback_exceptions=True,  # most of the page is there once there is a drive
        enable_mcp=False,
        add_log_handler=False,
        on_error=tell_of_fault,
    )
    shelf = Shelf(folder)
    sessions = sessions or Sessions()

    def layout() -> Any:
        return page_layout(shelf if folder is not None else None, laid_open)

    app.layout = layout
    connect(app, Server(sessions, shelf))
    app.server.config["MAX_CONTENT_LENGTH"] = MOST_REQUEST_BYTES
    app.server.extensions["roadtest"] = sessions
    _routes(app, sessions)
    guard(app.server, app.csp_hashes(), loopback_only=not laid_open)
    return app


def _routes(app: Dash, sessions: Sessions) -> None:
    def download(work_id: str, file: str) -> Response:
        work = sessions.find(browser_key(), work_id)
        kind = (_COMPARED if isinstance(work, Compared) else _FILES).get(file)
        if work is None or kind is None or not work.ended or work.fault:
            abort(404)
        mime, content = kind
        response = Response(content(work, sessions.run), mimetype=mime)
        response.headers["Content-Disposition"] = f'attachment; filename="{file}"'
        response.headers["Cache-Control"] = "no-store"
        return response

    def chart(work_id: str, name: str) -> Response:
        work = sessions.find(browser_key(), work_id)
        if work is None:
            abort(404)
        found = [one for one in work.charts if one.id == name]
        if not found:  # the drive has changed meanwhile, and its page draws it anew
            return Response(status=204)
        response = Response(draw_svg(found[0]), mimetype="image/svg+xml")
        response.headers["Cache-Control"] = "no-store"
        return response

    def left(work_id: str) -> Response:
        sessions.leave(browser_key(), work_id)
        return Response(status=204)

    server: Flask = app.server
    server.add_url_rule("/drive/<work_id>/<file>", view_func=download)
    server.add_url_rule("/drive/<work_id>/left", view_func=left, methods=["POST"])
    server.add_url_rule("/drive/<work_id>/chart/<name>.svg", view_func=chart)
