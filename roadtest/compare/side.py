"""The drives of a comparison as its charts take them: side by side, each with a look of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np

from roadtest.charts.model import Dash, Line, Marker, Points, Role
from roadtest.charts.source import listed, looks, values
from roadtest.compare.model import Comparison, Row
from roadtest.quantity import Floats, Quantity
from roadtest.results import ReadIn, Results
from roadtest.units import from_si
from roadtest.wording import as_people_read

Item = TypeVar("Item")

_ASIDE: Final = 0.12  # how far apart the drives stand at one place of a counted axis
_MOST_NAMED: Final = 4  # changed figures named in a chart's sentence; the table has all


@dataclass(frozen=True)
class Drive:
    """One of the drives and how it is drawn; `aside` moves it off its place on a counted axis."""

    number: int  # from 0
    name: str
    results: Results
    role: Role
    dash: Dash
    marker: Marker
    aside: float

    def line(self, x: Floats, y: Floats, label: str = "", width: float = 1.0) -> Line:
        """Return a line with this drive's colour and dash."""
        return Line(x, y, label, self.role, self.dash, width)

    def points(
        self,
        x: Floats,
        y: Floats,
        names: Sequence[str],
        *,
        x_u95: Floats | None = None,
        y_u95: Floats | None = None,
        label: str | None = None,
    ) -> Points:
        """Return points with this drive's colour and marker, `names` behind its own."""
        said = tuple(f"{self.name}, {name}" if name else self.name for name in names)
        label = self.name if label is None else label
        return Points(x, y, label, self.role, self.marker, True, x_u95, y_u95, said)


@dataclass(frozen=True)
class Side:
    """The drives side by side."""

    found: Comparison
    drives: tuple[Drive, ...]
    units: ReadIn

    def with_any(self, part: Callable[[Results], Sequence[Item]]) -> list[tuple[Drive, list[Item]]]:
        """Return each drive with what it has of something; [] where fewer than two have any."""
        having = [(drive, list(part(drive.results))) for drive in self.drives]
        having = [(drive, items) for drive, items in having if items]
        return having if len(having) > 1 else []

    def read(self, speed_mps: Floats) -> Floats:
        """Return speeds [n] as people read them."""
        return np.asarray(from_si(np.asarray(speed_mps, dtype=np.float64), self.units))

    def speeds(self, figures: Sequence[Quantity | None]) -> tuple[Floats, Floats]:
        """Return values and half-widths [n] of speeds as people read them."""
        value, half = values(figures)
        return self.read(value), self.read(half)

    def row(self, section: str, name: str) -> Row | None:
        """Return a row of the comparison, None without it."""
        rows = (row for row in self.found.rows if (row.section, row.name) == (section, name))
        return next(rows, None)

    def says(self, what: str, *sections: str, about: str = "") -> str:
        """Return a chart's sentence: what is drawn, and what of it changed against the first.

        With `about`, only figures whose names begin with it count.
        """
        drives = listed([drive.name for drive in self.drives])
        rows = [
            row
            for row in self.found.rows
            if row.section in sections and row.name.startswith(about) and any(row.differences)
        ]
        if not rows:
            return f"{what} on {drives}."
        differ = self._named(rows, "runs differ")
        told = self._named(rows, "changed") or ("" if differ else "nothing that shows")
        parts = [
            f"changed against {self.drives[0].name}: {told}" if told else "",
            f"single runs differ: {differ}" if differ else "",
        ]
        return f"{what} on {drives}; {'; '.join(part for part in parts if part)}."

    def _named(self, rows: Sequence[Row], change: str) -> str:
        """Return the figures with such a change in words, "" without one."""
        names = [
            as_people_read(row.name, self.units)
            for row in rows
            if any(one is not None and one.change == change for one in row.differences)
        ]
        told = " – ".join(names[:_MOST_NAMED])  # names have commas of their own
        return f"{told} – and {len(names) - _MOST_NAMED} more" if names[_MOST_NAMED:] else told


def side_by_side(found: Comparison, results: Sequence[Results], units: ReadIn) -> Side:
    """Return the drives of a comparison side by side."""
    pairs = zip(found.drives, results, looks(len(results)), strict=True)
    middle = 0.5 * (len(results) - 1)
    drives = tuple(
        Drive(k, drive.name, one, role, dash, marker, _ASIDE * (k - middle))
        for k, (drive, one, (role, dash, marker)) in enumerate(pairs)
    )
    return Side(found, drives, units)
