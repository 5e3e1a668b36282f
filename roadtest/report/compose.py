"""What stands in a report, from results: page one, why, the evidence, the small print, the card."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.model import NO_NAME
from roadtest.charts.frames import LETTERS_PT
from roadtest.charts.lettering import fitted
from roadtest.charts.model import Chart
from roadtest.charts.svg import A4_WIDTH_PT, draw_svg
from roadtest.figures import put_figures
from roadtest.findings.steps import step_that_settles
from roadtest.report.card import glove_box_card
from roadtest.report.first_page import day_of, day_text, first_page, ordered
from roadtest.report.model import (
    Block,
    Bullets,
    Document,
    Facts,
    Heading,
    Logo,
    Picture,
)
from roadtest.report.sheet import BlockSheet
from roadtest.report.small_print import small_print
from roadtest.results import Finding, ReadIn, Results, to_json
from roadtest.wording import (
    VERDICT_WORD,
    probability_text,
)

_SUBJECT_OF_SECTION: Final = {
    "Speedometer": "speedometer",
    "Odometer": "odometer",
    "Gearing": "gearing",
    "Braking": "braking",
    "Coasting": "coasting",
    "Pulls": "pulls",
    "Channels": "channels",
}
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
    named = label != NO_NAME
    return Document(
        title=f"Road test: {label}" if named else "Road test",
        head=f"{_head(results) if named else 'Road test'}, driven {day_text(results)}",
        date=day_of(results),
        shop=sheet.shop.name or "",
        first=tuple(first_page(results, sheet, units)),
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


def _in_full(results: Results) -> list[Block]:
    """Return what to do next, and what page one doesn't say of each verdict."""
    blocks: list[Block] = []
    if results.next_steps:
        blocks += [Heading("What to do next"), Bullets(results.next_steps, numbered=True)]
    if results.cautions:
        blocks += [Heading("Before driving hard"), Bullets(results.cautions)]
    judged = [finding for finding in ordered(results) if finding.id != "inspection"]
    rows = tuple((finding.title, _why(finding, results)) for finding in judged)
    if rows:
        blocks += [Heading("More on each verdict"), Facts(rows, small=True, run_in=True)]
    return blocks


def _why(finding: Finding, results: Results) -> str:
    said = [f"{VERDICT_WORD[finding.verdict]}."]
    if finding.probability is not None:
        said.append(f"Probability of conforming: {probability_text(finding.probability)}.")
    if finding.verdict == "pass":  # page one says why of the others
        said.append(finding.reason)
    number = step_that_settles(finding, results.findings, results.next_steps)
    if number is not None:
        said.append(f"To settle: step {number} of what to do next.")
    elif finding.to_settle:
        said.append(f"To settle: {finding.to_settle}")
    return " ".join(part for part in said if part)


def _evidence(results: Results, charts: Sequence[Chart], units: ReadIn) -> list[Block]:
    """Return the figures of every section measured, each with its charts."""
    sheet = BlockSheet()
    put_figures(sheet, results, units)
    overall = _pictures(charts, "drive")
    told = sheet.sections
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
