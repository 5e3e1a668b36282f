"""What happens when somebody does something on the page."""

from __future__ import annotations

from typing import Any

from dash import ALL, MATCH, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.aria import aria
from dashboard.drive_view import drive_body
from dashboard.editing import connect_editing
from dashboard.evidence_view import Screen, evidence_view, subjects, view_buttons
from dashboard.guard import browser_key
from dashboard.ids import Ids
from dashboard.intake import drive_from_upload
from dashboard.layout import drive_buttons
from dashboard.server import Server
from roadtest.charts.focus import focused


def connect(app: Dash, server: Server) -> None:
    """Connect the page with what it rests on."""
    _in_the_browser(app)
    _ways_in(app, server)
    _waiting(app, server)
    connect_editing(app, server)
    _views(app, server)


def _in_the_browser(app: Dash) -> None:
    in_browser: Any = app.clientside_callback  # dash has no types for it
    in_browser(
        ClientsideFunction("page", "take_dropped"),
        Output(Ids.DROPPED, "data"),
        Output(Ids.TELL, "children", allow_duplicate=True),
        Output(Ids.UPLOAD, "contents"),
        Input(Ids.UPLOAD, "contents"),
        State(Ids.UPLOAD, "filename"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("page", "go_to_chart"),
        Output(Ids.MOVED, "data"),
        Input(Ids.EVIDENCE, "children"),
        State(Ids.VIEW, "data"),
        prevent_initial_call=True,
    )


def _ways_in(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.DRIVES, "children"), Input(Ids.SEARCH, "value"), prevent_initial_call=True
    )
    def _search(text: str | None) -> Any:
        names = [server.drives.name_of(drive) for drive in server.drives.drives()]
        return drive_buttons(names, text or "")

    @app.callback(
        Output(Ids.DRIVE, "data"),
        Output(Ids.TICK, "disabled", allow_duplicate=True),
        Output(Ids.BODY, "children", allow_duplicate=True),
        Output(Ids.VIEW, "data", allow_duplicate=True),
        Output(Ids.DROPPED, "data", allow_duplicate=True),
        Input(Ids.DROPPED, "data"),
        Input(Ids.pick(ALL), "n_clicks"),
        prevent_initial_call=True,
    )
    def _take_in(dropped: Any, _clicks: list[int]) -> Any:
        asked = ctx.triggered_id
        key = browser_key()
        if asked == Ids.DROPPED and dropped:
            contents, names = dropped["contents"], dropped["names"]
            work = server.sessions.start(
                key, "dropped files", lambda: drive_from_upload(contents, names)
            )
        elif isinstance(asked, dict) and ctx.triggered[0]["value"]:
            name = str(asked["row"])
            work = server.sessions.start(key, name, lambda: server.drives.read(name))
        else:
            raise PreventUpdate
        return work.id, False, [], None, None


def _waiting(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.TELL, "children", allow_duplicate=True),
        Output(Ids.TICK, "disabled"),
        Output(Ids.READY, "data"),
        Input(Ids.TICK, "n_intervals"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _tick(_count: int, work_id: str | None) -> Any:
        work = server.work(work_id)
        if work.fault:
            lines = [html.P(line) for line in work.fault.splitlines()]
            said = html.Div([html.Strong("This drive can't be used"), *lines], className="fault")
            return said, True, no_update
        if work.ended:
            return html.Span("Done.", className="unseen"), True, work.id
        bar = html.Progress(value=f"{work.done:.2f}", max="1", **aria(label="progress"))
        return html.Div([bar, html.Span(work.stage)], className="progress"), False, no_update

    @app.callback(
        Output(Ids.BODY, "children"),
        Output(Ids.VIEW, "data"),
        Input(Ids.READY, "data"),
        prevent_initial_call=True,
    )
    def _show(work_id: str | None) -> Any:
        work = server.ready(work_id)
        first = subjects(work.charts)
        view = {"subject": first[0] if first else "", "chart": None, "manoeuvre": None}
        return drive_body(work), view


def _views(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.VIEW, "data", allow_duplicate=True),
        Input(Ids.subject(ALL), "n_clicks"),
        Input(Ids.show(ALL, ALL), "n_clicks"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _choose(_subjects: list[int], _shows: list[int], work_id: str | None) -> Any:
        asked = ctx.triggered_id
        if not isinstance(asked, dict) or not ctx.triggered[0]["value"]:
            raise PreventUpdate
        if asked["type"] == "subject":
            return {"subject": asked["name"], "chart": None, "manoeuvre": None}
        work = server.ready(work_id)
        chart = next((c for c in work.charts if c.id == asked["chart"]), None)
        if chart is None:
            raise PreventUpdate
        manoeuvre = str(asked["place"]).partition(" ")[2] or None
        clicks = ctx.triggered[0]["value"]  # asked again, it is shown again
        made = {"chart": chart.id, "manoeuvre": manoeuvre, "clicks": clicks}
        return {"subject": chart.subject, **made}

    @app.callback(
        Output(Ids.VIEWS, "children"),
        Output(Ids.EVIDENCE, "children"),
        Input(Ids.VIEW, "data"),
        Input(Ids.TYPED, "data"),
        Input(Ids.SCHEME, "data"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _draw(view: Any, _version: int, said: Any, work_id: str | None) -> Any:
        if not view:
            raise PreventUpdate
        work = server.ready(work_id)
        buttons = view_buttons(work.charts, view["subject"])
        return buttons, evidence_view(work, view["subject"], view["manoeuvre"], Screen.told(said))

    @app.callback(
        Output(Ids.graph(MATCH), "figure"),
        Input(Ids.graph(MATCH), "relayoutData"),
        State(Ids.graph(MATCH), "id"),
        State(Ids.VIEW, "data"),
        State(Ids.SCHEME, "data"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _look_closer(moved: Any, name: Any, view: Any, said: Any, work_id: str | None) -> Any:
        work = server.ready(work_id)
        chart = next((c for c in work.charts if c.id == name["chart"]), None)
        if chart is None or chart.x.scale != "clock" or not moved:
            raise PreventUpdate
        between = _between(moved)
        if between is None and "xaxis.autorange" not in moved:
            raise PreventUpdate
        if view and view["manoeuvre"]:
            chart = focused(chart, view["manoeuvre"])
        return Screen.told(said).figure(chart, between)


def _between(moved: dict[str, Any]) -> tuple[float, float] | None:
    """Return the stretch of x that somebody zoomed to; None where it is the whole again."""
    try:
        low, high = float(moved["xaxis.range[0]"]), float(moved["xaxis.range[1]"])
    except (KeyError, TypeError, ValueError):
        return None
    return (low, high) if low < high else None
