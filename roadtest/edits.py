"""What somebody enters on top of a drive's files: rows of its notes.csv, saved or not yet.

What a row means is for `check` to say: a drive with edits is the drive as it would be with these
rows in its folder.
"""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from roadtest.build_sheet import read_targets
from roadtest.build_sheet.toml_text import key_text, value_text
from roadtest.by_hand import manoeuvre_meant, target_named
from roadtest.check import Checked, conclude_again
from roadtest.clock import utc_text
from roadtest.drive import with_notes_file
from roadtest.errors import InputError
from roadtest.logs.model import ENTERED, TYPED, Note
from roadtest.logs.note_values import NotUnderstoodError, read_clock_face, read_value
from roadtest.logs.notes_file import NewRow, with_rows
from roadtest.logs.source import Source
from roadtest.units import from_si
from roadtest.wording import number_text

NOTES_NAME: Final = "notes.csv"
MOST_LETTERS: Final = 300  # of a text that somebody types; our choice

_TIME_TOLERANCE: Final = "±0.2 s"  # it belongs to the hold it was typed beside, not to one near by

Key = tuple[str, str]
"""What a row is about: ("reading", "hold-5"), ("left out", "stop-2"), ("target", "mfdd"),
("odometer", its time), ("inspection", what was looked at)."""


@dataclass(frozen=True)
class Edits:
    """Rows entered, by what they are about; None takes a row of the file back."""

    rows: Mapping[Key, NewRow | None] = field(default_factory=dict)

    def put(self, key: Key, row: NewRow | None) -> Edits:
        """Return the edits with a row in place of any other about the same."""
        return Edits({**{k: r for k, r in self.rows.items() if k != key}, key: row})


def reading(checked: Checked, hold: str, text: str) -> NewRow | None:
    """Return what the dial showed in a hold as a row, None for an empty text.

    A number without a unit is in the dial's own. Raises InputError where the text is no speed, or
    the drive has no such hold.
    """
    text = _tidy(text, hold)
    found = next((r for r in checked.results.speedometer.readings if r.manoeuvre == hold), None)
    if found is None or found.start_s is None or found.end_s is None:
        raise InputError(hold, "", "no such hold", "one of the drive's")
    if not text:
        return None
    dial = checked.survey.drive.sheet.speedometer.units
    try:
        read_value("indicated speed", text, "", dial)
    except NotUnderstoodError as fault:
        raise InputError(hold, "dial reading", fault.found, fault.expected) from None
    own_unit = text[-1:].isalpha()
    return NewRow(
        item="indicated speed",
        value=text,
        time=_moment(checked, 0.5 * (found.start_s + found.end_s)),
        unit="" if own_unit else dial,
        remark=f"{TYPED} {hold}, {_TIME_TOLERANCE}",
    )


def left_out(checked: Checked, manoeuvre: str, reason: str) -> NewRow:
    """Return the row that leaves a manoeuvre out; raises InputError without a reason."""
    made = next((m for m in checked.results.manoeuvres if m.id == manoeuvre), None)
    if made is None:
        raise InputError(manoeuvre, "", "no such manoeuvre", "one of the drive's")
    reason = _tidy(reason, manoeuvre)
    if not reason:
        raise InputError(manoeuvre, "", "left out without a reason", "why it does not count")
    moment = _moment(checked, 0.5 * (made.start_s + made.end_s))
    return NewRow(item="left out", value=manoeuvre, time=moment, remark=reason)


def target(name: str, text: str, reason: str) -> NewRow:
    """Return the row that sets a target to `text`, its value as a build sheet writes it.

    Quotation marks about it may be left off. Raises InputError or InputErrors where the build sheet
    would not have it, or without a reason.
    """
    text, reason = _tidy(text, name), _tidy(reason, name)
    if not text:
        raise InputError("targets", name, "nothing", "a value as in the build sheet")
    value = text if text[0] in "\"'{[" else value_text(text)
    line = f"{key_text(name)} = {value}"
    ids = {one.id for one in read_targets(line, "targets")}
    if ids != {name}:
        raise InputError("targets", name, f"it sets {len(ids)} targets", "one")
    if not reason:
        raise InputError("targets", name, "moved without a reason", "why it is moved")
    return NewRow(item="target", value=line, remark=reason)


def odometer(checked: Checked, text: str, when: str) -> NewRow:
    """Return an odometer reading as a row; `when` is "start", "end" (of the log) or a clock time.

    Raises InputError where one of the two can't be understood.
    """
    text, when = _tidy(text, "odometer"), _tidy(when, "odometer")
    sheet = checked.survey.drive.sheet
    try:
        read_value("odometer", text, "", sheet.units)
    except NotUnderstoodError as fault:
        raise InputError("odometer", "", fault.found, fault.expected) from None
    duration_s = checked.results.drive.duration_s or 0.0
    moments = {"start": 0.0, "end": duration_s}
    if when not in moments and read_clock_face(when) is None:
        raise InputError("odometer", "time", when or "nothing", 'clock time such as "09:14:10"')
    time = _moment(checked, moments[when]) if when in moments else when
    unit = "" if text[-1:].isalpha() else ("mile" if sheet.units == "mph" else "km")
    return NewRow(item="odometer", value=text, time=time, unit=unit, remark=ENTERED)


def inspection(what: str, outcome: str) -> NewRow:
    """Return a hand check as a row: what was looked at, and "pass", "fail" or "not done"."""
    what = _tidy(what, "inspection")
    if not what:
        raise InputError("inspection", "", "nothing", "what was looked at")
    try:
        read_value("inspection", outcome, "", "mph")
    except NotUnderstoodError as fault:
        raise InputError("inspection", what, fault.found, fault.expected) from None
    return NewRow(item="inspection", value=outcome, remark=what)


def standing(checked: Checked, edits: Edits) -> dict[Key, NewRow]:
    """Return all rows of ours that hold: those the files have, and the edits on top.

    `checked` is the drive as its files give it. Dial readings of the files are in the dial's unit.
    """
    rows = {key: row for key, (_, row) in _own_rows(checked).items()}
    rows.update({key: row for key, row in edits.rows.items() if row is not None})
    return {key: row for key, row in rows.items() if edits.rows.get(key, row) is not None}


def edited_notes(checked: Checked, edits: Edits) -> bytes:
    """Return the content of the notes.csv with the edits; of what is not ours, every byte.

    `checked` is the drive as its files give it. Raises InputError where the file has no column for
    what a row needs.
    """
    file = checked.found.drive.notes_file
    data, name = (b"", NOTES_NAME) if file is None else (file.data, file.name)
    own = _own_rows(checked)
    without = {line for key in edits.rows if key in own for line in own[key][0]}
    rows = [row for row in edits.rows.values() if row is not None]
    return with_rows(data, name, without, rows) if without or rows else data


def with_edits(checked: Checked, edits: Edits, latest: Checked | None = None) -> Checked:
    """Return a checked drive as it is with `edits`.

    `checked` is the drive as its files give it; `latest`, the same with other edits, is gone on
    from where there is one, which is quicker. Raises InputError or InputErrors.
    """
    file = checked.found.drive.notes_file
    content = edited_notes(checked, edits)
    if content == (b"" if file is None else file.data):
        return checked
    name = NOTES_NAME if file is None else file.name
    stored = as_stored(name, content)
    source = Source(name, content, hashlib.sha256(stored).hexdigest(), size=len(stored))
    return conclude_again(latest or checked, with_notes_file(checked.found.drive, source))


def as_stored(name: str, content: bytes) -> bytes:
    """Return content as a file of this name holds it: compressed where that ends in .gz."""
    return gzip.compress(content, mtime=0) if name.lower().endswith(".gz") else content


def _own_rows(checked: Checked) -> dict[Key, tuple[tuple[int, ...], NewRow]]:
    """Return the rows of the files that are ours to replace, with the lines they begin in."""
    own: dict[Key, tuple[tuple[int, ...], NewRow]] = {}
    notes = checked.found.drive.notes
    for note in () if notes is None else notes.rows:
        for key, row in _own(checked, note):
            lines = own[key][0] if key in own else ()
            own[key] = ((*lines, note.line), row)
    return own


def _own(checked: Checked, note: Note) -> Iterator[tuple[Key, NewRow]]:
    if note.item == "target":
        name = target_named(note.text)
        yield ("target", name), NewRow("target", note.text, remark=note.remark)
    elif note.item == "odometer" and note.remark == ENTERED and note.clock in ("utc", "face"):
        unit = "mile" if checked.found.drive.sheet.units == "mph" else "km"
        count = number_text(float(from_si(note.value or 0.0, unit)), 9)
        time = (utc_text if note.clock == "utc" else _face)(note.time_s or 0.0)
        row = NewRow("odometer", count, time, unit, ENTERED)
        yield ("odometer", time), row
    elif note.item == "inspection" and note.clock is None and note.remark:
        # As the page writes them. Those with a time are the crew's: the same may come twice.
        yield ("inspection", note.remark), NewRow("inspection", note.text, remark=note.remark)
    elif note.item == "left out" or note.typed:
        evidence = checked.found.evidence
        made = manoeuvre_meant(note, evidence.manoeuvres, evidence.start_unix_s)
        if made is None or (note.value is None and note.typed):
            return
        if note.typed:
            shown = from_si(note.value or 0.0, evidence.sheet.speedometer.units)
            row = NewRow("indicated speed", number_text(float(shown)), remark=note.remark)
            yield ("reading", made.id), row
        else:
            yield ("left out", made.id), NewRow("left out", made.id, remark=note.remark)


def _face(time_s: float) -> str:
    """Return seconds past midnight as a clock shows them."""
    minutes, seconds = divmod(round(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}" + (f":{seconds:02}" if seconds else "")


def _moment(checked: Checked, at_s: float) -> str:
    return utc_text(round(checked.found.evidence.start_unix_s + at_s, 3))


def _tidy(text: str, where: str) -> str:
    """Return what somebody typed on one line, without what can't be printed."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(text) > MOST_LETTERS:
        raise InputError(where, "", f"{len(text)} letters", f"at most {MOST_LETTERS}")
    return text
