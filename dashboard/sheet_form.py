"""A build sheet from a form, for files that came without one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.guard import browser_key
from dashboard.ids import Ids
from dashboard.server import Server
from roadtest.build_sheet import read_build_sheet
from roadtest.build_sheet.least import USUAL_TARGETS, LeastSheet
from roadtest.edits import MOST_LETTERS
from roadtest.errors import RoadtestError

_FIELDS: Final = {
    "label": "What the car is called",
    "tyre_size": "Tyre size, such as 165/80R13",
    "rolling_circumference": "or its measured rolling circumference, such as 1.742 m",
    "ratios": "Gearbox ratios, first gear first: 3.41, 2.08, 1.40, 1.00",
    "axle": "Axle ratio, or teeth of pinion and crown wheel: 4.22 or 9/38",
}
_TARGETS: Final = {
    "speedometer": "Speedometer, by the rule",
    "odometer": "Odometer, off by at most",
    "gearbox": "Gearbox, steps between gears off by at most",
    "axle": "Axle ratio, off by at most",
    "tach": "Tachometer, off by at most",
    "clutch_slip": "Clutch slip, at most",
    "mfdd": "Braking, mean fully developed deceleration, at least",
    "drift": "Drift to the side while braking, at most",
    "spread": "Spread of like stops, at most",
    "rolling_coefficient": "Rolling resistance, coefficient at most",
}


def sheet_form() -> Any:
    """Return the form. Everything in it may stay empty but the units."""
    fields: list[Any] = []
    for key, label in _FIELDS.items():
        name = Ids.sheet(key)
        said = json.dumps(name, sort_keys=True, separators=(",", ":"))
        fields += [
            html.Label(label, htmlFor=said, className="label"),
            dcc.Input(id=name, type="text", autoComplete="off", maxLength=MOST_LETTERS, value=""),
        ]
    targets = [
        {"label": f"{_TARGETS[name]}: {value}", "value": name}
        for name, value in USUAL_TARGETS.items()
    ]
    return html.Div(
        [
            html.H2("The car of this drive"),
            html.P(
                "There was no build sheet (build.toml) among the files. Fill in what is known of "
                "the car: what stays empty is not judged. The sheet can be downloaded afterwards, "
                "to go with the drive's files. Or drop all of them again with a build.toml."
            ),
            html.Fieldset(
                [
                    html.Legend("What people read", className="label"),
                    dcc.RadioItems(["mph", "km/h"], "mph", id=Ids.sheet("units"), inline=True),
                ]
            ),
            *fields,
            html.Fieldset(
                [
                    html.Legend("Targets to judge, with a value to begin with", className="label"),
                    dcc.Checklist(targets, [], id=Ids.sheet("targets")),
                ]
            ),
            html.Button("Check the drive with it", id=Ids.SHEET, n_clicks=0),
            html.Div(id=Ids.SHEET_SAID, role="status", className="fault"),
        ],
        className="form card",
        id="sheet-form",
    )


def connect_sheet_form(app: Dash, server: Server) -> None:
    """Connect the form with the files that wait for a build sheet."""

    @app.callback(
        Output(Ids.DRIVE, "data", allow_duplicate=True),
        Output(Ids.TICK, "disabled", allow_duplicate=True),
        Output(Ids.SHEET_SAID, "children"),
        Input(Ids.SHEET, "n_clicks"),
        State(Ids.sheet(ALL), "value"),
        State(Ids.sheet(ALL), "id"),
        State(Ids.DRIVE, "data"),
        prevent_initial_call=True,
    )
    def _make(clicks: int, values: list[Any], ids: list[Any], work_id: str | None) -> Any:
        before = server.work(work_id)
        if not clicks or not before.wants_sheet or before.dropped is None:
            raise PreventUpdate
        filled = {str(name["key"]): value for name, value in zip(ids, values, strict=True)}
        text = _as_sheet(filled).as_toml()
        try:
            read_build_sheet(text.encode("utf-8", "replace"), "build.toml")
        except RoadtestError as fault:
            return no_update, no_update, [html.P(line) for line in str(fault).splitlines()]
        work = server.sessions.start(
            browser_key(), before.name, replace(before.dropped, sheet_text=text)
        )
        return work.id, False, ""


def _as_sheet(filled: Mapping[str, Any]) -> LeastSheet:
    texts = {key: " ".join(str(filled.get(key) or "").split()) for key in _FIELDS}
    wanted = filled.get("targets") or []
    return LeastSheet(
        units=str(filled.get("units") or ""),
        targets=[name for name in USUAL_TARGETS if name in wanted],
        **texts,
    )
