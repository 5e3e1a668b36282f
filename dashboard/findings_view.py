"""The findings of a drive, on the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from dash import html

from dashboard.aria import aria
from dashboard.evidence_view import lead
from dashboard.work import Work
from roadtest.charts.all_charts import chart_for
from roadtest.charts.model import Chart
from roadtest.results import Finding, ReadIn
from roadtest.wording import (
    PERCENT_FINDINGS,
    VERDICT_MARK,
    VERDICT_WORD,
    against_limit,
    probability_text,
)


def findings_view(work: Work) -> list[Any]:
    """Return the findings, those that matter most first, and what to do next."""
    results = work.checked.results
    counts = Counter(finding.verdict for finding in results.findings)
    said = ", ".join(f"{counts[v]} {word.lower()}" for v, word in VERDICT_WORD.items())
    ordered = [f for v in VERDICT_WORD for f in results.findings if f.verdict == v]
    shown: list[Any] = [html.P(said, className="count")]
    shown += [_finding(finding, work.charts, results.units) for finding in ordered]
    if results.next_steps:
        steps = html.Ol([html.Li(step) for step in results.next_steps])
        shown.append(html.Div([html.H3("What to do next"), steps], className="card"))
    return shown


def _finding(finding: Finding, charts: Sequence[Chart], units: ReadIn) -> Any:
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
        body.append(html.P(list(_leads(finding, chart)), className="leads"))
    title = html.H3([verdict, " ", html.Span(finding.title)])
    return html.Article([title, *body], className=f"finding {kind}")


def _leads(finding: Finding, chart: Chart) -> Iterator[Any]:
    """Yield the buttons that lead to a finding's chart, and to what decided it there."""
    yield lead(
        f"Show: {chart.title}", chart, says=f"Show the chart {chart.title} for {finding.title}"
    )
    for item in finding.items:
        made = item.manoeuvre
        if made in chart.manoeuvres and item.verdict != "pass":
            yield " "
            yield lead(f"{made} {VERDICT_WORD[item.verdict].lower()}", chart, str(made))
