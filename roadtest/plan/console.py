"""The drive card as text."""

from __future__ import annotations

from roadtest.figure_lines import put_table
from roadtest.plan.cautions import abort_when, cautions
from roadtest.plan.model import Plan, Step
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
from roadtest.terminal import Page
from roadtest.wording import PERCENT_FINDINGS, limit_text, sentence


def card_text(plan: Plan, width: int = 80, encoding: str = "utf-8", *, colour: bool = False) -> str:
    """Return the drive card as text, no line wider than `width` columns."""
    page = Page(width, encoding, colour)
    car = plan.sheet.car
    page.paragraph(f"Drive card: {car.label}" + (f" ({car.chassis})" if car.chassis else ""))
    _put_changes(page, plan)
    page.heading("Abort when")
    _put_list(page, abort_when(plan.sheet))
    page.heading("Drive, in this order")
    for number, step in enumerate(plan.steps, 1):
        page.paragraph(_step(step, plan.sheet.units), label=f"{number:2d}.", indent=5)
    _put_by_hand(page, plan)
    page.heading("Mind")
    _put_list(page, cautions(plan.sheet, plan.steps))
    _put_notes(page, plan)
    _put_engine(page, plan)
    _put_predicted(page, plan)
    page.gap()
    page.paragraph(sources_of(plan))
    page.paragraph(sentence(f"Assumed: {'; '.join(plan.assumed)}"))
    return page.text()


def _put_list(page: Page, items: tuple[str, ...]) -> None:
    for item in items:
        page.paragraph(sentence(item), label="  -", indent=4)


def _step(step: Step, units: str) -> str:
    gear = gears_of(step)
    straight = straight_of(step)
    parts = [
        speeds_of(step, units),
        gear if gear in ("", "neutral") else f"gear {gear}",
        f"runs: {runs_of(step)}" if step.from_mps else runs_of(step),
        f"straight: {straight}" if straight else "",
    ]
    said = "; ".join(part for part in parts if part)
    lead = f"{step.what}: {said}" if said else step.what
    return f"{sentence(lead)} {sentence(step.note)}".rstrip()


def _put_by_hand(page: Page, plan: Plan) -> None:
    for when, checks in plan.hand_checks.items():
        if checks:
            page.heading(f"By hand, {when} the drive")
            _put_list(page, tuple(check_text(check) for check in checks))


def _put_changes(page: Page, plan: Plan) -> None:
    if plan.changes:
        page.heading(f"If changed: {', '.join(plan.changed)}")
        rows = [(change.what, change.before, change.after) for change in plan.changes]
        put_table(page, ("", "before", "after"), rows)


def _put_notes(page: Page, plan: Plan) -> None:
    rows = note_rows(plan)
    if rows:
        page.heading("To note at each hold: time, dial, tach")
        put_table(page, ("hold", "gear", "rpm due"), rows)


def _put_engine(page: Page, plan: Plan) -> None:
    heads, rows = engine_rows(plan)
    if rows:
        page.heading("Engine speed expected, rpm")
        page.table(heads, rows, texts=0)


def _put_predicted(page: Page, plan: Plan) -> None:
    if not plan.predicted:
        return
    page.heading("What the drive will prove")
    page.paragraph(f"Predicted for a logger of {logger_of(plan)}. {REPEATS}")
    for item in plan.predicted:
        percent = item.id in PERCENT_FINDINGS
        allowed = limit_text(item.limit, plan.sheet.units, percent=percent)
        page.gap()
        page.paragraph(item.title, label="" if item.provable else "!", indent=2)
        shown = foreseen_of(plan, item)
        figures = [item.runs, f"interval {shown}", f"allowed: {allowed}" if allowed else ""]
        page.paragraph("; ".join(part for part in figures if part), indent=2)
        page.paragraph(sentence(item.proves), indent=2)
