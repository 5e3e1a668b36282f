"""A comparison as text for the person beside the car."""

from __future__ import annotations

from itertools import groupby
from typing import Final

from roadtest.compare.model import Change, ComparedDrive, Comparison, Row
from roadtest.quantity import Quantity
from roadtest.results import ReadIn
from roadtest.terminal import Page
from roadtest.wording import as_people_read, in_read_unit, pair_text, plural

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
    "stops": "Stops, mean of those used",
    "coasting": "Coasting, and deceleration at speeds",
}
_PERCENT: Final = frozenset({"clutch slip", "fade, last / first", "spread"})
_MARKS: Final = (
    "*: changed, the 95 % interval of the difference excludes 0. ~: the runs differ, but there is "
    "one on each drive. No mark: no change shows, which does not prove that there is none. "
    "Engine turns and cruise are as the tach shows them."
)


def render(
    found: Comparison, units: ReadIn, colour: bool, width: int = 80, encoding: str = "utf-8"
) -> str:
    """Return what a technician reads of a comparison, no line wider than `width` columns."""
    page = Page(width, encoding, colour)
    car = found.car
    page.paragraph(f"{car.label} ({car.chassis})" if car.chassis else car.label)
    for number, drive in enumerate(found.drives, 1):
        page.paragraph(_drive(drive), label=f"  drive {number}", indent=12)
    for later in range(1, len(found.drives)):
        _put_changes(page, found, later, units)
        for section, rows in groupby(found.rows, key=lambda row: row.section):
            _put_section(page, section, list(rows), later, units)
    page.heading("How to read this")
    for note in (_MARKS, *found.notes):
        page.paragraph(note)
    return page.text()


def _drive(drive: ComparedDrive) -> str:
    return f"{drive.name}, started {drive.start_utc}" if drive.start_utc else drive.name


def _put_changes(page: Page, found: Comparison, later: int, units: ReadIn) -> None:
    """Say in one sentence how much changed between the first drive and a later one."""
    page.heading(f"Drive {later + 1} against drive 1")
    changes = [one.change for row in found.rows if (one := row.differences[later - 1])]
    if not changes:
        page.paragraph("The two have no figure in common.")
        return
    changed, differ = changes.count("changed"), changes.count("runs differ")
    page.paragraph(
        f"{plural(len(changes), 'figure')} compared: {changed} changed, {differ} of single runs "
        f"that differ, {changes.count('no change shown')} without a change that shows."
    )
    told = [
        f"{section} ({', '.join(as_people_read(row.name, units) for row in rows)})"
        for section, rows in groupby(
            (row for row in found.rows if _is_changed(row, later)), key=lambda row: row.section
        )
    ]
    page.paragraph(f"Changed: {'; '.join(told) or 'nothing that shows'}.")


def _is_changed(row: Row, later: int) -> bool:
    difference = row.differences[later - 1]
    return difference is not None and difference.change == "changed"


def _put_section(page: Page, section: str, rows: list[Row], later: int, units: ReadIn) -> None:
    cells = [cells for row in rows if (cells := _cells(row, later, units))]
    if not cells:
        return
    page.heading(_HEADING.get(section, section))
    page.table(["", "figure", "drive 1", f"drive {later + 1}", "difference"], cells, texts=2)


def _cells(row: Row, later: int, units: ReadIn) -> list[str]:
    difference = row.differences[later - 1]
    figures = row.figures[0], row.figures[later]
    if difference is None or figures[0] is None or figures[1] is None:
        return []
    first, second = (_read(row, figure, units) for figure in (figures[0], figures[1]))
    # A difference is read in the unit of its figures, without the zero that temperatures have.
    zero, value = (_read(row, Quantity(x, 0.0, difference.value.unit), units) for x in (0.0, 1.0))
    factor = value.value - zero.value
    change = Quantity(factor * difference.value.value, factor * difference.value.u95, zero.unit)
    unit = f", {zero.unit}" if zero.unit else ""
    return [
        _MARK[difference.change],
        as_people_read(row.name, units) + unit,
        pair_text(first),
        pair_text(second),
        pair_text(change, signed=True),
    ]


def _read(row: Row, figure: Quantity, units: ReadIn) -> Quantity:
    if row.name in _PERCENT:
        return Quantity(100.0 * figure.value, 100.0 * figure.u95, "%")
    return in_read_unit(figure, units)
