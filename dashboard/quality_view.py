"""Whether a drive was good enough, on the page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from dash import html

from dashboard.aria import data
from roadtest.findings.steps import step_that_settles, work_together
from roadtest.log_lines import log_losses, rate_text
from roadtest.results import Finding, LogInfo, ReadIn, Results
from roadtest.wording import plural, quantity_text, short_title, used_of

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
    """Return for how many targets it was, and which steps would settle the others."""
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
        parts += [html.H3("Not settled"), html.Ul(list(_not_settled(results, open_)))]
    if settled:
        names = "; ".join(f"{finding.title} ({finding.verdict})" for finding in settled)
        parts += [html.H3("Settled"), html.P(names)]
    return parts


def _not_settled(results: Results, open_: Sequence[Finding]) -> Iterator[Any]:
    """Yield a line for each step to do next that would settle something, and what none would."""
    by_step: dict[int, list[str]] = {}
    for finding in open_:
        number = step_that_settles(finding, results.findings, results.next_steps)
        if number is None:
            more = finding.to_settle or finding.reason
            yield html.Li([html.Strong(finding.title), f": {more}" if more else ""])
        else:
            by_step.setdefault(number, []).append(short_title(finding.title))
    for number in sorted(by_step):
        names = "; ".join(work_together(by_step[number]))
        yield html.Li([html.Strong(names[:1].upper() + names[1:]), ": ", to_step(number)])


def to_step(number: int) -> Any:
    """Return a link to a step of what to do next, which the page has once."""
    return html.A(f"step {number} of what to do next", href=f"#step-{number}")


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
