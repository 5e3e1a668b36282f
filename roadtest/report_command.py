"""`roadtest report`: the report for the delivery packet, and whether one still holds."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Final

from roadtest.errors import InputError
from roadtest.given_names import given_path

_KINDS: Final = (".pdf", ".html")
_WANTED: Final = "a file name that ends in .pdf or .html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest report`."""
    parser.add_argument("drive", metavar="DRIVE", type=given_path, help="the folder of one drive")
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        type=given_path,
        help="the report to write, FILE.pdf or FILE.html; by default report.pdf where you are",
    )
    parser.add_argument(
        "--verify",
        metavar="FILE",
        type=given_path,
        help="write nothing; tell whether the report FILE shows what DRIVE gives",
    )
    parser.add_argument(
        "--build", metavar="FILE", type=given_path, help="the build sheet, if not DRIVE/build.toml"
    )
    parser.add_argument(
        "--units", choices=("mph", "km/h"), help="what to read; by default as the build sheet says"
    )


def write_report(arguments: argparse.Namespace) -> Path:
    """Write the report asked for; return where. Raises RoadtestError."""
    target: Path = arguments.output or Path("report.pdf")
    kind = target.suffix.lower()
    if kind not in _KINDS:
        raise InputError(str(target), "", "neither PDF nor HTML", _WANTED)
    if target.is_dir():
        raise InputError(str(target), "", "it is a folder", _WANTED)
    if not target.parent.is_dir():
        raise InputError(str(target.parent), "", "no such folder", "one to write the report to")

    from roadtest.output import write_all
    from roadtest.progress import ProgressBar
    from roadtest.report.making import report_on

    with ProgressBar(sys.stderr) as progress:
        reported = report_on(arguments.drive, arguments.build, progress)
    write_all({target: reported.as_kind(kind, arguments.units)})
    return target


def verify_report(arguments: argparse.Namespace) -> tuple[str, ...]:
    """Return in words how the report differs from the drive; () where it shows it. May raise."""
    from roadtest.progress import ProgressBar
    from roadtest.report.making import report_on
    from roadtest.report.verify import differences, read_report

    report = read_report(arguments.verify)
    with ProgressBar(sys.stderr) as progress:
        reported = report_on(arguments.drive, arguments.build, progress)
    return differences(report, reported)
