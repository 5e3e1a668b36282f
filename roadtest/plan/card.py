"""The drive card as a document for one printed sheet, both sides."""

from __future__ import annotations

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


def _front(plan: Plan) -> list[Block]:
    blocks: list[Block] = [Facts((("Abort when", "; ".join(abort_when(plan.sheet))),), small=True)]
    blocks += [Heading("Drive, in this order", level=2), _steps(plan)]
    blocks.append(Heading("By hand", level=2))
    rows = tuple(
        (when, "; ".join(check_text(check) for check in checks))
        for when, checks in plan.hand_checks.items()
        if checks
    )
    blocks.append(Facts(rows, small=True))
    said = sentence("; ".join(cautions(plan.sheet, plan.steps)))
    blocks.append(Facts((("Mind", said),), small=True))
    return blocks


def _steps(plan: Plan) -> Table:
    units = plan.sheet.units
    return Table(
        ("", "speeds", "gear", "runs", "straight", "what, and what to mind"),
        tuple(
            (
                str(number),
                speeds_of(step, units),
                gears_of(step),
                runs_of(step),
                straight_of(step),
                f"{sentence(step.what)} {sentence(step.note)}".rstrip(),
            )
            for number, step in enumerate(plan.steps, 1)
        ),
        texts=6,
        small=True,
    )


def _back(plan: Plan) -> list[Block]:
    blocks: list[Block] = []
    if plan.changes:
        blocks.append(Heading(f"If changed: {', '.join(plan.changed)}", level=2))
        rows = tuple((change.what, change.before, change.after) for change in plan.changes)
        blocks.append(Table(("", "before", "after"), rows, texts=1, small=True))
    noted = note_rows(plan)
    if noted:
        heads = ("hold", "gear", "rpm due", "time (h:min:s)", "dial", "tach", "remark")
        blocks.append(Heading("To note", level=2))
        rows_to_fill = tuple((*row, *(_FILL_IN,) * 3, 2 * _FILL_IN) for row in noted)
        blocks.append(Table(heads, rows_to_fill, texts=7, small=True))
    speeds, turning = engine_rows(plan)
    if turning:
        blocks += [Heading("Engine speed expected, rpm", level=2), Table(speeds, turning, 0, True)]
    if plan.predicted:
        blocks += [Heading("What the drive will prove", level=2), _predicted(plan)]
        said = f"Predicted for a logger of {logger_of(plan)}. {REPEATS}"
        blocks.append(Paragraph(said, small=True))
    small = [sources_of(plan), sentence(f"Assumed: {'; '.join(plan.assumed)}")]
    blocks.append(Paragraph(" ".join(small), small=True))
    return blocks


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
