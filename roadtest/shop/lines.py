"""Drives as text, a line each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Final

from roadtest.results import Verdict
from roadtest.shop.outcome import Outcome
from roadtest.terminal import Page, display_width
from roadtest.wording import VERDICT_MARK, VERDICT_WORD, plural

_VERDICTS: Final = tuple(VERDICT_WORD)
_UNDER: Final = 4  # columns that what goes under a drive is set in
_DATE: Final = 10  # characters of a start that are its date


def checked_text(
    found: Mapping[str, Outcome],
    encoding: str = "utf-8",
    width: int | None = None,
    sheetless: Sequence[str] = (),
) -> str:
    """Return a line for each drive, one for all of them, and one for each folder passed by.

    Lines are as long as they need be, for other programs to read; with a `width`, what doesn't fit
    goes under its drive.
    """
    heads = ["", "drive", "fail", "open", "pass", "date", "car", "first failing"]
    rows = [
        [_verdict(one), name, *_counts(one), _date(one), _car(one), one.first]
        for name, one in found.items()
    ]
    page = _page(encoding, heads, rows, width, under=2)
    counts = Counter(one.overall for one in found.values())
    said = [f"{counts[verdict]} {VERDICT_WORD[verdict].lower()}" for verdict in _VERDICTS]
    if counts["broken"]:
        said.append(f"{counts['broken']} can't be used")
    page.paragraph(f"{plural(len(found), 'drive')}: {', '.join(said)}.")
    for name in sheetless:
        page.paragraph(f"Passed by: {name} holds a GPS log, but no build.toml.")
    return page.text()


def found_text(
    found: Mapping[str, Outcome], encoding: str = "utf-8", width: int | None = None
) -> str:
    """Return the drives found, under their cars; those that can't be used last.

    Lines and `width` are as in `checked_text`.
    """
    ordered = sorted(found.items(), key=lambda item: (*_order(item[1]), item[0]))
    text = ""
    for car, drives in groupby(ordered, key=lambda item: _car(item[1])):
        heads = ["", "drive", "date", "first failing"]
        rows = [[_verdict(one), name, _date(one), one.first] for name, one in drives]
        text += f"{_line(car or 'Drives that cannot be used', encoding)}\n"
        text += _page(encoding, heads, rows, width, under=1).text() + "\n"
    cars = len({_car(one) for one in found.values() if _car(one)})
    return f"{text}{plural(len(found), 'drive')} of {plural(cars, 'car')}.\n"


def _page(
    encoding: str, heads: list[str], rows: list[list[str]], width: int | None, under: int
) -> Page:
    """Return a page with a table; where too wide, its last `under` cells go under each row."""
    page = _one_line_each(encoding, heads, rows)
    if width is None or max(map(display_width, page.lines), default=0) <= width:
        return page
    table = _one_line_each(encoding, heads[:-under], [row[:-under] for row in rows]).lines
    page = Page(width, encoding)
    page.as_it_is(table[0])
    for line, row in zip(table[1:], rows, strict=True):
        page.as_it_is(line)
        more = ": ".join(filter(None, row[-under:]))
        if more:
            page.paragraph(more, label=" " * _UNDER, indent=_UNDER)
    return page


def _one_line_each(encoding: str, heads: list[str], rows: list[list[str]]) -> Page:
    """Return a page with a table as wide as it needs be, so that a drive stays on one line."""
    widest = max((sum(map(display_width, row)) for row in [heads, *rows]), default=0)
    page = Page(width=len(heads) * (widest + 10) + 80, encoding=encoding)
    if rows:
        page.table(heads, rows, texts=len(heads))
    return page


def _line(text: str, encoding: str) -> str:
    page = Page(width=display_width(text) + 20, encoding=encoding)
    page.paragraph(text)
    return page.text().rstrip("\n")


def _verdict(one: Outcome) -> str:
    verdict: Verdict
    if one.overall == "broken":
        return "! NOT USABLE"
    verdict = one.overall
    return f"{VERDICT_MARK[verdict]} {VERDICT_WORD[verdict]}"


def _counts(one: Outcome) -> list[str]:
    if one.overall == "broken":
        return ["", "", ""]
    return [str(one.failed), str(one.not_proven), str(one.passed)]


def _date(one: Outcome) -> str:
    return one.start_utc[:_DATE]


def _car(one: Outcome) -> str:
    return f"{one.car} ({one.chassis})" if one.chassis else one.car


def _order(one: Outcome) -> tuple[bool, str, str]:
    return one.overall == "broken", _car(one), one.start_utc
