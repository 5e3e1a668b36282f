"""A comparison in words and tables, and as text for the person beside the car."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from roadtest.compare.model import Change, ComparedDrive, Comparison, Row
from roadtest.quantity import Quantity
from roadtest.results import ReadIn
from roadtest.terminal import Page
from roadtest.wording import as_people_read, in_read_unit, moment_text, pair_text, plural

_MARK: Final[dict[Change, str]] = {
    "changed": "*",
    "runs differ": "~",
    "no change shown": "",
    "no interval": "",
}
_HEADING: Final = {
    "speedometer": "Speedometer, by the dial's speed",
    "gearing": "Gearing, tyre as on the sheet",
    "cruise": "Engine speed at a cruise",
    "stops": "Stops, mean of those used (MFDD: mean fully developed deceleration)",
    "coasting": "Coasting, and deceleration at speeds",
}
_LAST_TELLS: Final = frozenset({"cruise", "pulls"})
"""Sections whose last figure tells most: top gear at the highest speed, the longest start."""
_PERCENT: Final = frozenset({"clutch slip", "fade, last / first", "spread"})
HOW_TO_READ: Final = "How to read this"
NO_MARK: Final = (
    "No mark: no change shows, which does not prove that there is none. Engine turns are as the "
    "tach shows them; cruise too, but for a wrong setting of its cylinders."
)
MARKS: Final = (
    "*: changed, the 95 % interval of the difference excludes 0. ~: the runs differ, but there is "
    f"one on each drive. {NO_MARK}"
)


def render(
    found: Comparison, units: ReadIn, colour: bool, width: int = 80, encoding: str = "utf-8"
) -> str:
    """Return what a technician reads of a comparison, no line wider than `width` columns."""
    page = Page(width, encoding, colour)
    page.paragraph(car_text(found))
    for label, said in drives_text(found):
        page.paragraph(said, label=f"  {label}", indent=12)
    for later in range(1, len(found.drives)):
        page.heading(against_text(later))
        for label, said in changes_text(found, later, units):
            page.paragraph(said, label=f"  {label}", indent=15)
        for table in tables_of(found, later, units):
            page.heading(table.heading)
            page.table(table.heads, table.rows, texts=2)
    page.heading(HOW_TO_READ)
    for note in (MARKS, *found.notes):
        page.paragraph(note)
    return page.text()


@dataclass(frozen=True)
class SectionTable:
    """One section's figures on the first drive and a later one, in words; two columns are text."""

    heading: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def car_text(found: Comparison) -> str:
    """Return what the car is called."""
    return f"{found.car.label} ({found.car.chassis})" if found.car.chassis else found.car.label


def drives_text(found: Comparison) -> tuple[tuple[str, str], ...]:
    """Return each drive's number, and its name, start and what was left out of it."""
    return tuple((f"drive {n}", _drive_text(one)) for n, one in enumerate(found.drives, 1))


def _drive_text(drive: ComparedDrive) -> str:
    """Return a drive's name, when it started, and what a person left out of it."""
    parts = [
        drive.name,
        f"started {moment_text(drive.start_utc)}" if drive.start_utc else "",
        f"left out by hand: {', '.join(drive.left_out)}" if drive.left_out else "",
    ]
    return ", ".join(part for part in parts if part)


def against_text(later: int) -> str:
    """Return the heading of a later drive (1 the second) against the first."""
    return f"Drive {later + 1} against drive 1"


def changes_text(found: Comparison, later: int, units: ReadIn) -> tuple[tuple[str, str], ...]:
    """Return, behind a label each, how much changed between the first drive and a later one.

    Of each section the figures that tell most are named with what they were and are; the rest, all
    of them in the tables, is counted.
    """
    changes = [one.change for row in found.rows if (one := row.differences[later - 1])]
    if not changes:
        return (("compared", "the two have no figure in common"),)
    counts = (
        (changes.count("changed"), "changed"),
        (changes.count("runs differ"), "of single runs that differ"),
        (changes.count("no change shown"), "without a change that shows"),
    )
    said = ", ".join(f"{count} {word}" for count, word in counts if count)
    told = [("compared", f"{plural(len(changes), 'figure')}: {said}")]
    for change, lead in (("changed", ""), ("runs differ", "one run on each drive, they differ: ")):
        alike = (row for row in found.rows if _change(row, later) == change)
        told += [
            (section, lead + _named(list(rows), later, units))
            for section, rows in groupby(alike, key=lambda row: row.section)
        ]
    return tuple(told)


def _change(row: Row, later: int) -> Change | None:
    difference = row.differences[later - 1]
    return None if difference is None else difference.change


def _named(rows: list[Row], later: int, units: ReadIn) -> str:
    """Return the telling ones of a section's rows as "name: before → after", the rest counted."""
    telling = rows[-1:] if rows[0].section in _LAST_TELLS else rows[:2]
    named = [
        f"{name}: {before} → {after}"
        for _, name, before, after, _ in (_cells(row, later, units) for row in telling)
    ]
    more = len(rows) - len(telling)
    ways = {one.value.value > 0.0 for row in rows if (one := row.differences[later - 1])}
    way = "" if len(ways) > 1 else (", all higher" if True in ways else ", all lower")
    return "; ".join([*named, f"and {more} more{way}"] if more else named)


def tables_of(found: Comparison, later: int, units: ReadIn) -> Iterator[SectionTable]:
    """Yield the table of each section that the first drive and a later one have figures in."""
    heads = ("", "figure", "drive 1", f"drive {later + 1}", "difference")
    for section, rows in groupby(found.rows, key=lambda row: row.section):
        cells = tuple(cells for row in rows if (cells := _cells(row, later, units)))
        if cells:
            yield SectionTable(_HEADING.get(section, section.capitalize()), heads, cells)


def _cells(row: Row, later: int, units: ReadIn) -> tuple[str, ...]:
    difference = row.differences[later - 1]
    figures = row.figures[0], row.figures[later]
    if difference is None or figures[0] is None or figures[1] is None:
        return ()
    first, second = (_read(row, figure, units) for figure in (figures[0], figures[1]))
    # A difference is read in the unit of its figures, without the zero that temperatures have.
    zero, value = (_read(row, Quantity(x, 0.0, difference.value.unit), units) for x in (0.0, 1.0))
    factor = value.value - zero.value
    change = Quantity(factor * difference.value.value, factor * difference.value.u95, zero.unit)
    unit = f", {zero.unit}" if zero.unit else ""
    return (
        _MARK[difference.change],
        as_people_read(row.name, units) + unit,
        pair_text(first),
        pair_text(second),
        pair_text(change, signed=True),
    )


def _read(row: Row, figure: Quantity, units: ReadIn) -> Quantity:
    if row.name in _PERCENT:
        return Quantity(100.0 * figure.value, 100.0 * figure.u95, "%")
    return in_read_unit(figure, units)
