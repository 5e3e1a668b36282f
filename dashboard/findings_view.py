"""The findings of a drive, on the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final

from dash import html

from dashboard.aria import aria
from dashboard.evidence_view import lead
from dashboard.quality_view import to_step
from dashboard.work import Work
from roadtest.charts.all_charts import chart_for
from roadtest.charts.model import Chart
from roadtest.findings.steps import step_that_settles
from roadtest.results import Finding, Results
from roadtest.wording import (
    VERDICT_MARK,
    VERDICT_WORD,
    found_against_limit,
    probability_text,
)

_BRAKES: Final = frozenset({"mfdd", "stopping_distance", "drift", "fade", "spread"})
"""Findings that stand first among those of one verdict: what can hurt most. Our choice."""


def findings_view(work: Work) -> list[Any]:
    """Return the findings, those that matter most first, and what to do next."""
    results = work.checked.results
    counts = Counter(finding.verdict for finding in results.findings)
    said = ", ".join(f"{counts[v]} {word.lower()}" for v, word in VERDICT_WORD.items())
    verdicts = list(VERDICT_WORD)
    ordered = sorted(
        results.findings, key=lambda f: (verdicts.index(f.verdict), f.id not in _BRAKES)
    )
    shown: list[Any] = [html.P(said, className="count")]
    shown += [_finding(finding, work.charts, results) for finding in ordered]
    if results.next_steps:
        numbered = enumerate(results.next_steps, 1)
        steps = html.Ol([html.Li(step, id=f"step-{number}") for number, step in numbered])
        shown.append(html.Div([html.H3("What to do next"), steps], className="card"))
    if results.cautions:
        mind = html.Ul([html.Li(caution) for caution in results.cautions])
        shown.append(html.Div([html.H3("Before driving hard"), mind], className="card"))
    return shown


def _finding(finding: Finding, charts: Sequence[Chart], results: Results) -> Any:
    kind = finding.verdict.replace(" ", "-")
    mark = html.Span(VERDICT_MARK[finding.verdict], className="mark", **aria(hidden="true"))
    verdict = html.Span([mark, " ", VERDICT_WORD[finding.verdict]], className="verdict")
    figure = found_against_limit(finding, results.units)
    if finding.probability is not None and finding.verdict == "not proven":
        figure += f"; probability of conforming {probability_text(finding.probability)}"
    body: list[Any] = [html.P(figure, className="figure")] if figure else []
    body += [html.P(line) for line in (finding.reason, _to_settle(finding, results)) if line]
    chart = chart_for(finding.id, charts)
    if chart is not None:
        body.append(html.P(list(_leads(finding, chart)), className="leads"))
    small = [finding.basis] if finding.basis else []
    small += [f"Not shown by a drive: {what}" for what in finding.not_shown]
    if small:
        rest = [html.P(line) for line in small]
        body.append(html.Details([html.Summary("Where the limit comes from"), *rest]))
    title = html.H3([verdict, " ", html.Span(finding.title)])
    return html.Article([title, *body], className=f"finding {kind}")


def _to_settle(finding: Finding, results: Results) -> Any:
    """Return the step that would settle a finding; in words where no step says it."""
    number = step_that_settles(finding, results.findings, results.next_steps)
    if number is not None:
        return ["To settle: ", to_step(number)]
    return f"To settle: {finding.to_settle}" if finding.to_settle else ""


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
