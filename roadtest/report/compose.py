"""What stands in a report, from results: page one, the evidence, the small print, the card."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.model import NO_LABEL
from roadtest.charts.frames import LETTERS_PT
from roadtest.charts.lettering import fitted
from roadtest.charts.model import Chart
from roadtest.charts.svg import A4_WIDTH_PT, draw_svg
from roadtest.figures import put_figures
from roadtest.report.card import glove_box_card
from roadtest.report.model import (
    Block,
    Bullets,
    Document,
    Facts,
    FindingRow,
    FindingTable,
    Heading,
    Logo,
    Paragraph,
    Picture,
    Signature,
)
from roadtest.report.plain import plain_sentence
from roadtest.report.sheet import BlockSheet
from roadtest.report.small_print import small_print
from roadtest.results import Finding, ReadIn, Results, Verdict, to_json
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    by_hand_counted,
    duration_text,
    limit_text,
    plural,
    probability_text,
    quantity_text,
)

CAUTIONS: Final = (
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
_SUBJECT_OF_SECTION: Final = {
    "Speedometer": "speedometer",
    "Odometer": "odometer",
    "Gearing": "gearing",
    "Stops": "braking",
    "Coasting": "coasting",
    "Pulls": "pulls",
    "Channels": "channels",
}
_TOLD_BEFORE: Final = "Inspections"  # on page one
_PATH_WIDTH: Final = 0.5  # of the text's width: a plan of the path is as high as it is wide
_UPRIGHT: Final = 0.7  # height over width, from which a path is one
_CHART_WIDTH: Final = 0.9
_FLATTER: Final = 0.82  # than on a screen, so that a page holds three


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
    label = results.car.label
    named = label != NO_LABEL
    return Document(
        title=f"Road test: {label}" if named else "Road test",
        head=f"{_head(results) if named else 'Road test'}, driven {_day_text(results)}",
        date=_day(results),
        shop=sheet.shop.name or "",
        first=tuple(_page_one(results, sheet, units)),
        blocks=(
            *_in_full(results),
            *_evidence(results, charts, units),
            *small_print(results, sheet, units, digest, _pictures(charts, "log")),
            *glove_box_card(results, units),
        ),
        results_json=text,
        results_hash=digest,
        logo=logo,
    )


def _head(results: Results) -> str:
    """Return the car's name and chassis on one line; page one has the whole of them."""
    car, line = results.car, A4_WIDTH_PT - 120.0
    name = fitted(car.label, LETTERS_PT, 0.7 * line)
    return f"{name} ({fitted(car.chassis, LETTERS_PT, 0.3 * line)})" if car.chassis else name


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
    if results.drive.start_utc is None:
        return "on a day not known"
    return "{:04d}-{:02d}-{:02d}".format(*_day(results))


def _page_one(results: Results, sheet: BuildSheet, units: ReadIn) -> list[Block]:
    blocks: list[Block] = [Facts(tuple(_what_was_tested(results, sheet, units)))]
    blocks.append(Heading("Findings", level=2))
    if results.findings:
        blocks.append(Paragraph(_in_short(results)))
        rows = tuple(_row(finding, units) for finding in _ordered(results))
        blocks.append(FindingTable(_HEADS, rows))
    else:
        blocks.append(Paragraph("No targets were set, so nothing was judged. The figures follow."))
    blocks.append(Heading("To bear in mind", level=2))
    blocks.append(Bullets(CAUTIONS))
    blocks.append(Signature(sheet.shop.name or "", sheet.shop.signature or "Name and signature"))
    return blocks


def _ordered(results: Results) -> list[Finding]:
    """Return the findings, those that matter most first."""
    return [f for verdict in VERDICT_WORD for f in results.findings if f.verdict == verdict]


def _what_was_tested(results: Results, sheet: BuildSheet, units: ReadIn) -> list[tuple[str, str]]:
    drive = results.drive
    rows = []
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
        "only where its whole interval lies on one side of the limit."
    )


def _row(finding: Finding, units: ReadIn) -> FindingRow:
    percent = finding.id in PERCENT_FINDINGS
    allowed = limit_text(finding.limit, units, percent=percent)
    figure = quantity_text(finding.measured, units, percent=percent)
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


def _in_full(results: Results) -> list[Block]:
    """Return what to do next, and why each figure is judged as it is; page one says the rest."""
    blocks: list[Block] = []
    if results.next_steps:
        blocks += [Heading("What to do next"), Bullets(results.next_steps, numbered=True)]
    judged = [finding for finding in _ordered(results) if finding.id != "inspection"]
    rows = tuple((finding.title, _why(finding)) for finding in judged)
    if rows:
        blocks += [Heading("Why each verdict"), Facts(rows, small=True, run_in=True)]
    return blocks


def _why(finding: Finding) -> str:
    said = [f"{VERDICT_WORD[finding.verdict]}."]
    if finding.probability is not None:
        said.append(f"Probability of conforming: {probability_text(finding.probability)}.")
    said.append(finding.reason)
    if finding.to_settle:
        said.append(f"To settle: {finding.to_settle}")
    return " ".join(part for part in said if part)


def _evidence(results: Results, charts: Sequence[Chart], units: ReadIn) -> list[Block]:
    """Return the figures of every section measured, each with its charts."""
    sheet = BlockSheet()
    put_figures(sheet, results, units)
    overall = _pictures(charts, "drive")
    told = [(title, section) for title, section in sheet.sections if title != _TOLD_BEFORE]
    if not told and not overall:
        return []
    blocks: list[Block] = [Heading("Evidence"), *overall]
    for title, section in told:
        pictures = _pictures(charts, _SUBJECT_OF_SECTION.get(title))
        if len(section) > 1 or pictures:  # more than its heading
            blocks += [*section, *pictures]
    shown = {"drive", "log", *(_SUBJECT_OF_SECTION.get(title) for title, _ in told)}
    return [*blocks, *(_picture(chart) for chart in charts if chart.subject not in shown)]


def _pictures(charts: Sequence[Chart], subject: str | None) -> list[Picture]:
    return [_picture(chart) for chart in charts if chart.subject == subject]


def _picture(chart: Chart) -> Picture:
    upright = chart.x.equal and chart.height > _UPRIGHT
    share = _PATH_WIDTH if upright else _CHART_WIDTH
    width = share * A4_WIDTH_PT
    height = width * chart.height * (1.0 if chart.x.equal or len(chart.panels) > 1 else _FLATTER)
    svg = draw_svg(chart, (width, height))
    return Picture(svg, chart.says, chart.title, chart.notes, share)
