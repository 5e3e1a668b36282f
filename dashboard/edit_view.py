"""Fields for what somebody adds to a drive by hand, and a list of what was added."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.aria import aria, data
from dashboard.asking import asking_button
from dashboard.ids import Id, Ids
from dashboard.work import Work
from roadtest.edits import MOST_LETTERS, Key
from roadtest.logs.notes_file import NewRow
from roadtest.results import Manoeuvre, ReadIn, Reading
from roadtest.units import from_si
from roadtest.wording import by_hand_said, clock_text, number_text, plural, quantity_text

_OUTCOMES: Final = ("pass", "fail", "not done")


def edits_section(work: Work) -> list[Any]:
    """Return the section of all that can be entered by hand."""
    return [
        html.H2("Enter by hand", id="edits-title"),
        html.Div(history_view(work), id=Ids.HISTORY, className="history"),
        html.P(id=Ids.TYPED_SAID, role="status", className="fault"),
        html.Div(edits_view(work), id=Ids.EDITS),
    ]


def history_view(work: Work) -> list[Any]:
    """Return undo, redo, and where what was entered is kept."""
    count = work.entered
    parts: list[Any] = [
        _button("Undo", "undo", disabled=not work.can_undo),
        _button("Redo", "redo", disabled=not work.can_redo),
    ]
    said = "Nothing was changed here."
    if work.unsaved:
        where = "Save them" if work.can_save else "Download notes.csv"
        said = f"{plural(count, 'change')} not saved. {where} to keep what was entered."
        if not count:
            said = "What was saved before was taken back. Save to take it out of the file too."
    elif work.can_save and work.saved_as:
        said = f"Saved in the drive's {work.saved_as}."
    if work.can_save:
        parts.append(_button("Save in the drive's notes.csv", "save", disabled=not work.unsaved))
    parts.append(
        html.A(
            "Download notes.csv",
            href=f"drive/{quote(work.id)}/notes.csv",
            className="button",
            download="notes.csv",
        )
    )
    return [*parts, html.Span(said, className="saved")]


def edits_view(work: Work) -> list[Any]:
    """Return the fields, and a list of what was entered."""
    return [
        *_entered(work),
        *_readings(work),
        html.Div(
            [
                html.Div(_leave_out(work), className="form"),
                html.Div(_move(work), className="form"),
                html.Div(_odometer(work), className="form"),
                html.Div(_inspection(work), className="form"),
            ],
            className="forms",
        ),
    ]


def _entered(work: Work) -> list[Any]:
    rows = [(key, row) for key, row in work.rows.items() if key[0] != "reading"]
    if not rows:
        return []
    return [
        html.H3("Entered by hand"),
        html.Ul([_entry(key, row, work) for key, row in rows], className="entered"),
    ]


def _entry(key: Key, row: NewRow, work: Work) -> Any:
    kind, about = key
    said = dict(by_hand_said(work.checked.results.by_hand)).get(about)
    if kind in ("left out", "target") and said:
        text = f"{about}: {said}"
    elif kind == "inspection":
        text = f"Inspection, {row.remark}: {row.value}"
    else:
        text = f"Odometer {row.value} {row.unit} at {row.time}"
    said_aloud = aria(label=f"Take back {about}")
    what = {"take back": kind, "about": about}
    button = asking_button("Take back", Ids.ASKED_EDIT, what, **said_aloud)
    return html.Li([html.Span(text), " ", button])


def _leave_out(work: Work) -> list[Any]:
    left = {about for kind, about in work.rows if kind == "left out"}
    choices = [
        {"label": _named(made), "value": made.id}
        for made in work.checked.results.manoeuvres
        if made.used and made.id not in left
    ]
    return [
        html.H3("Leave a manoeuvre out"),
        *_choice("Manoeuvre", Ids.OUT_WHICH, choices),
        *_field("Why it does not count", Ids.OUT_WHY),
        _button("Leave it out", "leave out"),
    ]


def _named(made: Manoeuvre) -> str:
    return f"{made.id} at {clock_text(made.start_s)}"


def _move(work: Work) -> list[Any]:
    targets = work.checked.survey.drive.sheet.targets
    titles = {finding.id: finding.title for finding in work.checked.results.findings}
    choices = [
        {"label": f"{titles.get(name, name)}: {dict(targets.written).get(name, '')}", "value": name}
        for name in dict.fromkeys(target.id for target in targets)
    ]
    return [
        html.H3("Move a target"),
        *_choice("Target", Ids.MOVE_WHICH, choices),
        *_field("To, as in a build sheet", Ids.MOVE_TO),
        *_field("Why", Ids.MOVE_WHY),
        _button("Move it", "move"),
    ]


def _odometer(work: Work) -> list[Any]:
    unit = "mile" if work.checked.results.units == "mph" else "km"
    return [
        html.H3("What the odometer showed"),
        *_field(f"Odometer, {unit}", Ids.ODOMETER),
        *_field("When: start, end, or a time such as 09:14:10", Ids.ODOMETER_WHEN),
        _button("Add the reading", "odometer"),
    ]


def _inspection(work: Work) -> list[Any]:
    open_ones = [
        finding.title.removeprefix("Inspection: ")
        for finding in work.checked.results.findings
        if finding.id == "inspection" and finding.verdict == "not proven"
    ]
    return [
        html.H3("What was looked at"),
        *_field("What", Ids.LOOKED_AT, suggested=open_ones),
        dcc.RadioItems(
            [{"label": outcome, "value": outcome} for outcome in _OUTCOMES],
            id=Ids.OUTCOME,
            inline=True,
        ),
        _button("Add the inspection", "inspection"),
    ]


def _choice(label: str, name: str, choices: list[dict[str, str]]) -> list[Any]:
    said = f"{name}-label"
    return [
        html.Span(label, id=said, className="label"),
        dcc.Dropdown(choices, id=name, placeholder="choose", clearable=True),
    ]


def _field(label: str, name: str, suggested: Iterable[str] = ()) -> list[Any]:
    choices = list(dict.fromkeys(suggested))
    field = dcc.Input(
        id=name,
        type="text",
        autoComplete="off",
        maxLength=MOST_LETTERS,
        list=f"{name}-suggested" if choices else None,
    )
    parts: list[Any] = [html.Label(label, htmlFor=name, className="label"), field]
    if choices:
        options = [html.Option(value=choice) for choice in choices]
        parts.append(html.Datalist(options, id=f"{name}-suggested"))
    return parts


def _button(text: str, what: str, *, disabled: bool = False) -> Any:
    return asking_button(text, Ids.ASKED_EDIT, {"do": what}, disabled=disabled)


def _readings(work: Work) -> list[Any]:
    checked = work.checked
    units = checked.survey.drive.sheet.speedometer.units
    readings = checked.results.speedometer.readings
    title = html.H3("What the dial showed")
    if not readings:
        return [title, html.P("No hold at a steady speed was found, so there is none to type in.")]
    starts = {made.id: made.start_s for made in checked.results.manoeuvres}
    heads = ("True speed", f"Dial, {units}", "Error")
    head = html.Tr([html.Th(text, scope="col") for text in ("Hold", *heads)])
    # A hold with several readings has one row: what is typed in stands for all of them.
    single = {reading.manoeuvre: reading for reading in reversed(readings)}
    rows = [_reading_row(single[hold], work, starts, heads) for hold in reversed(single)]
    said = (
        "Type what the dial showed; findings follow at once. An empty field leaves what the files "
        "say."
    )
    table = html.Table([html.Thead(head), html.Tbody(rows)], className="stacked")
    return [title, html.P(said), html.Div(table, className="wide", id="readings")]


def _reading_row(
    reading: Reading, work: Work, starts: dict[str, float], heads: Sequence[str]
) -> Any:
    units = work.checked.results.units
    dial = work.checked.survey.drive.sheet.speedometer.units
    field = dcc.Input(
        id=Ids.reading(reading.manoeuvre),
        type="text",
        debounce=True,
        value=typed_text(work, reading.manoeuvre),
        placeholder=_in_dial_unit(reading, dial),
        autoComplete="off",
        size="8",
    )
    at = f" at {clock_text(starts.get(reading.manoeuvre, 0.0))}"
    label = html.Label(
        [html.Span(reading.manoeuvre, className="whole"), at],
        htmlFor=_html_id(Ids.reading(reading.manoeuvre)),
    )
    true, shown, off_by = (data(head=head) for head in heads)
    error = html.Td(error_said(reading, units), id=Ids.error(reading.manoeuvre), **off_by)
    speed = html.Td(quantity_text(reading.true, units), **true)
    return html.Tr([html.Th(label, scope="row"), speed, html.Td(field, **shown), error])


def typed_text(work: Work, hold: str) -> str:
    """Return what was typed in beside a hold, "" where nothing was."""
    row = work.rows.get(("reading", hold))
    return "" if row is None else row.value


def _html_id(name: Id) -> str:
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
