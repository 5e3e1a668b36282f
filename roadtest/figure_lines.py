"""What figures are put down on, and the lines and cells they are put down as."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Final, Protocol

from roadtest.quantity import Quantity
from roadtest.results import ReadIn, Shown
from roadtest.wording import in_read_unit, pair_text, probability_text, quantity_text

_INDENT: Final = 31
NOTHING: Final = "–"
"""What stands in a table's cell for a figure that was not measured."""


class Sheet(Protocol):
    """Whatever figures can be put down on."""

    def heading(self, text: str) -> None:
        """Begin a section."""

    def gap(self) -> None:
        """Leave some room."""

    def paragraph(self, text: str, *, label: str = "", indent: int = 0) -> None:
        """Put down `text`, behind `label` where it has one."""

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]], texts: int = 1) -> None:
        """Put down a table; its first `texts` columns are words, the rest figures."""


def is_measured(section: object) -> bool:
    """Tell whether any field of a section (a dataclass) holds something."""
    return any(getattr(section, item.name) not in (None, (), "") for item in fields(section))  # type: ignore[arg-type]


def pair(figure: Quantity | None, units: ReadIn, *, signed: bool = False) -> str:
    """Return the text of a table's cell, whose unit the head names."""
    return NOTHING if figure is None else pair_text(in_read_unit(figure, units), signed=signed)


def percent(figure: Quantity | None) -> Quantity | None:
    """Return a fraction in per cent."""
    return None if figure is None else Quantity(100.0 * figure.value, 100.0 * figure.u95, "%")


def put_line(
    page: Sheet,
    label: str,
    figure: Quantity | None,
    units: ReadIn,
    *,
    percent: bool = False,
    signed: bool = False,
) -> None:
    """Put down a labelled figure, where there is one."""
    if figure is not None:
        put_text(page, label, quantity_text(figure, units, percent=percent, signed=signed))


def put_table(
    page: Sheet, heads: Sequence[str], rows: Sequence[Sequence[str]], texts: int = 1
) -> None:
    """Put down a table without the columns that hold nothing in any row; the first one stays."""
    kept = [
        i for i in range(len(heads)) if i == 0 or any(row[i] not in ("", NOTHING) for row in rows)
    ]
    page.table(
        [heads[i] for i in kept],
        [[row[i] for i in kept] for row in rows],
        sum(i < texts for i in kept),
    )


def put_shown(page: Sheet, label: str, shown: Shown | None) -> None:
    """Put down what the road shows, and how probable it is."""
    if shown is not None:
        text = f"{shown.label} (probability {probability_text(shown.probability)})"
        put_text(page, label, text)


def put_text(page: Sheet, label: str, text: str) -> None:
    """Put down a labelled text, where there is one."""
    if text:
        page.paragraph(text, label=f"  {label}", indent=_INDENT)
