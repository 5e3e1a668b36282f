"""The drive card as a document for one printed sheet, both sides."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from typing import Final

from roadtest.plan.cautions import abort_when, cautions
from roadtest.plan.model import Plan
from roadtest.plan.wordings import (
    REPEATS,
    check_text,
    engine_rows,
    foreseen_of,
    gears_of,
    logger_of,
    note_rows,
    runs_of,
    sources_of,
    speeds_of,
    straight_of,
)
from roadtest.report.model import Block, Document, Facts, Heading, Paragraph, Table
from roadtest.wording import PERCENT_FINDINGS, limit_text, sentence

_FILL_IN: Final = 18 * "."
_OUTCOME: Final = 12 * "."
_NO_DAY: Final = (1970, 1, 1)  # a plan has none, and the same plan gives the same bytes


def drive_card(plan: Plan) -> Document:
    """Return the drive card of a plan."""
    car = plan.sheet.car
    name = f"{car.label} ({car.chassis})" if car.chassis else car.label
    return Document(
        title=f"Drive card: {name}",
        head=f"Drive card: {name}",
        date=_NO_DAY,
        shop=plan.sheet.shop.name or "",
        blocks=(*_front(plan), *_back(plan)),
        results_json="",
        results_hash="",
        compact=True,
    )


def _front(plan: Plan) -> Iterator[Block]:
    """Yield what is read at the wheel: when to abort, what to drive, what to note."""
    yield Facts((("Abort when", sentence("; ".join(abort_when(plan.sheet)))),))
    yield Heading("Drive, in this order", level=2)
    yield _steps(plan)
    noted = note_rows(plan)
    if noted:
        yield Heading("To note", level=2)
        yield _to_note(noted)
    speeds, turning = engine_rows(plan)
    if turning:
        yield Heading("Engine speed expected, rpm", level=2)
        yield Table(speeds, turning, 0, small=True)
    said = sentence("; ".join(cautions(plan.sheet, plan.steps)))
    yield Facts((("Mind", said),), small=True)


def _to_note(noted: tuple[tuple[str, ...], ...]) -> Table:
    """Return the table to fill in; what isn't known of any hold has no column."""
    heads = ("hold", "gear", "rpm due")
    kept = [k for k in range(len(heads)) if any(row[k] for row in noted)]
    fill_in = (*(_FILL_IN,) * 3, 2 * _FILL_IN)
    return Table(
        (*(heads[k] for k in kept), "time (h:min:s)", "dial", "tach", "remark"),
        tuple((*(row[k] for k in kept), *fill_in) for row in noted),
        texts=7,
    )


def _steps(plan: Plan) -> Table:
    units = plan.sheet.units
    return Table(
        ("", "what", "speeds", "gear", "runs", "straight", "mind"),
        tuple(
            (
                str(number),
                step.what,
                speeds_of(step, units),
                gears_of(step),
                runs_of(step),
                straight_of(step),
                sentence(step.note),
            )
            for number, step in enumerate(plan.steps, 1)
        ),
        texts=7,
    )


def _back(plan: Plan) -> Iterator[Block]:
    """Yield what is done standing: hand checks, cautions, and what the drive is good for."""
    # A sheet that asks for little has room for both on one side.
    overleaf = bool(plan.predicted or plan.changes or plan.sheet.work.done)
    yield Heading("By hand: pass, fail or not done", level=2, new_page=overleaf)
    yield _hand_checks(plan)
    if plan.changes:
        yield Heading(f"If changed: {', '.join(plan.changed)}", level=2)
        changes = tuple((change.what, change.before, change.after) for change in plan.changes)
        yield Table(("", "before", "after"), changes, texts=1, small=True)
    if plan.predicted:
        yield Heading("What the drive will prove", level=2)
        yield _predicted(plan)
        said = f"Predicted for a logger of {logger_of(plan)}. {REPEATS}"
        yield Paragraph(said, small=True)
    small = [sources_of(plan), sentence(f"Assumed: {'; '.join(plan.assumed)}")]
    yield Paragraph(" ".join(small), small=True)


def _hand_checks(plan: Plan) -> Table:
    """Return the hand checks side by side: those before the drive, and those that follow."""
    checks = {when: [check_text(c) for c in group] for when, group in plan.hand_checks.items()}
    left = checks.get("before", [])
    right = [*checks.get("during", []), *(f"after: {said}" for said in checks.get("after", []))]
    rows = zip_longest(left, right, fillvalue="")
    return Table(
        ("before the drive", "outcome", "during the drive, and after", "outcome"),
        tuple((a, _OUTCOME if a else "", b, _OUTCOME if b else "") for a, b in rows),
        texts=4,
        small=True,
    )


def _predicted(plan: Plan) -> Table:
    rows = tuple(
        (
            item.title,
            item.runs,
            foreseen_of(plan, item),
            limit_text(item.limit, plan.sheet.units, percent=item.id in PERCENT_FINDINGS),
            item.proves,
        )
        for item in plan.predicted
    )
    return Table(("target", "driven", "95 % interval", "limit", ""), rows, texts=5, small=True)
