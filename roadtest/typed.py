"""Dial readings typed in beside holds, as notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from roadtest.check import Checked, conclude_again
from roadtest.errors import InputError
from roadtest.logs.model import Note, Notes
from roadtest.logs.note_values import NotUnderstoodError, read_value
from roadtest.results import Reading

_LINE: Final = 0  # of no file
_TYPED: Final = "typed in beside"
_U_TIME_S: Final = 0.1  # it belongs to the hold it was typed beside, not to a moment near by


def with_typed_readings(checked: Checked, typed: Mapping[str, str]) -> Checked:
    """Return a checked drive as it is with dial readings `typed` in, text by id of the hold.

    `checked` is the drive as its files give it. A typed reading stands in for whatever the notes
    say of its hold; an empty text leaves the notes as they are. A number without a unit is in the
    dial's own.

    Raises InputError where a text is no speed, or a hold is not one of the drive's.
    """
    wanted = {hold: text.strip() for hold, text in typed.items() if text.strip()}
    if not wanted:
        return checked
    readings = {reading.manoeuvre: reading for reading in checked.results.speedometer.readings}
    notes = checked.survey.drive.notes or Notes("typed in", ())
    rows = [row for row in notes.rows if not _about(checked, row, wanted)]
    for hold, text in wanted.items():
        if hold not in readings:
            raise InputError(hold, "", "no such hold", "one of the drive's")
        rows.append(_note(checked, readings[hold], text))
    listed = (r for r in readings.values() if r.source == "build sheet")  # which notes replace
    rows += [_listed(checked, r) for r in listed if r.manoeuvre not in wanted]
    return conclude_again(checked, replace(notes, rows=tuple(rows)))


def _note(checked: Checked, reading: Reading, text: str) -> Note:
    units = checked.survey.drive.sheet.speedometer.units
    try:
        value = read_value("indicated speed", text, "", units)
    except NotUnderstoodError as fault:
        raise InputError(reading.manoeuvre, "dial reading", fault.found, fault.expected) from None
    remark = f"{_TYPED} {reading.manoeuvre}"
    return _row(checked, reading, (value.text, value.value, value.resolution), remark)


def _listed(checked: Checked, reading: Reading) -> Note:
    """Return a reading of the build sheet's list beside the hold that it was paired with."""
    shown = None if reading.indicated is None else reading.indicated.value
    return _row(checked, reading, ("", shown, None), reading.note)


def _row(
    checked: Checked,
    reading: Reading,
    read: tuple[str, float | None, float | None],
    remark: str,
) -> Note:
    """Return a note in the middle of a hold: `read` is its text, value and resolution."""
    start_s, end_s = _stretch(checked, reading.manoeuvre)
    if reading.start_s is not None and reading.end_s is not None:
        start_s, end_s = reading.start_s, reading.end_s
    return Note(
        line=_LINE,
        item="indicated speed",
        clock="utc",
        time_s=checked.survey.evidence.start_unix_s + 0.5 * (start_s + end_s),
        value=read[1],
        text=read[0],
        resolution=read[2],
        remark=remark,
        u_time_s=_U_TIME_S,
    )


def _about(checked: Checked, row: Note, holds: Mapping[str, str]) -> bool:
    """Return whether a row is a reading of the dial taken in one of `holds`."""
    if row.item != "indicated speed" or row.time_s is None:
        return False
    at_s = row.time_s - checked.survey.evidence.start_unix_s
    stretches = (_stretch(checked, hold) for hold in holds if _known(checked, hold))
    return any(start - row.u_time_s <= at_s <= end + row.u_time_s for start, end in stretches)


def _known(checked: Checked, hold: str) -> bool:
    return any(made.id == hold for made in checked.results.manoeuvres)


def _stretch(checked: Checked, hold: str) -> tuple[float, float]:
    made = next(made for made in checked.results.manoeuvres if made.id == hold)
    return made.start_s, made.end_s
