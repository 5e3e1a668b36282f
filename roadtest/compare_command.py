"""`roadtest compare`: drives of one car side by side."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from roadtest.errors import InputError, InputErrors
from roadtest.given_names import given_name, given_path
from roadtest.output import where
from roadtest.shop.below import need_one_drive

if TYPE_CHECKING:
    from roadtest.compare import Comparison
    from roadtest.results import ReadIn, Results

_KINDS: Final = (".html", ".pdf")
_WANTED: Final = "a file name that ends in .html or .pdf"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest compare`."""
    parser.add_argument(
        "drives",
        metavar="DRIVE",
        type=given_path,
        nargs="+",
        help="the folder of a drive, or a results file that check --json wrote; two or more, the "
        "one to compare the others with first",
    )
    parser.add_argument(
        "--json",
        metavar="FILE",
        type=given_name,
        help='write the comparison as JSON; "-" for standard output only',
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        type=given_path,
        help="write the comparison with its charts to FILE.html or FILE.pdf",
    )
    parser.add_argument(
        "--units", choices=("mph", "km/h"), help="what to read; by default as the first drive says"
    )


def compare_drives(arguments: argparse.Namespace) -> Comparison:
    """Return the comparison asked for, and write it where it is to be written."""
    drives: list[Path] = arguments.drives
    for drive in drives:
        if not drive.exists():
            raise InputError(str(drive), "", "no such folder", "the folder of one drive")
        need_one_drive(drive)
    if len(drives) < 2:
        raise InputError(str(drives[0]), "", "one drive", "two drives of one car, or more")
    json_file = None if arguments.json in (None, "-") else Path(arguments.json)
    paper: Path | None = arguments.output
    if paper is not None and paper.suffix.lower() not in _KINDS:
        raise InputError(str(paper), "", "neither HTML nor PDF", _WANTED)
    for target in (json_file, paper):
        if target is not None:
            _need_place(target, drives)
    if json_file is not None and paper is not None and where(json_file) == where(paper):
        raise InputError(str(paper), "", "the same file for both", "a file each")

    from roadtest.compare import compare
    from roadtest.compare.as_text import to_json
    from roadtest.output import write_all

    results = [_results(drive) for drive in drives]
    found = compare(results, _names(drives))
    written: dict[Path, str | bytes] = {}
    if json_file is not None:
        written[json_file] = to_json(found)
    if paper is not None:
        written[paper] = _on_paper(found, results, arguments.units, paper.suffix.lower())
    write_all(written)
    return found


def _on_paper(
    found: Comparison, results: list[Results], units: ReadIn | None, kind: str
) -> str | bytes:
    from roadtest.compare.document import comparison_document
    from roadtest.report.html import to_html
    from roadtest.report.pdf import to_pdf

    document = comparison_document(found, results, units)
    return to_pdf(document) if kind == ".pdf" else to_html(document)


def _need_place(target: Path, drives: list[Path]) -> None:
    if target.is_dir():
        raise InputError(str(target), "", "it is a folder", "a file to write the comparison to")
    if not target.parent.is_dir():
        raise InputError(str(target.parent), "", "no such folder", "one to write the comparison to")
    inside = where(target)
    if any(where(drive) in (inside, inside.parent) for drive in drives):
        expected = "a file outside the drives that are compared"
        raise InputError(str(target), "", "it lies among the inputs", expected)


def _results(drive: Path) -> Results:
    """Return the results of a drive folder, or those in a results file."""
    from roadtest.check import check_folder
    from roadtest.progress import ProgressBar
    from roadtest.results import from_json

    if not drive.is_dir():
        try:
            return from_json(drive.read_text(encoding="utf-8"), drive.name)
        except UnicodeDecodeError:
            expected = "the folder of a drive, or a results file"
            raise InputError(str(drive), "", "not a results file", expected) from None
    with ProgressBar(sys.stderr) as progress:
        try:
            return check_folder(drive, None, progress)
        except (InputError, InputErrors) as fault:
            raise _of_drive(fault, drive.resolve().name) from None


def _of_drive(fault: InputError | InputErrors, drive: str) -> InputErrors:
    """Return the faults with the drive before the file's name: each drive has files of one name."""
    faults = fault.faults if isinstance(fault, InputErrors) else (fault,)
    return InputErrors(
        tuple(
            one
            if one.file == drive
            else InputError(f"{drive}/{one.file}", one.place, one.found, one.expected)
            for one in faults
        )
    )


def _names(drives: list[Path]) -> list[str]:
    """Return what to call the drives: their own names, or with the folder where those are alike."""
    own = [drive.resolve().name for drive in drives]
    if len(set(own)) == len(own):
        return own
    return [str(drive) for drive in drives]
