"""A checked drive on the page: how good it was, its findings, its readings, its charts."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import quote

from dash import html

from dashboard.aria import aria
from dashboard.edit_view import edits_section
from dashboard.evidence_view import evidence_places
from dashboard.findings_view import findings_view
from dashboard.ids import Ids
from dashboard.quality_view import quality_view
from dashboard.work import Work
from roadtest.results import Results
from roadtest.wording import duration_text, moment_text, quantity_text

_PLACES: Final = (
    ("Good enough?", "q-title"),
    ("Findings", "f-title"),
    ("Evidence", "evidence-title"),
    ("By hand", "edits-title"),
)


def drive_body(work: Work) -> Any:
    """Return everything of a drive but the charts at hand."""
    results = work.checked.results
    return [
        html.Div(_head(work, results), className="head"),
        html.Nav(
            [html.A(text, href=f"#{place}", className="button") for text, place in _PLACES],
            className="jump",
            **aria(label="On this page"),
        ),
        html.Section(
            quality_view(results), id=Ids.QUALITY, className="card", **aria(labelledby="q-title")
        ),
        html.Section(
            [
                html.H2("Findings", id="f-title"),
                html.Div(findings_view(work), id=Ids.FINDINGS, **aria(live="polite")),
            ],
            **aria(labelledby="f-title"),
        ),
        html.Section(
            [
                html.H2("Evidence", id="evidence-title"),
                html.P(
                    "Drag across a chart to look closer, double-click for the whole.",
                    className="small mouse",
                ),
                *evidence_places(work.charts),
            ],
            id="evidence-part",
            **aria(labelledby="evidence-title"),
        ),
        html.Section(
            edits_section(work), id="by-hand", className="card", **aria(labelledby="edits-title")
        ),
    ]


def _head(work: Work, results: Results) -> list[Any]:
    car, drive = results.car, results.drive
    label = f"{car.label} ({car.chassis})" if car.chassis else car.label
    said = [
        work.name,
        drive.start_utc and f"started {moment_text(drive.start_utc)}",
        drive.duration_s is not None and f"{duration_text(drive.duration_s)} long",
        drive.distance and quantity_text(drive.distance, results.units),
        drive.top_speed and f"top speed {quantity_text(drive.top_speed, results.units)}",
    ]
    links = [
        html.A(text, href=f"drive/{quote(work.id)}/{file}", className="button", download=file)
        for text, file in (
            ("Report (PDF)", "report.pdf"),
            ("Report (HTML)", "report.html"),
            ("Results (JSON)", "results.json"),
            *((("Build sheet (TOML)", "build.toml"),) if work.sheet_text else ()),
        )
    ]
    return [
        html.H2(label),
        html.P(", ".join(part for part in said if part)),
        html.P(links, className="downloads"),
        *(html.P(remark, className="small") for remark in work.remarks),
    ]
