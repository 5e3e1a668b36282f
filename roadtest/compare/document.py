"""A comparison as a document to print or send: what changed, the charts, every figure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from roadtest.charts.svg import draw_svg
from roadtest.compare.charts import comparison_charts
from roadtest.compare.model import Comparison
from roadtest.compare.table import (
    HOW_TO_READ,
    MARKS,
    against_text,
    car_text,
    changes_text,
    drives_text,
    tables_of,
)
from roadtest.report.model import Block, Bullets, Document, Facts, Heading, Picture
from roadtest.report.model import Table as PaperTable
from roadtest.results import ReadIn, Results


def comparison_document(
    found: Comparison, results: Sequence[Results], units: ReadIn | None = None
) -> Document:
    """Return a comparison as a document, `results` being those it was made from, in that order."""
    read_in = units or found.units
    title = f"Comparison: {car_text(found)}"
    return Document(
        title=title,
        head=title,
        date=_day(found),
        shop="",
        blocks=tuple(_blocks(found, results, read_in)),
        results_json="",
        results_hash="",
    )


def _day(found: Comparison) -> tuple[int, int, int]:
    """Return the day of the last drive that has one, which is what the same drives always give."""
    starts = [drive.start_utc for drive in found.drives if drive.start_utc is not None]
    day = datetime.fromisoformat(max(starts, default="1970-01-01"))
    return (day.year, day.month, day.day)


def _blocks(found: Comparison, results: Sequence[Results], units: ReadIn) -> Iterator[Block]:
    laters = range(1, len(found.drives))
    yield Facts(drives_text(found))
    for later in laters:
        yield Heading(against_text(later), level=2)
        yield Facts(changes_text(found, later, units))
    yield Heading("Side by side")
    for chart in comparison_charts(found, results, units):
        yield Picture(draw_svg(chart), chart.says, chart.title, chart.notes)
    for later in laters:
        yield Heading(f"Every figure: {against_text(later).lower()}")
        for table in tables_of(found, later, units):
            yield Heading(table.heading[:1].upper() + table.heading[1:], level=2)
            yield PaperTable(table.heads, table.rows, texts=2)
    yield Heading(HOW_TO_READ)
    yield Bullets((MARKS, *found.notes))
