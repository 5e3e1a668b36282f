"""Results as text for the person beside the car: the answer, why, the figures, the log, what next.

The first screen holds the verdicts, and the last one what to do next.
"""

from __future__ import annotations

from typing import Final

from roadtest.figures import put_figures
from roadtest.findings.steps import step_that_settles, work_together
from roadtest.log_lines import ignored_files, log_losses, log_quality, not_used, speed_log_in_short
from roadtest.results import Finding, FindingItem, Limit, ReadIn, Results, Verdict
from roadtest.terminal import Page
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    by_hand_said,
    duration_text,
    found_against_limit,
    limit_text,
    moment_text,
    probability_text,
    quantity_text,
    short_title,
)

_PAINT: Final[dict[Verdict, str]] = {"fail": "1;31", "not proven": "1;33", "pass": "1;32"}
_INDENT: Final = 14
_ALLOWED: Final = "allowed: "
_MOST_NAMED: Final = 4  # files ignored, on the first screen
_OWN: Final = "own target"
_BY_THE_CREW: Final = "inspection"


def render(
    results: Results, units: ReadIn, colour: bool, width: int = 80, encoding: str = "utf-8"
) -> str:
    """Return what a technician reads of `results`, no line wider than `width` columns.

    Speeds and distances are in `units`. Characters that `encoding` can't hold are written plainer.
    """
    page = Page(width, encoding, colour)
    _put_head(page, results, units)
    _put_by_hand(page, results)
    _put_findings(page, results, units)
    put_figures(page, results, units)
    _put_log(page, results, units)
    if results.next_steps:
        page.heading("What to do next")
        for number, step in enumerate(results.next_steps, 1):
            page.paragraph(step, label=f"{number}.", indent=4)
    if results.cautions:
        page.heading("Before driving hard")
        page.paragraph(" ".join(results.cautions))
    return page.text()


def _put_head(page: Page, results: Results, units: ReadIn) -> None:
    """Put down which car and drive it is, how good its log was, and the verdicts."""
    car, drive = results.car, results.drive
    page.paragraph(f"{car.label} ({car.chassis})" if car.chassis else car.label)
    parts = [
        drive.start_utc and moment_text(drive.start_utc),
        drive.duration_s is not None and duration_text(drive.duration_s),
        drive.distance and quantity_text(drive.distance, units),
        drive.top_speed and f"top speed {quantity_text(drive.top_speed, units)}",
    ]
    said = ", ".join(part for part in parts if part)
    if said:
        page.paragraph(f"Driven: {said}.", indent=2)
    log = speed_log_in_short(results.logs)
    if log:
        page.paragraph(f"Log: {log}.", indent=2)
    ignored = [file.name for file in results.files if file.kind == "ignored"]
    if ignored:
        more = len(ignored) - _MOST_NAMED
        named = ", ".join(ignored[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
        page.paragraph(f"Ignored: {named}; the log, further down, says why.", indent=2)
    if results.logs and not any(made.used for made in results.manoeuvres):
        page.paragraph(_nothing_used(results), indent=2)
    page.gap()
    if not results.findings:
        said = "No targets are set in the build sheet, so nothing is judged; figures follow."
        page.paragraph(said, indent=2)
    for verdict, word in VERDICT_WORD.items():
        titles = [short_title(one.title) for one in results.findings if one.verdict == verdict]
        if titles:
            label = f"{VERDICT_MARK[verdict]} {word}"
            said = f"{len(titles)}: {'; '.join(work_together(titles))}"
            page.paragraph(said, label=label, indent=_INDENT, paint=_PAINT[verdict])


def _nothing_used(results: Results) -> str:
    if not results.manoeuvres:
        return "No steady speed, hard pull, stop or coast was found in it to measure on."
    return "Nothing that was found in it could be used; why stands further down."


def _put_log(page: Page, results: Results, units: ReadIn) -> None:
    page.heading("The log")
    for log in results.logs:
        page.paragraph(log_quality(log, units), label=log.name, indent=_INDENT)
        for line in log_losses(log):
            page.paragraph(line, indent=_INDENT)
    if not results.logs:
        page.paragraph("No log was used.")
    for label, line in ignored_files(results.files):
        page.paragraph(line, label=label, indent=_INDENT)
    by_hand = {one.manoeuvre for one in results.by_hand.left_out}
    unused = list(not_used([m for m in results.manoeuvres if m.id not in by_hand]))
    if unused:
        page.heading("Found, but not used")
    for label, line in unused:
        page.paragraph(line, label=label, indent=_INDENT)


def _put_by_hand(page: Page, results: Results) -> None:
    said = by_hand_said(results.by_hand)
    if said:
        page.heading("Left out or moved by hand")
    for label, line in said:
        page.paragraph(line, label=label, indent=_INDENT)


def _put_findings(page: Page, results: Results, units: ReadIn) -> None:
    if not results.findings:
        return
    page.heading("Findings")
    for verdict in VERDICT_WORD:
        for finding in results.findings:
            if finding.verdict == verdict:
                page.gap()
                _put_finding(page, finding, results, units)


def _put_finding(page: Page, finding: Finding, results: Results, units: ReadIn) -> None:
    label = f"{VERDICT_MARK[finding.verdict]} {VERDICT_WORD[finding.verdict]}"
    page.paragraph(finding.title, label=label, indent=_INDENT, paint=_PAINT[finding.verdict])
    percent = finding.id in PERCENT_FINDINGS
    telling = _telling_items(finding)
    lines = [found_against_limit(finding, units)]
    if telling:
        shared = telling[0].limit if len({item.limit for item in telling}) == 1 else None
        allowed = limit_text(shared, units, percent=percent)
        lines = [f"{_ALLOWED}{allowed}"] if allowed else [""]
        lines += [_item_line(item, shared, units, percent) for item in telling]
    own = finding.basis == _OWN and bool(lines) and _ALLOWED in lines[0]
    if own:
        lines[0] += f" ({_OWN})"
    if finding.probability is not None and finding.verdict == "not proven" and not telling:
        lines.append(f"probability of conforming: {probability_text(finding.probability)}")
    told = own or finding.basis == "looked at by the crew"
    for lead, said in (
        ("", finding.reason),
        ("To settle: ", _to_settle(finding, results)),
        ("Basis: ", "" if told else finding.basis),
        ("Not shown by a drive: ", "; ".join(finding.not_shown)),
    ):
        lines.append(lead + said if said else "")
    for line in filter(None, lines):
        page.paragraph(line, indent=_INDENT)


def _to_settle(finding: Finding, results: Results) -> str:
    """Return what would settle a finding, or the step to do next that says it."""
    if finding.id == _BY_THE_CREW and results.next_steps:
        return ""  # they are one step all together, which names them
    number = step_that_settles(finding, results.findings, results.next_steps)
    return finding.to_settle or "" if number is None else f"step {number} of what to do next"


def _telling_items(finding: Finding) -> list[FindingItem]:
    """Return the items to list: those that decided a finding, unless it has but one."""
    if len(finding.items) < 2:
        return []
    return [item for item in finding.items if item.verdict != "pass"]


def _item_line(item: FindingItem, limit: Limit | None, units: ReadIn, percent: bool) -> str:
    """Say one item: where, how much, its limit where that is its own, and its verdict."""
    # Without a figure it is a question ("is it this gearbox?") or could not be judged: the reason
    # says why. There may be a figure all the same that is too coarse to judge by.
    said = "" if item.measured is None else quantity_text(item.measured, units, percent=percent)
    if item.limit is not None and item.limit != limit:
        said += f" (allowed: {limit_text(item.limit, units, percent=percent)})"
    chance = ""  # told only where it is in doubt
    if item.probability is not None and item.verdict == "not proven":
        chance = f" (probability of conforming {probability_text(item.probability)})"
    name = item.manoeuvre or item.what
    lead = f"{name}: " if name else ""
    return f"{lead}{said} {VERDICT_WORD[item.verdict]}{chance}".replace(":  ", ": ")
