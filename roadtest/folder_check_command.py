"""`roadtest check` on a folder that holds drives."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from roadtest.errors import InputError
from roadtest.shop.below import drives_below, without_sheet


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest check` that are for a folder of drives."""
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="for a folder of drives: check them on the Dask cluster with this scheduler, whose "
        "machines see the folder under the same path",
    )


def wanted(arguments: argparse.Namespace) -> bool:
    """Tell whether what is to be checked is a folder of drives; raises InputError.

    A build sheet given with --build makes any folder one drive.
    """
    folder: Path = arguments.drive
    several = arguments.build is None and folder.is_dir() and bool(drives_below(folder))
    if several and (arguments.json is not None or arguments.csv is not None):
        found = "it holds several drives"
        raise InputError(str(folder), "", found, "one drive, for --json and --csv")
    if arguments.scheduler is not None and not several:
        raise InputError(str(folder), "", "--scheduler", "it with a folder of drives only")
    return several


def check_drives(
    arguments: argparse.Namespace, encoding: str, width: int | None
) -> tuple[str, int]:
    """Return the line of every drive, and the exit status of the worst.

    `width` is that of the terminal, None where it is none.
    """
    from roadtest.progress import ProgressBar
    from roadtest.shop.checking import Executors, check_all, cores
    from roadtest.shop.lines import checked_text
    from roadtest.shop.outcome import STATUS

    executors: Executors = cores
    if arguments.scheduler is not None:
        from roadtest.shop.cluster import cluster_at

        executors = cluster_at(arguments.scheduler)
    with ProgressBar(sys.stderr) as progress:
        found = check_all(arguments.drive, executors, progress)
    order = list(STATUS)
    worst = max((outcome.overall for outcome in found.values()), key=order.index)
    passed_by = [str(one.relative_to(arguments.drive)) for one in without_sheet(arguments.drive)]
    return checked_text(found, encoding, width, passed_by), STATUS[worst]
