"""Results as text for the person beside the car: the log, the findings, the figures, what next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from roadtest.figures import put_figures
from roadtest.results import (
    Finding,
    FindingItem,
    Limit,
    LogInfo,
    Manoeuvre,
    ReadIn,
    Results,
    Verdict,
)
from roadtest.terminal import Page
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    against_limit,
    by_hand_said,
    clock_text,
    duration_text,
    limit_text,
    lost_of,
    number_text,
    plural,
    probability_text,
    quantity_text,
    used_of,
)

_PAINT: Final[dict[Verdict, str]] = {"fail": "1;31", "not proven": "1;33", "pass": "1;32"}
_INDENT: Final = 14
_SPEED_FROM: Final = {
    "doppler": "speed as the receiver gives it",
    "position": "speed from positions only",
}


def render(
    results: Results, units: ReadIn, colour: bool, width: int = 80, encoding: str = "utf-8"
) -> str:
    """Return what a technician reads of `results`, no line wider than `width` columns.

    Speeds and distances are in `units`. Characters that `encoding` can't hold are written plainer.
    """
    page = Page(width, encoding, colour)
    _put_head(page, results, units)
    _put_log(page, results, units)
    _put_by_hand(page, results)
    _put_findings(page, results, units)
    put_figures(page, results, units)
    if results.next_steps:
        page.heading("What to do next")
        for number, step in enumerate(results.next_steps, 1):
            page.paragraph(step, label=f"{number}.", indent=4)
    if results.cautions:
        page.heading("Before driving hard")
        page.paragraph(" ".join(results.cautions))
    return page.text()


def _put_head(page: Page, results: Results, units: ReadIn) -> None:
    car, drive = results.car, results.drive
    page.paragraph(f"{car.label} ({car.chassis})" if car.chassis else car.label)
    parts = [
        drive.start_utc and f"started {drive.start_utc}",
        drive.duration_s is not None and f"{duration_text(drive.duration_s)} long",
        drive.distance and quantity_text(drive.distance, units),
        drive.top_speed and f"top speed {quantity_text(drive.top_speed, units)}",
    ]
    said = ", ".join(part for part in parts if part)
    if said:
        page.paragraph(f"Drive: {said}.", indent=2)
    page.paragraph(_summary(results), indent=2)


def _summary(results: Results) -> str:
    if not results.findings:
        return "No targets are set in the build sheet, so nothing is judged; figures follow."
    counts = Counter(finding.verdict for finding in results.findings)
    said = (f"{counts[verdict]} {word.lower()}" for verdict, word in VERDICT_WORD.items())
    return f"{plural(len(results.findings), 'target')} judged: {', '.join(said)}."


def _put_log(page: Page, results: Results, units: ReadIn) -> None:
    page.heading("The log")
    for log in results.logs:
        page.paragraph(log_quality(log, units), label=log.name, indent=_INDENT)
        for line in log_losses(log):
            page.paragraph(line, indent=_INDENT)
    if not results.logs:
        page.paragraph("No log was used.")
    for file in results.files:
        if file.kind == "ignored":
            reason = f"ignored: {file.why_ignored or 'no reason given'}"
            page.paragraph(reason, label=file.name, indent=_INDENT)
    by_hand = {one.manoeuvre for one in results.by_hand.left_out}
    for label, line in _unused([m for m in results.manoeuvres if m.id not in by_hand]):
        page.paragraph(line, label=label, indent=_INDENT)


def _put_by_hand(page: Page, results: Results) -> None:
    said = by_hand_said(results.by_hand)
    if said:
        page.heading("Left out or moved by hand")
    for label, line in said:
        page.paragraph(line, label=label, indent=_INDENT)


def _unused(manoeuvres: Sequence[Manoeuvre]) -> Iterator[tuple[str, str]]:
    """Yield label and line for the manoeuvres not used, those with like reasons as one.

    Reasons are alike up to their colon: "too slow: from 12 mph".
    """
    alike: dict[tuple[str, str], list[Manoeuvre]] = {}
    for made in manoeuvres:
        if not made.used:
            reason = made.why_not or "no reason given"
            alike.setdefault((made.kind, reason.partition(": ")[0]), []).append(made)
    for (kind, reason), found in alike.items():
        first = found[0]
        at, why = clock_text(first.start_s), first.why_not or reason
        if len(found) == 1:
            yield first.id, f"at {at}, not used: {why}"
            continue
        ids = _in_ranges([made.id.removeprefix(f"{kind}-") for made in found])
        detail = why.partition(": ")[2]
        told = f" ({first.id} at {at}: {detail})" if detail else f" (the first at {at})"
        yield plural(len(found), kind), f"not used: {kind}-{ids}: {reason}{told}"


def _in_ranges(numbers: Sequence[str]) -> str:
    """Return "1, 3 to 6, 9" of numbers as text, in their order; other text stays as it is."""
    runs: list[list[str]] = []
    for number in numbers:
        last = runs[-1][-1] if runs else ""
        if last.isdecimal() and number.isdecimal() and int(number) == int(last) + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def log_quality(log: LogInfo, units: ReadIn) -> str:
    """Say how fast, how quiet and how complete a log is, in one sentence."""
    parts: list[str] = [log.kind]
    if log.rate_hz is not None:
        parts.append(f"{number_text(log.rate_hz, 3)} Hz")
    if log.speed_noise is not None:
        parts.append(f"speed noise {quantity_text(log.speed_noise, units)}")
    if log.speed_source is not None:
        parts.append(_SPEED_FROM[log.speed_source])
    parts.append(f"{used_of(log)} used")
    return ", ".join(parts)


def log_losses(log: LogInfo) -> list[str]:
    """Say what was lost of a log and why, its gaps and what was noticed, a line each."""
    lines = []
    for reason in sorted(log.rejected, key=lambda why: (-log.rejected[why], why)):
        first = log.rejected_first.get(reason)
        lines.append(
            f"lost {lost_of(log, reason)}: {reason}" + (f" (first: {first})" if first else "")
        )
    for gap in log.gaps:
        span = number_text(gap.end_s - gap.start_s, 3)
        lines.append(f"gap of {span} s from {clock_text(gap.start_s)} to {clock_text(gap.end_s)}")
    return [*lines, *log.remarks]


def _put_findings(page: Page, results: Results, units: ReadIn) -> None:
    if not results.findings:
        return
    page.heading("Findings")
    for verdict in VERDICT_WORD:
        for finding in results.findings:
            if finding.verdict == verdict:
                page.gap()
                _put_finding(page, finding, units)


def _put_finding(page: Page, finding: Finding, units: ReadIn) -> None:
    label = f"{VERDICT_MARK[finding.verdict]} {VERDICT_WORD[finding.verdict]}"
    page.paragraph(finding.title, label=label, indent=_INDENT, paint=_PAINT[finding.verdict])
    percent = finding.id in PERCENT_FINDINGS
    telling = _telling_items(finding)
    lines = [against_limit(finding.measured, finding.limit, units, percent=percent)]
    if telling:
        shared = telling[0].limit if len({item.limit for item in telling}) == 1 else None
        allowed = limit_text(shared, units, percent=percent)
        lines = [f"allowed: {allowed}"] if allowed else []
        lines += [_item_line(item, shared, units, percent) for item in telling]
    if finding.probability is not None and finding.verdict == "not proven" and not telling:
        lines.append(f"probability of conforming: {probability_text(finding.probability)}")
    for lead, said in (
        ("", finding.reason),
        ("To settle: ", finding.to_settle),
        ("Basis: ", finding.basis),
        ("Not shown by a drive: ", "; ".join(finding.not_shown)),
    ):
        lines.append(lead + said if said else "")
    for line in filter(None, lines):
        page.paragraph(line, indent=_INDENT)


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
