"""What happens when somebody does something on the page."""

from __future__ import annotations

import logging
from typing import Any

from dash import (
    MATCH,
    ClientsideFunction,
    Dash,
    Input,
    Output,
    State,
    ctx,
    html,
    no_update,
    set_props,
)
from dash.exceptions import PreventUpdate

from dashboard.aria import aria
from dashboard.asking import asked_for, asking_button
from dashboard.comparing import Compared, compared_body
from dashboard.drive_view import drive_body
from dashboard.editing import connect_editing
from dashboard.evidence_view import Asked, Screen, Stretch, evidence_view
from dashboard.guard import browser_key
from dashboard.ids import Ids
from dashboard.intake import files_dropped
from dashboard.opening import OPENS, opened
from dashboard.picking import begin_picked, connect_folder
from dashboard.server import GoneError, Server
from dashboard.sheet_form import connect_sheet_form, sheet_form
from dashboard.work import OUR_FAULT, Work
from roadtest.errors import RoadtestError


def connect(app: Dash, server: Server) -> None:
    """Connect the page with what it rests on."""
    _in_the_browser(app)
    _ways_in(app, server)
    _waiting(app, server)
    connect_folder(app, server)
    connect_editing(app, server)
    connect_sheet_form(app, server)
    _views(app, server)


def tell_of_fault(fault: Exception) -> None:
    """Tell on the page what kept a callback from its end; what it would have changed stays."""
    if isinstance(fault, GoneError | RoadtestError):
        lines = str(fault).splitlines()
    else:
        logging.getLogger(__name__).error("a callback broke off", exc_info=fault)
        lines = [OUR_FAULT]
    set_props(Ids.TELL, {"children": html.Div([html.P(x) for x in lines], className="fault")})
    if ctx.triggered_id == Ids.TICK:  # nothing comes any more of what was waited for
        set_props(Ids.TICK, {"disabled": True})
        set_props(Ids.DRIVE, {"data": None})
        set_props(Ids.WAYS_IN, {"open": True})


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
        ClientsideFunction("page", "draw_again"),
        Output(Ids.VIEW, "data"),
        Input(Ids.TYPED, "data"),
        Input(Ids.SCHEME, "data"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("page", "remember"),
        Input(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )


def _ways_in(app: Dash, server: Server) -> None:
    @app.callback(
        *OPENS,
        Output(Ids.DROPPED, "data", allow_duplicate=True),
        Input(Ids.DROPPED, "data"),
        prevent_initial_call=True,
    )
    def _take_in(dropped: Any) -> Any:
        if not dropped:
            raise PreventUpdate
        files = files_dropped(dropped["contents"], dropped["names"])
        work = server.sessions.start(browser_key(), "dropped files", files)
        return *opened(work), None

    @app.callback(
        *OPENS,
        Input(Ids.ASKED_DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _open(pressed: Any) -> Any:
        asked = asked_for(pressed)
        if "held" in asked:
            work = server.work(asked["held"])
        else:
            work = begin_picked(server, asked["picked"])
        return opened(work)

    @app.callback(
        Output(Ids.HELD, "children"),
        Input(Ids.READY, "data"),
        Input(Ids.SCHEME, "data"),  # the page has come up
        State(Ids.DRIVE, "data"),
    )
    def _also_open(_ready: str | None, _scheme: Any, at_hand: str | None) -> Any:
        works = [w for w in server.sessions.of(browser_key()) if w.ended and not w.fault]
        others = [work for work in works if work.id != at_hand]
        if not others:
            return []
        buttons = [
            asking_button(_held_said(work), Ids.ASKED_DRIVE, {"held": work.id}) for work in others
        ]
        return [html.Span("Also open:"), *buttons]


def _held_said(work: Work) -> str:
    if isinstance(work, Compared):
        return f"Comparison of {work.name}"
    car = work.checked.results.car.label
    unsaved = ", changes not saved" if work.unsaved else ""
    return f"{car}, {work.name}{unsaved}"


def _waiting(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.TELL, "children", allow_duplicate=True),
        Output(Ids.TICK, "disabled"),
        Output(Ids.READY, "data"),
        Output(Ids.WAYS_IN, "open"),
        Input(Ids.TICK, "n_intervals"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _tick(_count: int, work_id: str | None) -> Any:
        work = server.work(work_id)
        if work.fault:
            lines = [html.P(line) for line in work.fault.splitlines()]
            if work.wants_sheet:
                return sheet_form(), True, no_update, True
            said = html.Div([html.Strong("This drive can't be used"), *lines], className="fault")
            return said, True, no_update, True
        if work.ended:
            return html.Span("Done.", className="unseen"), True, work.id, False
        bar = html.Progress(value=f"{work.done:.2f}", max="1", **aria(label="progress"))
        return (
            html.Div([bar, html.Span(work.stage)], className="progress"),
            False,
            no_update,
            no_update,
        )

    @app.callback(
        Output(Ids.BODY, "children"),
        Input(Ids.READY, "data"),
        prevent_initial_call=True,
    )
    def _show(work_id: str | None) -> Any:
        work = server.ready(work_id)
        return compared_body(work) if isinstance(work, Compared) else drive_body(work)


def _views(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.pane(MATCH), "children"),
        Input(Ids.want(MATCH), "data"),
        State(Ids.want(MATCH), "id"),
        State(Ids.SCHEME, "data"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _draw(wanted: Any, name: Any, said: Any, work_id: str | None) -> Any:
        work = server.ready(work_id)
        return evidence_view(work, _asked(str(name["subject"]), wanted), Screen.told(said))

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
        between = _between(moved)
        if chart is None or chart.x.scale != "clock" or between is None:
            raise PreventUpdate
        chart, _ = _asked(chart.subject, view).shown(chart)
        return Screen.told(said).figure(chart, between)


def _asked(subject: str, said: Any) -> Asked:
    """Return what the browser says that somebody wants to see of a subject."""
    known = said if isinstance(said, dict) else {}
    manoeuvre = known.get("manoeuvre")
    asked = manoeuvre if isinstance(manoeuvre, str) and manoeuvre else None
    return Asked(subject, asked, _stretch(known.get("between")))


def _between(moved: Any) -> Stretch | None:
    """Return the stretch of x that a chart was moved to; None where it was something else."""
    if not isinstance(moved, dict):
        return None
    ends = moved.get("xaxis.range")
    return _stretch(ends or [moved.get("xaxis.range[0]"), moved.get("xaxis.range[1]")])


def _stretch(ends: Any) -> Stretch | None:
    try:
        low, high = (float(end) for end in ends)
    except (TypeError, ValueError):
        return None
    return (low, high) if low < high else None
