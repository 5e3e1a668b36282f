"""The drives of the folder, on the page: to search, to open, to compare."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final

from dash import dcc, html

from dashboard.aria import aria
from dashboard.asking import asking_button
from dashboard.ids import Ids
from dashboard.shelf import NOT_CHECKED, Entry, Shelf
from roadtest.wording import VERDICT_MARK, VERDICT_WORD, plural

PAGE: Final = 25  # drives shown at once; a search narrows them down
MOST_COMPARED: Final = 4
_KINDS: Final = (*VERDICT_WORD, "broken", NOT_CHECKED)
_WORD: Final[dict[str, str]] = {
    **dict(VERDICT_WORD.items()),
    "broken": "CAN'T BE USED",
    NOT_CHECKED: "NOT CHECKED YET",
}
_MARK: Final[dict[str, str]] = {**dict(VERDICT_MARK.items()), "broken": "!", NOT_CHECKED: "–"}


def folder_view(shelf: Shelf) -> list[Any]:
    """Return the search, the list of drives and what can be done with them."""
    found = shelf.find("")
    return [
        html.H2("Or pick a drive of the folder", id="folder-title"),
        html.Div(
            [
                html.Label("Search by car, chassis, date or verdict", htmlFor=Ids.SEARCH),
                dcc.Input(id=Ids.SEARCH, type="search", debounce=False, value=""),
                dcc.RadioItems(
                    id=Ids.KIND,
                    value="",
                    options=[
                        {"label": "all", "value": ""},
                        *({"label": _WORD[kind].lower(), "value": kind} for kind in _KINDS),
                    ],
                    className="kinds",
                ),
            ],
            role="search",
            className="search",
        ),
        html.Div(compare_bar([]), id=Ids.COMPARE_BAR, className="compare-bar", role="status"),
        html.Div(drive_list(shelf, found, 1, []), id=Ids.DRIVES),
        html.Div(
            [
                html.Button(
                    "Check those not checked yet",
                    id=Ids.CHECK_ALL,
                    n_clicks=0,
                    hidden=nothing_to_check(shelf, found),
                ),
                html.Span(shelf.checking, id=Ids.CHECKING, role="status"),
            ],
            className="check-all",
        ),
        dcc.Store(id=Ids.TICKED, data=[]),
        dcc.Interval(id=Ids.CHECK_TICK, interval=1500, disabled=not shelf.checking),
    ]


def nothing_to_check(shelf: Shelf, found: Sequence[Entry]) -> bool:
    """Return whether a check of all drives would have nothing to do, or is going on."""
    return bool(shelf.checking) or shelf.all_checked(found[:PAGE])


def drive_list(shelf: Shelf, found: Sequence[Entry], pages: int, ticked: Sequence[str]) -> Any:
    """Return the drives found, under their cars, as many as `pages` hold."""
    if not found:
        none = "No such drive." if shelf.entries() else "There is no drive in the folder."
        return html.P([none, " A drive is a folder with a build.toml in it."])
    shown = found[: PAGE * pages]
    cars = len({entry.car for entry in found if entry.car})
    said = f"{plural(len(found), 'drive')} of {plural(cars, 'car')}" if cars else ""
    parts: list[Any] = [html.P(said, className="small")] if said else []
    for car, entries in groupby(shown, key=lambda entry: entry.car):
        parts.append(html.H3(car or "Not checked yet, or not usable"))
        rows = [_row(shelf, entry, entry.name in ticked) for entry in entries]
        parts.append(html.Ul(rows, className="drives"))
    if len(shown) < len(found):
        text = f"Show more ({len(found) - len(shown)} not shown)"
        parts.append(asking_button(text, Ids.ASKED_MORE, {"pages": pages}))
    return html.Div(parts)


def _row(shelf: Shelf, entry: Entry, ticked: bool) -> Any:
    kind = entry.verdict
    mark = html.Span(_MARK[kind], className="mark", **aria(hidden="true"))
    verdict = html.Span([mark, " ", _WORD[kind]], className="verdict")
    lines = [html.Span([html.Strong(entry.name), " ", html.Span(entry.date)], className="name")]
    lines += [html.Span(text, className="small") for text in _told(entry)]
    if shelf.has_changed(entry):
        said = "as last checked; the files or roadtest have changed since"
        lines.append(html.Span(said, className="small"))
    box = dcc.Checklist(
        id=Ids.tick(entry.name),
        options=[
            {
                "label": html.Span(
                    [html.Span("compare"), html.Span(f" {entry.name}", className="unseen")]
                ),
                "value": entry.name,
            }
        ],
        value=[entry.name] if ticked else [],
        className="tick",
    )
    opens = asking_button(
        [verdict, html.Span(lines, className="told-of")],
        Ids.ASKED_DRIVE,
        {"picked": entry.name},
        className=f"drive {kind.replace(' ', '-')}",
    )
    return html.Li([opens, box])


def _told(entry: Entry) -> Iterator[str]:
    """Yield in short what an earlier check found."""
    known = entry.known
    if known is None:
        return
    if known.overall != "broken":
        counts = zip(VERDICT_WORD, (known.failed, known.not_proven, known.passed), strict=True)
        yield ", ".join(
            f"{VERDICT_MARK[v]} {count} {VERDICT_WORD[v].lower()}" for v, count in counts
        )
    if known.first:
        yield known.first


def compare_bar(ticked: Sequence[str]) -> list[Any]:
    """Return what stands above the list once drives are ticked for comparing."""
    if not ticked:
        return []
    names = ", ".join(ticked)
    enough = 2 <= len(ticked) <= MOST_COMPARED
    said = f"To compare: {names}. "
    if not enough:
        said += "Tick another one." if len(ticked) < 2 else f"At most {MOST_COMPARED}."
    parts: list[Any] = [html.Span(said)]
    if enough:
        text = f"Compare these {len(ticked)}"
        parts.append(asking_button(text, Ids.ASKED_COMPARISON, {}, className="main"))
    return parts
