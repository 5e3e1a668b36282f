"""Drives of the folder side by side: at work on the server, and on the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final
from urllib.parse import quote

from dash import html

from dashboard.apart import Runner, here
from dashboard.aria import aria, data
from dashboard.evidence_view import evidence_places
from dashboard.shelf import Entry, Shelf
from dashboard.work import Work, as_file
from roadtest.charts.model import Chart
from roadtest.compare import Comparison, compare
from roadtest.compare.as_text import to_json
from roadtest.compare.charts import comparison_charts
from roadtest.compare.document import comparison_document
from roadtest.compare.table import (
    HOW_TO_READ,
    NO_MARK,
    SectionTable,
    against_text,
    car_text,
    changes_text,
    drives_text,
    tables_of,
)
from roadtest.errors import InputError
from roadtest.progress import Progress
from roadtest.results import Results

_WORD: Final = {"*": "✱ changed", "~": "~ runs differ", "": ""}
_HOW: Final = (
    "✱ changed: the 95 % interval of the difference excludes 0. ~ runs differ: so does this, but "
    f"with one run on each drive. {NO_MARK}"
)


class Compared(Work):
    """Drives being compared: it is watched, shown and taken along as one drive is."""

    def __init__(self, names: Sequence[str]) -> None:
        super().__init__(", ".join(names))
        self._found: Comparison | None = None
        self._results: tuple[Results, ...] = ()
        self._drawn: tuple[Chart, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether there is something to show."""
        return bool(self.fault) or self._found is not None

    @property
    def charts(self) -> tuple[Chart, ...]:
        """The drives drawn over one another."""
        return self._drawn

    @property
    def found(self) -> Comparison:
        """The comparison. Only once it has ended without a fault."""
        if self._found is None:
            raise LookupError(self.fault or "not ended yet")
        return self._found

    def compare(self, shelf: Shelf, entries: Sequence[Entry], runner: Runner = here) -> None:
        """Compare drives of the shelf, the earliest being the one that others are held against.

        Raises as `run` does.
        """
        with self.ending():
            drives = []
            for number, entry in enumerate(entries):
                part = self._part(number, len(entries))
                drives.append((shelf.results(entry, part, runner), entry.name))
            drives.sort(key=lambda one: one[0].drive.start_utc or "")
            results = tuple(one for one, _ in drives)
            found = compare(results, [name for _, name in drives])
            self._results, self._drawn = results, comparison_charts(found, results)
            self.version += 1
            self._found = found

    def report(self, kind: str, runner: Runner = here) -> bytes:
        """Return the comparison as ".json", ".html" or ".pdf"."""
        if kind == ".json":
            return to_json(self.found).encode()
        document = comparison_document(self.found, self._results)
        return as_file(document, kind, runner)

    def _part(self, number: int, count: int) -> Progress:
        def progress(stage: str, done: float) -> None:
            self._progress(f"drive {number + 1} of {count}: {stage}", (number + done) / count)

        return progress


def chosen(shelf: Shelf, names: Sequence[str]) -> list[Entry]:
    """Return the drives of these names; raises InputError where one is not there any more."""
    found = []
    for name in names:
        entry = shelf.entry(name)
        if entry is None:
            raise InputError(name, "", "it is not there any more", "a drive of the list")
        found.append(entry)
    return found


def compared_body(work: Compared) -> list[Any]:
    """Return everything of a comparison but the charts at hand."""
    found = work.found
    files = (("PDF", "comparison.pdf"), ("HTML", "comparison.html"), ("JSON", "comparison.json"))
    links = [
        html.A(
            f"Comparison ({text})",
            href=f"drive/{quote(work.id)}/{file}",
            className="button",
            download=file,
        )
        for text, file in files
    ]
    parts: list[Any] = [
        html.H2(car_text(found)),
        html.Ul([html.Li([html.Strong(label), f": {said}"]) for label, said in drives_text(found)]),
        html.P(links, className="downloads"),
    ]
    if work.charts:
        places = html.Section(
            [html.H2("Side by side", id="evidence-title"), *evidence_places(work.charts)],
            **aria(labelledby="evidence-title"),
        )
        parts.append(places)
    for later in range(1, len(found.drives)):
        parts += _against(found, later)
    notes = [html.P(note, className="small") for note in (_HOW, *found.notes)]
    return [*parts, html.Section([html.H2(HOW_TO_READ), *notes], className="card")]


def _against(found: Comparison, later: int) -> list[Any]:
    said = changes_text(found, later, found.units)
    lines = [html.Li([html.Strong(label), f": {line}"]) for label, line in said]
    parts: list[Any] = [html.H2(against_text(later)), html.Ul(lines)]
    return [*parts, *[_table(table) for table in tables_of(found, later, found.units)]]


def _table(table: SectionTable) -> Any:
    """Return one section's figures; what changed stands last, in a word."""
    named = (*table.heads[1:], "change")
    heads = html.Tr([html.Th(text, scope="col") for text in named])
    rows = []
    for mark, name, *figures in table.rows:
        told = zip(named[1:], (*figures, _WORD[mark]), strict=True)
        cells = [html.Td(text, **data(head=head)) for head, text in told]
        look = "changed" if mark == "*" else ""
        rows.append(html.Tr([html.Th(name, scope="row"), *cells], className=look))
    body = html.Table([html.Thead(heads), html.Tbody(rows)], className="figures stacked")
    return html.Section([html.H3(table.heading), html.Div(body, className="wide")])
