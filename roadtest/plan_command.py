"""`roadtest plan`: the drive card for a build sheet."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import Final

from roadtest.errors import InputError, RoadtestError
from roadtest.given_names import given_path
from roadtest.output import where

_KINDS: Final = (".txt", ".html", ".pdf")
_WANTED: Final = "a file name that ends in .txt, .html or .pdf"
_SLOWEST_HZ, _FASTEST_HZ = 0.5, 25.0
_NOISE: Final = "0.05 m/s"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest plan`."""
    parser.add_argument(
        "build", metavar="BUILD", type=given_path, help="the build sheet, build.toml"
    )
    parser.add_argument(
        "--rate",
        metavar="HZ",
        type=_rate,
        default=10.0,
        help="fixes a second of the logger to be used, 0.5 to 25; by default 10",
    )
    parser.add_argument(
        "--noise",
        metavar="SPEED",
        type=_noise,
        default=_NOISE,
        help=f'scatter of the logger\'s speeds, one standard deviation; by default "{_NOISE}"',
    )
    parser.add_argument(
        "--change",
        metavar="KEY=VALUE",
        action="append",
        default=[],
        help="a change to the build sheet that is only considered, such as axle=3.9 or "
        "tyres.size=165/80R13; may be given again",
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        type=given_path,
        help="write the card to FILE.txt, FILE.html or FILE.pdf instead of standard output",
    )


def _rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = math.nan
    if not _SLOWEST_HZ <= rate <= _FASTEST_HZ:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a number from 0.5 to 25")
    return rate


def _noise(text: str) -> float:
    from roadtest.units import QuantityError, parse_quantity

    wanted = 'a speed from 0.001 to 1 m/s, such as "0.05 m/s"'
    try:
        noise = parse_quantity(text, "speed", _NOISE).value
    except QuantityError:
        raise argparse.ArgumentTypeError(f"{text!r}: expected {wanted}") from None
    if not 0.001 <= noise <= 1.0:
        raise argparse.ArgumentTypeError(f"{text!r}: expected {wanted}")
    return noise


def card(arguments: argparse.Namespace, width: int, encoding: str, *, colour: bool) -> str | None:
    """Return the card as text for standard output, None where it was written to a file."""
    build, target = arguments.build, arguments.output
    if build.is_dir():
        raise InputError(
            str(build), "", "it is a folder", f"a build sheet, such as {build / 'build.toml'}"
        )
    if not build.exists():
        raise InputError(str(build), "", "no such file", "a build sheet")
    _need_place(target, build)

    from roadtest.plan.console import card_text
    from roadtest.plan.foreseen import Logger
    from roadtest.plan.making import make_plan
    from roadtest.progress import ProgressBar

    logger = Logger(arguments.rate, arguments.noise)
    with ProgressBar(sys.stderr) as progress:
        plan = make_plan(build.read_bytes(), build.name, logger, arguments.change, progress)
    if target is None:
        return card_text(plan, width, encoding, colour=colour)

    from roadtest.output import write_all

    kind = target.suffix.lower()
    if kind == ".txt":
        data: str | bytes = card_text(plan)
    else:
        from roadtest.plan.card import drive_card

        document = drive_card(plan)
        if kind == ".pdf":
            from roadtest.report.pdf import to_pdf

            data = to_pdf(document)
        else:
            from roadtest.report.html import to_html

            data = to_html(document)
    write_all({target: data})
    return None


def _need_place(target: Path | None, build: Path) -> None:
    """Raise RoadtestError, before any work, where the card has no place to go to."""
    if target is None:
        return
    if target.suffix.lower() not in _KINDS:
        raise InputError(str(target), "", "neither text, HTML nor PDF", _WANTED)
    if target.is_dir():
        raise InputError(str(target), "", "it is a folder", _WANTED)
    if not target.parent.is_dir():
        raise InputError(str(target.parent), "", "no such folder", "one to write the card to")
    if where(target) == where(build):
        raise RoadtestError(f"{target}: it is the build sheet itself; expected another file name")
