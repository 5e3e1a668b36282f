"""Whether a drive was good enough, on the page."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.aria import data
from roadtest.log_lines import log_losses, rate_text
from roadtest.results import Finding, LogInfo, ReadIn, Results
from roadtest.wording import plural, quantity_text, used_of

_MOST_LINES: Final = 4  # of losses and gaps told at once; the rest opens
_HEADS: Final = ("File", "Rate", "Speed noise", "Used", "Lost, gaps, remarks")


def quality_view(results: Results) -> list[Any]:
    """Return how good the logs were, and which targets the drive could settle."""
    return [
        html.H2("Is this drive good enough?", id="q-title"),
        *_verdict(results),
        *_logs(results),
    ]


def _verdict(results: Results) -> list[Any]:
    """Return for how many targets it was, and what would settle the others."""
    open_ = [finding for finding in results.findings if finding.verdict == "not proven"]
    settled = [finding for finding in results.findings if finding.verdict != "not proven"]
    if not results.findings:
        said = "No targets are set in the build sheet, so nothing is judged. The figures are below."
        return [html.P(said, className="headline")]
    count = plural(len(results.findings), "target")
    if not open_:
        said = f"Yes: it settles all of {count}."
    elif settled:
        said = f"For {len(settled)} of {count}; the other {len(open_)} it can't settle."
    else:
        said = f"No: it settles none of {count}."
    parts: list[Any] = [html.P(said, className="headline")]
    if open_:
        items = [html.Li(_open_said(finding)) for finding in open_]
        parts += [html.H3("Not settled, and what would settle it"), html.Ul(items)]
    if settled:
        names = "; ".join(f"{finding.title} ({finding.verdict})" for finding in settled)
        parts += [html.H3("Settled"), html.P(names)]
    return parts


def _open_said(finding: Finding) -> list[Any]:
    more = finding.to_settle or finding.reason
    return [html.Strong(finding.title), f": {more}" if more else ""]


def _logs(results: Results) -> list[Any]:
    """Return a row for each log, the tach's clock, and the files that were not used."""
    rows = [_log(log, results.units) for log in results.logs]
    for file in results.files:
        if file.kind == "ignored":
            why = f"not used: {file.why_ignored or 'no reason given'}"
            name = html.Th(["⚠ ", file.name], scope="row")
            rows.append(html.Tr([name, html.Td(why, colSpan=4)], className="warn"))
    head = html.Tr([html.Th(text, scope="col") for text in _HEADS])
    parts: list[Any] = [
        html.H3("The files"),
        html.Table([html.Thead(head), html.Tbody(rows)], className="stacked"),
    ]
    if results.tach.offset_s is not None:
        said = quantity_text(results.tach.offset_s, results.units, signed=True)
        parts.append(html.P(f"Tach clock: {said} makes it GPS time."))
    return parts


def _log(log: LogInfo, units: ReadIn) -> Any:
    rate = rate_text(log)
    noise = "" if log.speed_noise is None else quantity_text(log.speed_noise, units)
    if log.speed_source == "position":
        noise += " (speed from positions only)"
    used = used_of(log)
    cells = zip(_HEADS[1:], (rate, noise, used, _losses(log)), strict=True)
    tds = [html.Td(cell, **data(head=head)) for head, cell in cells]
    return html.Tr([html.Th(log.name, scope="row"), *tds])


def _losses(log: LogInfo) -> Any:
    lines = log_losses(log)
    if not lines:
        return "nothing lost" if not log.gaps else ""
    told: list[Any] = [html.Div(line) for line in lines[:_MOST_LINES]]
    if len(lines) > _MOST_LINES:
        rest = [html.Div(line) for line in lines[_MOST_LINES:]]
        told.append(html.Details([html.Summary(f"{len(lines) - _MOST_LINES} more"), *rest]))
    return told
