"""Page one, for the buyer: what was driven, every finding in a row of its own, room to sign."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.report.model import (
    Block,
    Bullets,
    Facts,
    FindingRow,
    FindingTable,
    Heading,
    Paragraph,
    Signature,
)
from roadtest.report.plain import plain_sentence
from roadtest.results import Finding, ReadIn, Results, Verdict
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    by_hand_counted,
    duration_text,
    found_text,
    limit_text,
    plural,
    quantity_text,
)

_CAUTIONS: Final = (
    "This is evidence of one drive on one day, not an official test. It holds for the car as it "
    "was driven: its tyres and their pressures, its load, its instruments.",
    "Licence, insurance, registration and any approval that the law asks for are the owner's to "
    "see to. Local law and the judgement of a licensed engineer or tester come first.",
    "Check the wheel fixings, fluid levels and brakes again after the first miles.",
)
"""Common practice, no published source."""

_COUNTED: Final[dict[Verdict, str]] = {
    "fail": "failed",
    "not proven": "not proven",
    "pass": "passed",
}
_HEADS: Final = ("verdict", "what was tested", "found", "allowed")


def first_page(results: Results, sheet: BuildSheet, units: ReadIn) -> list[Block]:
    """Return page one: what was driven, each finding, what to bear in mind, room to sign."""
    blocks: list[Block] = [Facts(tuple(_what_was_tested(results, sheet, units)))]
    blocks.append(Heading("Findings", level=2))
    if results.findings:
        blocks.append(Paragraph(_in_short(results)))
        rows = tuple(_row(finding, units) for finding in ordered(results))
        blocks.append(FindingTable(_HEADS, rows))
    else:
        blocks.append(Paragraph("No targets were set, so nothing was judged. The figures follow."))
    blocks.append(Heading("To bear in mind", level=2))
    blocks.append(Bullets(_CAUTIONS))
    blocks.append(Signature(sheet.shop.name or "", sheet.shop.signature or "Name and signature"))
    return blocks


def ordered(results: Results) -> list[Finding]:
    """Return the findings, those that matter most first."""
    return [f for verdict in VERDICT_WORD for f in results.findings if f.verdict == verdict]


def day_of(results: Results) -> tuple[int, int, int]:
    """Return year, month and day of the drive; those a file can carry where it is not known."""
    start = results.drive.start_utc
    if start is None:
        return (1970, 1, 1)
    day = datetime.fromisoformat(start)
    return (day.year, day.month, day.day)


def day_text(results: Results) -> str:
    """Return the day of the drive in words or as "2026-05-02"."""
    if results.drive.start_utc is None:
        return "on a day not known"
    return "{:04d}-{:02d}-{:02d}".format(*day_of(results))


def _what_was_tested(results: Results, sheet: BuildSheet, units: ReadIn) -> list[tuple[str, str]]:
    drive = results.drive
    rows = []
    if results.car.chassis:
        rows.append(("Chassis", results.car.chassis))
    if sheet.work.done or sheet.work.unknown_work:
        rows.append(("Work done", ", ".join((*sheet.work.done, *sheet.work.unknown_work))))
    driven = [day_text(results)]
    if drive.duration_s is not None:
        driven.append(duration_text(drive.duration_s))
    if drive.distance is not None:
        driven.append(quantity_text(drive.distance, units))
    if drive.top_speed is not None:
        driven.append(f"top speed {quantity_text(drive.top_speed, units)}")
    rows.append(("Driven", ", ".join(driven)))
    used: dict[str, int] = {}
    for made in results.manoeuvres:
        if made.used:
            used[made.kind] = used.get(made.kind, 0) + 1
    said = ", ".join(plural(n, kind) for kind, n in used.items())
    rows.append(("Measured on", said or "nothing: no hold, pull, stop or coast could be used"))
    by_hand = by_hand_counted(results.by_hand)
    if by_hand:
        rows.append(("By hand", f"{by_hand}; what and why is in the small print"))
    return rows


def _in_short(results: Results) -> str:
    count = Counter(finding.verdict for finding in results.findings)
    said = [f"{count[verdict]} {_COUNTED[verdict]}" for verdict in VERDICT_WORD if count[verdict]]
    return (
        f"{plural(len(results.findings), 'finding')}: {', '.join(said)}. "
        "The interval beside a figure holds the truth 95 times in 100; a figure passes or fails "
        "only where its whole interval lies on one side of the limit. Not proven: this drive does "
        "not show it either way, or nobody looked."
    )


def _row(finding: Finding, units: ReadIn) -> FindingRow:
    percent = finding.id in PERCENT_FINDINGS
    allowed = limit_text(finding.limit, units, percent=percent)
    figure = found_text(finding, units)
    return FindingRow(
        verdict=finding.verdict,
        mark=VERDICT_MARK[finding.verdict],
        word=VERDICT_WORD[finding.verdict],
        title=finding.title,
        plain=plain_sentence(finding),
        figure=figure if finding.measured or allowed else "",
        allowed=allowed,
        reason="" if finding.verdict == "pass" else finding.reason,
    )
