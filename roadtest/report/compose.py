"""What stands in a report, from results: page one, the evidence, the small print, the card."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.charts.model import Chart
from roadtest.charts.svg import draw_svg
from roadtest.figures import put_figures
from roadtest.report.card import glove_box_card
from roadtest.report.model import (
    Block,
    Bullets,
    Document,
    Facts,
    FindingCard,
    Heading,
    Logo,
    Paragraph,
    Picture,
    Signature,
)
from roadtest.report.sheet import BlockSheet
from roadtest.report.small_print import small_print
from roadtest.results import Finding, ReadIn, Results, to_json
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    against_limit,
    duration_text,
    plural,
    quantity_text,
)

CAUTIONS: Final = (
    "This report is evidence of one drive on one day, not an official test. Licence, insurance, "
    "registration and any approval that the law asks for are the owner's to see to.",
    "A finding holds for the car as it was driven: its tyres and their pressures, its load, its "
    "instruments. Change any of them, and measure again.",
    "Local law and the judgement of a licensed engineer or tester come before anything said here.",
    "Check the wheel fixings, fluid levels and brakes again after the first miles.",
)
"""Common practice, no published source."""

_SECTION_OF_CHART: Final = {
    "speedometer": "Speedometer",
    "gearing": "Gearing",
    "braking": "Stops",
    "coasting": "Coasting",
    "pulls": "Pulls",
    "channels": "Channels",
}


def compose(
    results: Results,
    sheet: BuildSheet,
    charts: Sequence[Chart],
    units: ReadIn,
    logo: Logo | None = None,
) -> Document:
    """Return the report of `results`, speeds and distances in `units`."""
    text = to_json(results)
    digest = results_hash(text)
    car = (
        f"{results.car.label} ({results.car.chassis})" if results.car.chassis else results.car.label
    )
    shop = sheet.shop.name or ""
    blocks = [
        *_page_one(results, sheet, units),
        *_evidence(results, charts, units),
        *glove_box_card(results, units),
        *small_print(results, sheet, units, digest),
    ]
    return Document(
        title=f"Road test: {car}",
        head=f"{car}, driven {_day_text(results)}",
        date=_day(results),
        shop=shop,
        blocks=tuple(blocks),
        results_json=text,
        results_hash=digest,
        logo=logo,
    )


def results_hash(text: str) -> str:
    """Return the SHA-256 of a results file's text, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def _day(results: Results) -> tuple[int, int, int]:
    start = results.drive.start_utc
    if start is None:
        return (1970, 1, 1)
    day = datetime.fromisoformat(start)
    return (day.year, day.month, day.day)


def _day_text(results: Results) -> str:
    year, month, day = _day(results)
    return f"{year:04d}-{month:02d}-{day:02d}"


def _page_one(results: Results, sheet: BuildSheet, units: ReadIn) -> list[Block]:
    blocks: list[Block] = [Facts(tuple(_what_was_tested(results, sheet, units)))]
    if results.findings:
        blocks.append(Paragraph(_in_short(results)))
        blocks.append(Heading("Findings", level=2))
        ordered = [f for verdict in VERDICT_WORD for f in results.findings if f.verdict == verdict]
        blocks += [_card(finding, units) for finding in ordered]
    else:
        blocks.append(Paragraph("No targets were set, so nothing was judged. The figures follow."))
    if results.next_steps:
        blocks.append(Heading("What to do next", level=2))
        blocks.append(Bullets(results.next_steps, numbered=True))
    blocks.append(Heading("To bear in mind", level=2))
    blocks.append(Bullets(CAUTIONS))
    blocks.append(Signature(sheet.shop.name or "", sheet.shop.signature or "Name and signature"))
    return blocks


def _what_was_tested(results: Results, sheet: BuildSheet, units: ReadIn) -> list[tuple[str, str]]:
    drive = results.drive
    rows = [("Car", results.car.label)]
    if results.car.chassis:
        rows.append(("Chassis", results.car.chassis))
    if sheet.work.done or sheet.work.unknown_work:
        rows.append(("Work done", ", ".join((*sheet.work.done, *sheet.work.unknown_work))))
    driven = [_day_text(results)]
    if drive.duration_s is not None:
        driven.append(duration_text(drive.duration_s))
    if drive.distance is not None:
        driven.append(quantity_text(drive.distance, units))
    if drive.top_speed is not None:
        driven.append(f"top speed {quantity_text(drive.top_speed, units)}")
    rows.append(("Drive", ", ".join(driven)))
    used: dict[str, int] = {}
    for made in results.manoeuvres:
        if made.used:
            used[made.kind] = used.get(made.kind, 0) + 1
    if used:
        rows.append(("Measured on", ", ".join(plural(n, kind) for kind, n in used.items())))
    return rows


def _in_short(results: Results) -> str:
    count = dict.fromkeys(VERDICT_WORD, 0)
    for finding in results.findings:
        count[finding.verdict] += 1
    said = [
        f"{count['pass']} passed",
        f"{count['fail']} failed",
        f"{count['not proven']} could not be proven either way",
    ]
    total = plural(len(results.findings), "finding")
    return (
        f"{total}: {said[0]}, {said[1]}, {said[2]}. Each figure is given with the interval that "
        "holds the truth 95 times in 100; a finding passes or fails only when the whole interval "
        "lies on one side of its limit."
    )


def _card(finding: Finding, units: ReadIn) -> FindingCard:
    percent = finding.id in PERCENT_FINDINGS
    sentences = []  # what passed is said by its figure and limit; the rest needs its reason
    if finding.verdict != "pass":
        sentences.append(finding.reason)
    if finding.verdict == "not proven" and finding.to_settle:
        sentences.append(f"To settle: {finding.to_settle}")
    return FindingCard(
        verdict=finding.verdict,
        mark=VERDICT_MARK[finding.verdict],
        word=VERDICT_WORD[finding.verdict],
        title=finding.title,
        figure=against_limit(finding.measured, finding.limit, units, percent=percent),
        sentence=" ".join(part for part in sentences if part),
    )


def _evidence(results: Results, charts: Sequence[Chart], units: ReadIn) -> list[Block]:
    """Return the figures of every section measured, each with its charts."""
    sheet = BlockSheet()
    put_figures(sheet, results, units)
    blocks: list[Block] = []
    overall = [_picture(c) for c in charts if c.subject not in _SECTION_OF_CHART]
    if sheet.sections or overall:
        blocks.append(Heading("Evidence", new_page=True))
    blocks += overall
    for title, section in sheet.sections:
        blocks += section
        blocks += [_picture(c) for c in charts if _SECTION_OF_CHART.get(c.subject) == title]
    return blocks


def _picture(chart: Chart) -> Picture:
    width = 0.55 if chart.x.equal else 0.85  # a plan of the path is as high as it is wide
    return Picture(draw_svg(chart), chart.says, chart.title, chart.notes, width)
