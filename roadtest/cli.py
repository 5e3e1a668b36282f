"""The command line. Only light modules are imported here; a command imports what it needs."""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NoReturn

from roadtest import (
    __version__,
    check_command,
    compare_command,
    dashboard_command,
    find_command,
    folder_check_command,
    plan_command,
    report_command,
)
from roadtest.errors import RoadtestError
from roadtest.given_names import need_drive
from roadtest.shop.below import need_one_drive
from roadtest.standard_output import console, let_go_of_stdout, put_out, terminal_width

if TYPE_CHECKING:
    from roadtest.results import Results

PASSED, FAILED, UNUSABLE, NOT_PROVEN = 0, 1, 2, 3
OUR_FAULT: Final = 70  # a fault of the program itself must not look like a failed car
STOPPED: Final = 130  # by Ctrl-C, as shells have it


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints are one line."""

    def error(self, message: str) -> NoReturn:
        line = "".join(c if c.isprintable() else " " for c in message)
        self.exit(UNUSABLE, f"{self.prog}: {line} (see {self.prog} --help)\n")


@dataclass(frozen=True)
class _Command:
    """One command: what its help says, its options, and what it does, to an exit status."""

    name: str
    short: str
    about: str
    ends: str
    options: tuple[Callable[[argparse.ArgumentParser], None], ...]
    run: Callable[[argparse.Namespace], int]


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line `argv` (by default the program's own) and return its exit status."""
    # The matrices are small: a second thread has nothing to do but to wait, and waits by spinning.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        arguments = _parser().parse_args(argv)
        command: Callable[[argparse.Namespace], int] = arguments.command
        return command(arguments)
    except SystemExit as stop:  # argparse, after --help or a complaint
        return stop.code if isinstance(stop.code, int) else UNUSABLE
    except RoadtestError as error:
        return _complain(str(error))
    except BrokenPipeError:
        let_go_of_stdout()
        return _complain("standard output: closed before everything was written")
    except KeyboardInterrupt:
        _complain("stopped by Ctrl-C")
        return STOPPED
    except OSError as fault:
        name = fault.filename if isinstance(fault.filename, str) else "roadtest"
        return _complain(f"{name}: {(fault.strerror or str(fault)).lower()}")
    except Exception:  # noqa: BLE001 - not to go on, but to end with a status of its own
        traceback.print_exc()
        _complain("this is a fault in roadtest itself; please report it with the lines above")
        return OUR_FAULT


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="roadtest",
        description="Prove a re-equipped car on the road, from a logged shakedown drive.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"roadtest {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for one in _COMMANDS:
        command = commands.add_parser(
            one.name,
            help=one.short,
            description=one.about,
            epilog=f"exit status: {one.ends}",
            allow_abbrev=False,
        )
        for add_options in one.options:
            add_options(command)
        command.set_defaults(command=one.run)
    return parser


def _check(arguments: argparse.Namespace) -> int:
    need_drive(arguments.drive, arguments.build)
    width, encoding, colour = console()
    if folder_check_command.wanted(arguments):
        text, status = folder_check_command.check_drives(arguments, encoding, terminal_width())
        put_out(text, encoding)
        return status
    results = check_command.check_drive(arguments)
    if arguments.json == check_command.TO_STDOUT:
        from roadtest.results import to_json

        put_out(to_json(results), "utf-8")
    else:
        from roadtest.console import render

        units = arguments.units or results.units
        put_out(render(results, units, colour, width, encoding), encoding)
    return _status(results)


def _status(results: Results) -> int:
    verdicts = {finding.verdict for finding in results.findings}
    if "fail" in verdicts:
        return FAILED
    return NOT_PROVEN if "not proven" in verdicts else PASSED


def _report(arguments: argparse.Namespace) -> int:
    need_drive(arguments.drive, arguments.build)
    need_one_drive(arguments.drive, arguments.build)
    if arguments.verify is None:
        written = report_command.write_report(arguments)
        put_out(f"{written} written\n", "utf-8")
        return PASSED
    different = report_command.verify_report(arguments)
    drive = arguments.drive.resolve().name
    if different:
        put_out(f"{arguments.verify.name} differs from {drive}: {'; '.join(different)}\n", "utf-8")
        return FAILED
    put_out(f"{arguments.verify.name} shows what {drive} gives\n", "utf-8")
    return PASSED


def _plan(arguments: argparse.Namespace) -> int:
    width, encoding, colour = console()
    text = plan_command.card(arguments, width, encoding, colour=colour)
    if text is None:
        put_out(f"{arguments.output} written\n", "utf-8")
    else:
        put_out(text, encoding)
    return PASSED


def _compare(arguments: argparse.Namespace) -> int:
    from roadtest.compare.as_text import to_json
    from roadtest.compare.table import render
    from roadtest.terminal import fit

    found = compare_command.compare_drives(arguments)
    if arguments.json == "-":
        put_out(to_json(found), "utf-8")
        return PASSED
    width, encoding, colour = console()
    text = render(found, arguments.units or found.units, colour, width, encoding)
    if arguments.output is not None:
        text += f"\n{fit(str(arguments.output), encoding)} written\n"
    put_out(text, encoding)
    return PASSED


def _find(arguments: argparse.Namespace) -> int:
    _, encoding, _ = console()
    put_out(find_command.find_drives(arguments, encoding, terminal_width()), encoding)
    return PASSED


def _dashboard(arguments: argparse.Namespace) -> int:
    dashboard_command.need(arguments)
    dashboard_command.serve(arguments)
    return PASSED


def _complain(message: str) -> int:
    """Say `message` on standard error, each of its lines with our name, and return UNUSABLE."""
    if sys.stderr is not None:
        encoding = sys.stderr.encoding or "ascii"
        for line in message.splitlines():
            safe = line.encode(encoding, "backslashreplace").decode(encoding)
            print(f"roadtest: {safe}", file=sys.stderr)  # noqa: T201
    return UNUSABLE


_COMMANDS: Final = (
    _Command(
        "check",
        "turn a drive folder into findings",
        "Turn a drive folder (GPS logs, build sheet, tach log, notes) into findings.",
        "0 every target judged passed; 1 one failed or more; 3 none failed, but one is not proven "
        "or more; 2 the input can't be used, or the output can't be written",
        (check_command.add_arguments, folder_check_command.add_arguments),
        _check,
    ),
    _Command(
        "report",
        "write the report for the delivery packet",
        "Write the report of a drive as PDF or HTML, or check one against its drive.",
        "0 written, or the report shows what the drive gives; 1 it shows something else; 2 the "
        "input can't be used, or the output can't be written",
        (report_command.add_arguments,),
        _report,
    ),
    _Command(
        "compare",
        "tell what changed between drives of one car",
        "Put drives of one car side by side, and tell which differences are real.",
        "0 compared; 2 the drives can't be compared, or the output can't be written",
        (compare_command.add_arguments,),
        _compare,
    ),
    _Command(
        "find",
        "list cars and drives of a folder that was checked",
        "List cars and drives by what check on their folder found.",
        "0 listed; 2 there is no index, or it can't be used",
        (find_command.add_arguments,),
        _find,
    ),
    _Command(
        "plan",
        "make the drive card for a build sheet",
        "Make a drive card: what to drive for a build sheet's targets, and what the drive will "
        "prove with the logger at hand.",
        "0 made; 2 the input can't be used, or the output can't be written",
        (plan_command.add_arguments,),
        _plan,
    ),
    _Command(
        "dashboard",
        "serve the page: drop a drive, see its findings and what shows them",
        "Serve the page on this machine until Ctrl-C.",
        "130 ended by Ctrl-C; 2 the page can't be served",
        (dashboard_command.add_arguments,),
        _dashboard,
    ),
)
