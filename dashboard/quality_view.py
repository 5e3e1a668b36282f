"""Whether a drive was good enough, on the page."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from roadtest.console import log_losses, log_quality
from roadtest.results import Finding, LogInfo, ReadIn, Results
from roadtest.wording import plural, quantity_text

_MOST_LINES: Final = 6  # of losses and gaps told at once; the rest opens


def quality_view(results: Results) -> list[Any]:
    """Return how good the logs were, and which targets the drive could settle."""
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
