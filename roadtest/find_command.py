"""`roadtest find`: cars and drives by what the index of their folder knows."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from roadtest.errors import InputError
from roadtest.given_names import given_path

if TYPE_CHECKING:
    from roadtest.shop.outcome import Outcome


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest find`."""
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        type=given_path,
        nargs="?",
        default=Path(),
        help="the folder of drives that was checked; by default this one",
    )
    parser.add_argument("--car", metavar="TEXT", help="drives of cars whose label holds TEXT")
    parser.add_argument("--chassis", metavar="TEXT", help="drives of cars whose chassis holds TEXT")
    parser.add_argument("--since", metavar="DATE", type=_date, help="drives on DATE or later")
    parser.add_argument("--until", metavar="DATE", type=_date, help="drives on DATE or earlier")
    parser.add_argument(
        "--verdict", choices=("pass", "fail", "not proven"), help="drives with this worst verdict"
    )


def find_drives(arguments: argparse.Namespace, encoding: str, width: int | None) -> str:
    """Return the drives that were asked for as text; raises RoadtestError without an index.

    `width` is that of the terminal, None where it is none.
    """
    from roadtest.shop.index import INDEX, Index
    from roadtest.shop.lines import found_text

    folder: Path = arguments.folder
    if not folder.is_dir():
        raise InputError(str(folder), "", "no such folder", "the folder of drives")
    if not (folder / INDEX).is_file():
        expected = f"one; roadtest check {folder} makes it"
        raise InputError(str(folder), "", "no index of drives", expected)
    with Index(folder) as index:
        kept = index.outcomes()
    found = {name: one for name, one in kept.items() if _fits(one, arguments)}
    return found_text(found, encoding, width)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date such as 2026-05-02") from None


def _fits(one: Outcome, arguments: argparse.Namespace) -> bool:
    """Tell whether a drive is what was asked for; one without a date is on no date."""
    started = one.start_utc[:10]
    since, until, verdict = arguments.since, arguments.until, arguments.verdict
    return (
        _holds(one.car, arguments.car)
        and _holds(one.chassis, arguments.chassis)
        and (since is None or (started != "" and started >= since.isoformat()))
        and (until is None or (started != "" and started <= until.isoformat()))
        and (verdict is None or one.overall == verdict)
    )


def _holds(text: str, part: str | None) -> bool:
    return part is None or part.casefold() in text.casefold()
