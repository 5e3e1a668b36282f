"""A checked drive on the page: how good it was, its findings, its readings, its charts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.aria import aria
from dashboard.edit_view import readings_view
from dashboard.ids import Ids
from dashboard.plotly_drawer import Figure, draw_plotly
from dashboard.work import Work
from roadtest.charts.all_charts import chart_for
from roadtest.charts.focus import focused, window
from roadtest.charts.model import Chart
from roadtest.charts.palette import DARK, LIGHT
from roadtest.charts.svg import draw_svg
from roadtest.console import log_losses, log_quality
from roadtest.results import Finding, LogInfo, ReadIn, Results
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    against_limit,
    duration_text,
    plural,
    probability_text,
    quantity_text,
)

_SUBJECTS: Final = {
    "drive": "Whole drive",
    "speedometer": "Speedometer",
    "gearing": "Gearing",
    "braking": "Braking",
    "coasting": "Coasting",
    "pulls": "Pulls",
    "channels": "Channels",
    "log": "Log",
}
_MOST_LINES: Final = 6  # of losses and gaps told at once; the rest opens


def drive_body(work: Work) -> Any:
    """Return everything of a drive but the charts at hand."""
    results = work.checked.results
    return [
        html.Div(_head(work, results), className="head"),
        html.Section(
            _quality(results), id="quality", className="card", **aria(labelledby="q-title")
        ),
        html.Section(
            [
                html.H2("Findings", id="f-title"),
                html.Div(findings_view(work), id=Ids.FINDINGS, **aria(live="polite")),
            ],
            **aria(labelledby="f-title"),
        ),
        html.Section(readings_view(work), id="readings", className="card"),
        html.Section(
            [
                html.H2("Evidence", id="evidence-title"),
                html.P(
                    "Drag across a chart to look closer, double-click for the whole. ",
                    className="small",
                ),
                html.A("Back to the findings", href="#f-title"),
                html.Nav(id=Ids.VIEWS, className="views", **aria(label="Evidence")),
                html.Div(id=Ids.EVIDENCE),
            ]
        ),
    ]


def _head(work: Work, results: Results) -> list[Any]:
    car, drive = results.car, results.drive
    label = f"{car.label} ({car.chassis})" if car.chassis else car.label
    said = [
        work.name,
        drive.start_utc and f"started {drive.start_utc}",
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
        )
    ]
    return [
        html.H2(label),
        html.P(", ".join(part for part in said if part)),
        html.P(links, className="downloads"),
    ]


def _quality(results: Results) -> list[Any]:
    settled = [finding for finding in results.findings if finding.verdict != "not proven"]
    open_ = [finding for finding in results.findings if finding.verdict == "not proven"]
    said = f"{len(settled)} of {plural(len(results.findings), 'target')} settled by this drive."
    if not results.findings:
        said = "No targets are set in the build sheet, so nothing is judged."
    rows: list[Any] = [html.H2("Is this drive good enough?", id="q-title"), html.P(said)]
    rows += [_log(log, results.units) for log in results.logs]
    if results.tach.offset_s is not None:
        said = quantity_text(results.tach.offset_s, results.units, signed=True)
        rows.append(html.P(f"Tach clock: {said} makes it GPS time."))
    ignored = [file for file in results.files if file.kind == "ignored"]
    for file in ignored:
        why = f"not used: {file.why_ignored or 'no reason given'}"
        rows.append(html.Div([html.H3(file.name), html.P(why)], className="log warn"))
    if open_:
        rows.append(html.H3("Not settled by it"))
        rows.append(html.Ul([html.Li(_open_said(finding)) for finding in open_]))
    return rows


def _open_said(finding: Finding) -> str:
    more = finding.to_settle or finding.reason
    return f"{finding.title}: {more}" if more else finding.title


def _log(log: LogInfo, units: ReadIn) -> Any:
    lines = log_losses(log)
    told: list[Any] = [html.H3(log.name), html.P(log_quality(log, units))]
    if lines:
        told.append(html.Ul([html.Li(line) for line in lines[:_MOST_LINES]]))
    if len(lines) > _MOST_LINES:
        rest = html.Ul([html.Li(line) for line in lines[_MOST_LINES:]])
        told.append(html.Details([html.Summary(f"{len(lines) - _MOST_LINES} more"), rest]))
    return html.Div(told, className="log")


def findings_view(work: Work) -> list[Any]:
    """Return the findings, those that matter most first, and what to do next."""
    results = work.checked.results
    counts = Counter(finding.verdict for finding in results.findings)
    said = ", ".join(f"{counts[v]} {word.lower()}" for v, word in VERDICT_WORD.items())
    ordered = [f for v in VERDICT_WORD for f in results.findings if f.verdict == v]
    shown: list[Any] = [html.P(said, className="count")]
    shown += [_finding(finding, work.charts, results.units, k) for k, finding in enumerate(ordered)]
    if results.next_steps:
        steps = html.Ol([html.Li(step) for step in results.next_steps])
        shown.append(html.Div([html.H3("What to do next"), steps], className="card"))
    return shown


def _finding(finding: Finding, charts: Sequence[Chart], units: ReadIn, row: int) -> Any:
    kind = finding.verdict.replace(" ", "-")
    mark = html.Span(VERDICT_MARK[finding.verdict], className="mark", **aria(hidden="true"))
    verdict = html.Span([mark, " ", VERDICT_WORD[finding.verdict]], className="verdict")
    percent = finding.id in PERCENT_FINDINGS
    lines = [against_limit(finding.measured, finding.limit, units, percent=percent)]
    if finding.probability is not None and finding.verdict == "not proven":
        lines.append(f"Probability of conforming: {probability_text(finding.probability)}")
    lines += [finding.reason, f"To settle: {finding.to_settle}" if finding.to_settle else ""]
    body: list[Any] = [html.P(line) for line in lines if line]
    small = [finding.basis and f"Basis: {finding.basis}"]
    small += [f"Not shown by a drive: {what}" for what in finding.not_shown]
    body += [html.P(line, className="small") for line in small if line]
    chart = chart_for(finding.id, charts)
    if chart is not None:
        body.append(html.P(list(_leads(finding, chart, row)), className="leads"))
    title = html.H3([verdict, " ", html.Span(finding.title)])
    return html.Article([title, *body], className=f"finding {kind}")


def _leads(finding: Finding, chart: Chart, row: int) -> Iterator[Any]:
    """Yield the buttons that lead to a finding's chart, and to what decided it there."""
    yield html.Button(
        f"Show: {chart.title}",
        id=Ids.show(chart.id, f"{row}"),
        n_clicks=0,
        **aria(label=f"Show the chart {chart.title} for {finding.title}"),
    )
    for item in finding.items:
        made = item.manoeuvre
        if made in chart.manoeuvres and item.verdict != "pass":
            yield " "
            yield html.Button(
                f"{made} {VERDICT_WORD[item.verdict].lower()}",
                id=Ids.show(chart.id, f"{row} {made}"),
                n_clicks=0,
            )


def subjects(charts: Sequence[Chart]) -> list[str]:
    """Return the subjects that there are charts of, in order."""
    return list(dict.fromkeys(chart.subject for chart in charts))


def view_buttons(charts: Sequence[Chart], at_hand: str) -> list[Any]:
    """Return a button for each evidence view."""
    return [
        html.Button(
            _SUBJECTS.get(name, name.capitalize()),
            id=Ids.subject(name),
            n_clicks=0,
            **aria(pressed="true" if name == at_hand else "false"),
        )
        for name in subjects(charts)
    ]


@dataclass(frozen=True)
class Screen:
    """What the browser says of its screen."""

    dark: bool = False
    touch: bool = False

    @classmethod
    def told(cls, said: object) -> Screen:
        """Return the screen that the browser tells of, a usual one where it doesn't."""
        known = said if isinstance(said, dict) else {}
        return cls(known.get("dark") is True, known.get("touch") is True)

    def figure(self, chart: Chart, between: tuple[float, float] | None = None) -> Figure:
        """Return the figure of a chart for it."""
        return draw_plotly(chart, DARK if self.dark else LIGHT, between, still=self.touch)

    def config(self, chart: Chart) -> Any:
        """Return how a figure answers to mouse and finger."""
        return {
            "displaylogo": False,
            "displayModeBar": False if self.touch else "hover",
            "modeBarButtonsToRemove": ["select2d", "lasso2d", "autoScale2d"],
            # A chart over time is drawn anew, by the server, when the whole is asked for.
            "doubleClick": "autosize" if chart.x.scale == "clock" else "reset",
        }


def evidence_view(work: Work, subject: str, manoeuvre: str | None, screen: Screen) -> list[Any]:
    """Return the charts of one subject, `manoeuvre` brought out where it is shown."""
    shown = []
    for chart in work.charts:
        if chart.subject == subject:
            brought_out = focused(chart, manoeuvre) if manoeuvre else chart
            shown.append(_chart(brought_out, screen, _near(chart, manoeuvre)))
    return shown


def _near(chart: Chart, manoeuvre: str | None) -> tuple[float, float] | None:
    """Return the stretch of a chart over time to show, so that a manoeuvre is seen well."""
    return window(chart, manoeuvre) if manoeuvre and chart.x.scale == "clock" else None


def _chart(chart: Chart, screen: Screen, between: tuple[float, float] | None) -> Any:
    figure = screen.figure(chart, between)
    paper = "data:image/svg+xml," + quote(draw_svg(chart))
    return html.Figure(
        [
            html.H3(chart.title, id=f"title-{chart.id}"),
            html.Figcaption(chart.says),
            html.Div(
                dcc.Graph(
                    id=Ids.graph(chart.id),
                    figure=figure,
                    responsive=True,
                    config=screen.config(chart),
                    style={"height": "100%"},
                ),
                className="graph",
                role="img",
                style={"aspectRatio": f"1 / {chart.height:.3f}"},
                **aria(label=f"{chart.title}. {chart.says}"),
            ),
            html.Img(src=paper, alt=chart.says, className="paper"),
            *[html.P(note, className="small") for note in chart.notes],
        ],
        id=f"chart-{chart.id}",
        tabIndex=-1,
    )
