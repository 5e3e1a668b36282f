"""Fields for what somebody adds to a drive by hand."""

from __future__ import annotations

import json
from typing import Any

from dash import dcc, html

from dashboard.ids import Ids
from dashboard.work import Work
from roadtest.results import ReadIn, Reading
from roadtest.units import from_si
from roadtest.wording import clock_text, number_text, quantity_text


def readings_view(work: Work) -> list[Any]:
    """Return the holds with a field beside each for what the dial showed."""
    checked = work.checked
    units = checked.survey.drive.sheet.speedometer.units
    readings = checked.results.speedometer.readings
    title = html.H2("What the dial showed")
    if not readings:
        return [title, html.P("No hold at a steady speed was found, so there is none to type in.")]
    starts = {made.id: made.start_s for made in checked.results.manoeuvres}
    head = html.Tr(
        [html.Th(text, scope="col") for text in ("Hold", "True speed", f"Dial, {units}", "Error")]
    )
    rows = [_reading_row(reading, work, starts) for reading in readings]
    said = (
        "Type what the dial showed; findings follow at once. An empty field leaves what the files "
        "say. Typed readings are in the report and the results, not in the drive's files."
    )
    table = html.Table([html.Thead(head), html.Tbody(rows)])
    status = html.P(id=Ids.TYPED_SAID, role="status", className="fault")
    return [title, html.P(said), html.Div(table, className="wide"), status]


def _reading_row(reading: Reading, work: Work, starts: dict[str, float]) -> Any:
    units = work.checked.results.units
    dial = work.checked.survey.drive.sheet.speedometer.units
    noted = "" if reading.indicated is None else _in_dial_unit(reading, dial)
    field = dcc.Input(
        id=Ids.reading(reading.manoeuvre),
        type="text",
        debounce=True,
        value=work.typed.get(reading.manoeuvre, ""),
        placeholder=noted,
        autoComplete="off",
        size="8",
    )
    name = f"{reading.manoeuvre} at {clock_text(starts.get(reading.manoeuvre, 0.0))}"
    label = html.Label(name, htmlFor=_html_id(Ids.reading(reading.manoeuvre)))
    error = html.Td(error_said(reading, units), id=Ids.error(reading.manoeuvre))
    true = html.Td(quantity_text(reading.true, units))
    return html.Tr([html.Th(label, scope="row"), true, html.Td(field), error])


def _html_id(name: dict[str, object]) -> str:
    """Return a pattern's id as it stands in the document."""
    return json.dumps(name, sort_keys=True, separators=(",", ":"))


def _in_dial_unit(reading: Reading, dial: ReadIn) -> str:
    if reading.indicated is None:
        return ""
    return number_text(from_si(reading.indicated.value, dial))


def error_said(reading: Reading, units: ReadIn) -> str:
    """Return in words what the dial is off by in a hold, and what says so."""
    if reading.error is None:
        return "not read"
    return f"{quantity_text(reading.error, units, signed=True)} ({reading.note or reading.source})"
