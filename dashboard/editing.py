"""What happens when somebody types something in on the page."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.edit_view import error_said
from dashboard.findings_view import findings_view
from dashboard.ids import Ids
from dashboard.server import Server
from roadtest.errors import RoadtestError


def connect_editing(app: Dash, server: Server) -> None:
    """Connect the fields that somebody types in with the drive at hand."""

    @app.callback(
        Output(Ids.FINDINGS, "children"),
        Output(Ids.TYPED_SAID, "children"),
        Output(Ids.TYPED, "data"),
        Output(Ids.error(ALL), "children"),
        Input(Ids.reading(ALL), "value"),
        State(Ids.reading(ALL), "id"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _type_in(texts: list[str | None], ids: list[Any], work_id: str | None) -> Any:
        work = server.ready(work_id)
        typed = {str(name["hold"]): text for name, text in zip(ids, texts, strict=True) if text}
        if typed == work.typed:
            raise PreventUpdate
        try:
            work.type_in(typed)
        except RoadtestError as fault:
            return no_update, str(fault), no_update, [no_update] * len(ids)
        results = work.checked.results
        said = {r.manoeuvre: error_said(r, results.units) for r in results.speedometer.readings}
        errors = [said.get(str(name["hold"]), "") for name in ids]
        return findings_view(work), "", work.version, errors
