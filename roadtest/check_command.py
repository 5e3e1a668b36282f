"""`roadtest check` on one drive."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from roadtest.aside import Aside
from roadtest.errors import InputError
from roadtest.given_names import given_name, given_path

if TYPE_CHECKING:
    from roadtest.drive import Drive
    from roadtest.results import Results

TO_STDOUT = "-"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest check` that are for one drive."""
    parser.add_argument(
        "drive",
        metavar="DRIVE",
        type=given_path,
        help="the folder of one drive, or one that holds drives",
    )
    parser.add_argument(
        "--build", metavar="FILE", type=given_path, help="the build sheet, if not DRIVE/build.toml"
    )
    parser.add_argument(
        "--json",
        metavar="FILE",
        type=given_name,
        help='write the results as JSON, in SI units; "-" writes them to standard output, and '
        "nothing else",
    )
    parser.add_argument(
        "--csv",
        metavar="FOLDER",
        type=given_path,
        help="write the results as CSV tables, in SI units",
    )
    parser.add_argument(
        "--units", choices=("mph", "km/h"), help="what to read; by default as the build sheet says"
    )


def check_drive(arguments: argparse.Namespace) -> Results:
    """Check the drive and write the files asked for; return the results. Raises RoadtestError."""
    to_file = arguments.json is not None and arguments.json != TO_STDOUT
    json_path = Path(arguments.json) if to_file else None
    _need_places(json_path, arguments.csv)

    reading = Aside(partial(_read, arguments.drive, arguments.build))
    from roadtest.check import check  # slow to load: meanwhile the logs are read
    from roadtest.progress import ProgressBar

    with ProgressBar(sys.stderr) as progress:
        progress("reading", 0.0)
        results = check(reading.result(), progress)
    _write_files(results, json_path, arguments)
    return results


def _read(folder: Path, build: Path | None) -> Drive:
    from roadtest.drive import read_drive

    return read_drive(folder, build)


def _need_places(json_path: Path | None, csv_folder: Path | None) -> None:
    """Raise InputError, before any work, where an output has no place to go to."""
    if json_path is not None and json_path.is_dir():
        raise InputError(str(json_path), "", "it is a folder", "a file to write results to")
    if json_path is not None and not json_path.parent.is_dir():
        raise InputError(str(json_path.parent), "", "no such folder", "one to write results to")
    if csv_folder is None or csv_folder.is_dir():
        return
    if csv_folder.exists():
        raise InputError(str(csv_folder), "", "it is a file", "a folder to write tables to")
    if not csv_folder.parent.is_dir():
        raise InputError(str(csv_folder.parent), "", "no such folder", "one to make a folder in")


def _write_files(results: Results, json_path: Path | None, arguments: argparse.Namespace) -> None:
    """Write the results file and the tables asked for; an input is never written over."""
    from roadtest.output import make_folder, where, write_all
    from roadtest.results import to_json
    from roadtest.tables import csv_tables

    texts: dict[Path, str | bytes] = {}
    if json_path is not None:
        texts[json_path] = to_json(results)
    if arguments.csv is not None:
        texts |= {arguments.csv / name: text for name, text in csv_tables(results).items()}
    inputs = {arguments.drive / file.name for file in results.files if file.kind != "ignored"}
    inputs = {where(path) for path in (*inputs, arguments.build) if path is not None}
    for path in texts:
        if where(path) in inputs:
            raise InputError(str(path), "", "it is an input of this check", "another file name")
    if arguments.csv is not None:
        make_folder(arguments.csv)
    write_all(texts)
