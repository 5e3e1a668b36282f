"""What a person left out of a drive, and the targets that a person moved, as the notes say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import get_args

from roadtest.build_sheet import BuildSheet, read_targets
from roadtest.clock import utc_text
from roadtest.evidence import Evidence
from roadtest.logs.model import Note
from roadtest.manoeuvres import Manoeuvre
from roadtest.quantity import COVERAGE_FACTOR_95
from roadtest.results import ByHand, LeftOut, ManoeuvreKind, MovedTarget


def applied(evidence: Evidence) -> tuple[Evidence, ByHand]:
    """Return the evidence with what its notes leave out and move, and a list of that."""
    rows = () if evidence.notes is None else evidence.notes.rows
    sheet, moved = _moved(evidence.sheet, [row for row in rows if row.item == "target"])
    reasons, not_found = _left_out(evidence, [row for row in rows if row.item == "left out"])
    if not (moved or reasons or not_found):
        return evidence, ByHand()
    made = tuple(
        _without(manoeuvre, reasons[manoeuvre.id]) if manoeuvre.id in reasons else manoeuvre
        for manoeuvre in evidence.manoeuvres
    )
    listed = tuple(LeftOut(m.id, reasons[m.id]) for m in made if m.id in reasons)
    return (
        replace(evidence, sheet=sheet, manoeuvres=made),
        ByHand(listed, moved, tuple(not_found)),
    )


def manoeuvre_meant(
    row: Note, manoeuvres: Sequence[Manoeuvre], start_unix_s: float
) -> Manoeuvre | None:
    """Return the manoeuvre that a row of the notes means, None where there is none.

    By the time noted: the manoeuvre it lies in, or one that it may belong to, the one named before
    the nearest. A row without a time means the manoeuvre named. The name alone would not do: ids
    are counted anew with every version of the search for manoeuvres. But a row that names a stop
    means no coast, wherever its time lies.
    """
    if row.time_s is None:
        return next((made for made in manoeuvres if made.id == row.text), None)
    kind = row.text.partition("-")[0]
    if kind in get_args(ManoeuvreKind):
        manoeuvres = [made for made in manoeuvres if made.kind == kind]
    at_s = row.time_s - start_unix_s
    near = [
        _Near(max(made.start_s - at_s, at_s - made.end_s, 0.0), made.id != row.text, made)
        for made in manoeuvres
    ]
    near = [one for one in near if one.away_s <= COVERAGE_FACTOR_95 * row.u_time_s]
    best = min(near, key=lambda one: (one.away_s > 0.0, one.other, one.away_s), default=None)
    return None if best is None else best.made


@dataclass(frozen=True)
class _Near:
    """How far a noted time lies from a manoeuvre, and whether the row names another."""

    away_s: float
    other: bool
    made: Manoeuvre


def _without(made: Manoeuvre, reason: str) -> Manoeuvre:
    return replace(made, used=False, left_out=True, why_not=f"left out by hand: {reason}")


def _left_out(evidence: Evidence, rows: Sequence[Note]) -> tuple[dict[str, str], list[str]]:
    """Return the reason by manoeuvre, the last row of each, and what is to be said of the rest."""
    reasons: dict[str, str] = {}
    not_found = []
    for row in rows:
        made = manoeuvre_meant(row, evidence.manoeuvres, evidence.start_unix_s)
        if made is None:
            where = "" if row.time_s is None else f" at {utc_text(row.time_s)}"
            not_found.append(f"line {row.line} leaves out {row.text or 'one'}{where}: none there")
        else:
            reasons[made.id] = row.remark
    return reasons, not_found


def _moved(sheet: BuildSheet, rows: Sequence[Note]) -> tuple[BuildSheet, tuple[MovedTarget, ...]]:
    """Return the sheet with the targets that rows move, the last row of each target."""
    latest = dict(_each(rows))
    targets, moved = sheet.targets, []
    for name, row in latest.items():
        others = read_targets(row.text, "target")
        was = dict(sheet.targets.written).get(name)
        moved.append(MovedTarget(name, was, dict(others.written)[name], row.remark))
        targets = targets.moved(others)
    return replace(sheet, targets=targets), tuple(moved)


def _each(rows: Sequence[Note]) -> Iterator[tuple[str, Note]]:
    for row in rows:
        yield target_named(row.text), row


def target_named(text: str) -> str:
    """Return the id of the target that a row of the notes sets; the row has been read."""
    return next(iter(read_targets(text, "target"))).id
