"""What happens when somebody enters something by hand on the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import ALL, Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.asking import asked_for
from dashboard.edit_view import edits_view, error_said, history_view, typed_text
from dashboard.findings_view import findings_view
from dashboard.ids import Ids
from dashboard.quality_view import quality_view
from dashboard.server import Server
from dashboard.work import Change, Work
from roadtest import edits
from roadtest.check import Checked
from roadtest.edits import Edits
from roadtest.errors import RoadtestError


def connect_editing(app: Dash, server: Server) -> None:
    """Connect what can be entered by hand with the drive at hand."""
    _readings(app, server)
    _the_rest(app, server)


def _readings(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.QUALITY, "children"),
        Output(Ids.FINDINGS, "children"),
        Output(Ids.TYPED_SAID, "children"),
        Output(Ids.TYPED, "data"),
        Output(Ids.HISTORY, "children"),
        Output(Ids.error(ALL), "children"),
        Input(Ids.reading(ALL), "value"),
        State(Ids.reading(ALL), "id"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _type_in(texts: list[str | None], ids: list[Any], work_id: str | None) -> Any:
        work = server.ready(work_id)
        holds = [str(name["hold"]) for name in ids]
        typed = {hold: text or "" for hold, text in zip(holds, texts, strict=True)}
        fresh = {h: text for h, text in typed.items() if text.strip() != typed_text(work, h)}
        try:
            if not work.edit(_typed(fresh)):
                raise PreventUpdate
        except RoadtestError as fault:
            return no_update, no_update, str(fault), no_update, no_update, [no_update] * len(ids)
        results = work.checked.results
        quality = quality_view(results)
        said = {r.manoeuvre: error_said(r, results.units) for r in results.speedometer.readings}
        errors = [said.get(hold, "") for hold in holds]
        history = history_view(work)
        return quality, findings_view(work), "", dict(work.drawn), history, errors


def _typed(texts: Mapping[str, str]) -> Change:
    def change(checked: Checked, before: Edits) -> Edits:
        for hold, text in texts.items():
            before = before.put(("reading", hold), edits.reading(checked, hold, text))
        return before

    return change


def _the_rest(app: Dash, server: Server) -> None:
    fields = (
        Ids.OUT_WHICH,
        Ids.OUT_WHY,
        Ids.MOVE_WHICH,
        Ids.MOVE_TO,
        Ids.MOVE_WHY,
        Ids.ODOMETER,
        Ids.ODOMETER_WHEN,
        Ids.LOOKED_AT,
        Ids.OUTCOME,
    )

    @app.callback(
        Output(Ids.QUALITY, "children", allow_duplicate=True),
        Output(Ids.FINDINGS, "children", allow_duplicate=True),
        Output(Ids.TYPED_SAID, "children", allow_duplicate=True),
        Output(Ids.TYPED, "data", allow_duplicate=True),
        Output(Ids.HISTORY, "children", allow_duplicate=True),
        Output(Ids.EDITS, "children"),
        Input(Ids.ASKED_EDIT, "data"),
        *(State(name, "value") for name in fields),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _enter(pressed: Any, *states: Any) -> Any:
        asked = asked_for(pressed)
        work = server.ready(states[-1])
        said = {name: str(value or "") for name, value in zip(fields, states[:-1], strict=True)}
        try:
            changed = _do_it(work, asked, said)
        except RoadtestError as fault:
            return no_update, no_update, str(fault), no_update, no_update, no_update
        if not changed:
            return no_update, no_update, "", no_update, history_view(work), no_update
        quality, history = quality_view(work.checked.results), history_view(work)
        return quality, findings_view(work), "", dict(work.drawn), history, edits_view(work)

    @app.callback(
        Output(Ids.MOVE_TO, "value"),
        Input(Ids.MOVE_WHICH, "value"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _present(name: str | None, work_id: str | None) -> str:
        written = server.ready(work_id).checked.survey.drive.sheet.targets.written
        return dict(written).get(name or "", "")


def _do_it(work: Work, asked: Mapping[str, str], said: Mapping[str, str]) -> bool:
    """Do what a button asks for; return whether the drive looks different now."""
    if "take back" in asked:
        key = (asked["take back"], asked["about"])
        return work.edit(lambda _checked, before: before.put(key, None))
    what = asked["do"]
    if what == "undo":
        return work.undo()
    if what == "redo":
        return work.redo()
    if what == "save":
        work.save()
        return False
    return work.edit(_entered(what, said))


def _entered(what: str, said: Mapping[str, str]) -> Change:
    """Return the change that a form asks for."""

    def change(checked: Checked, before: Edits) -> Edits:
        if what == "leave out":
            made = said[Ids.OUT_WHICH]
            row = edits.left_out(checked, made, said[Ids.OUT_WHY])
            return before.put(("left out", made), row)
        if what == "move":
            name = said[Ids.MOVE_WHICH]
            row = edits.target(name, said[Ids.MOVE_TO], said[Ids.MOVE_WHY])
            return before.put(("target", name), row)
        if what == "odometer":
            row = edits.odometer(checked, said[Ids.ODOMETER], said[Ids.ODOMETER_WHEN])
            return before.put(("odometer", row.time), row)
        row = edits.inspection(said[Ids.LOOKED_AT], said[Ids.OUTCOME])
        return before.put(("inspection", row.remark), row)

    return change
