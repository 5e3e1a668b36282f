"""The command line. Only light modules are imported here; a command imports what it needs."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final, NoReturn

from roadtest import __version__
from roadtest.errors import InputError, RoadtestError
from roadtest.given_names import given_name, given_path

if TYPE_CHECKING:
    from roadtest.results import ReadIn, Results

PASSED, FAILED, UNUSABLE, NOT_PROVEN = 0, 1, 2, 3
OUR_FAULT: Final = 70  # a fault of the program itself must not look like a failed car
STOPPED: Final = 130  # by Ctrl-C, as shells have it

_WIDEST: Final = 100  # columns; longer lines are hard to read
_STATUS: Final = (
    "exit status: 0 every target judged passed; 1 one failed or more; 3 none failed, but one is "
    "not proven or more; 2 the input can't be used, or the output can't be written"
)


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints are one line."""

    def error(self, message: str) -> NoReturn:
        line = "".join(c if c.isprintable() else " " for c in message)
        self.exit(UNUSABLE, f"{self.prog}: {line} (see {self.prog} --help)\n")


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
        _let_go_of_stdout()
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
    _add_check(commands)
    _add_report(commands)
    _add_compare(commands)
    _add_find(commands)
    _add_plan(commands)
    _add_dashboard(commands)
    return parser


def _add_check(commands: argparse._SubParsersAction[_Parser]) -> None:
    from roadtest import folder_check_command

    check = commands.add_parser(
        "check",
        help="turn a drive folder into findings",
        description="Turn a drive folder (GPS logs, build sheet, tach log, notes) into findings.",
        epilog=_STATUS,
        allow_abbrev=False,
    )
    check.add_argument(
        "drive",
        metavar="DRIVE",
        type=given_path,
        help="the folder of one drive, or one that holds drives",
    )
    check.add_argument(
        "--build", metavar="FILE", type=given_path, help="the build sheet, if not DRIVE/build.toml"
    )
    check.add_argument(
        "--json",
        metavar="FILE",
        type=given_name,
        help='write the results as JSON, in SI units; "-" writes them to standard output, and '
        "nothing else",
    )
    check.add_argument(
        "--csv",
        metavar="FOLDER",
        type=given_path,
        help="write the results as CSV tables, in SI units",
    )
    check.add_argument(
        "--units", choices=("mph", "km/h"), help="what to read; by default as the build sheet says"
    )
    folder_check_command.add_arguments(check)
    check.set_defaults(command=_check)


def _check(arguments: argparse.Namespace) -> int:
    """Run `roadtest check`."""
    drive: Path = arguments.drive
    _need_inputs(drive, arguments.build)
    from roadtest import folder_check_command

    if folder_check_command.wanted(arguments):
        _, encoding, _ = _console()
        text, status = folder_check_command.check_drives(arguments, encoding, _terminal_width())
        _put_out(text, encoding)
        return status
    to_stdout = arguments.json == "-"
    json_path = None if to_stdout or arguments.json is None else Path(arguments.json)
    _need_places(json_path, arguments.csv)

    from roadtest.check import check_folder
    from roadtest.progress import ProgressBar
    from roadtest.results import to_json

    with ProgressBar(sys.stderr) as progress:
        results = check_folder(drive, arguments.build, progress)
    _write_files(results, json_path, arguments)
    if to_stdout:
        _put_out(to_json(results), "utf-8")
    else:
        _put_out(*_for_console(results, arguments.units or results.units))
    return _status(results)


def _add_report(commands: argparse._SubParsersAction[_Parser]) -> None:
    from roadtest import report_command

    report = commands.add_parser(
        "report",
        help="write the report for the delivery packet",
        description="Write the report of a drive as PDF or HTML, or check one against its drive.",
        epilog="exit status: 0 written, or the report shows what the drive gives; 1 it shows "
        "something else; 2 the input can't be used, or the output can't be written",
        allow_abbrev=False,
    )
    report_command.add_arguments(report)
    report.set_defaults(command=_report)


def _report(arguments: argparse.Namespace) -> int:
    """Run `roadtest report`."""
    from roadtest import report_command

    _need_inputs(arguments.drive, arguments.build)
    if arguments.verify is None:
        written = report_command.write_report(arguments)
        _put_out(f"{written} written\n", "utf-8")
        return PASSED
    different = report_command.verify_report(arguments)
    drive = arguments.drive.resolve().name
    if different:
        _put_out(f"{arguments.verify.name} differs from {drive}: {'; '.join(different)}\n", "utf-8")
        return FAILED
    _put_out(f"{arguments.verify.name} shows what {drive} gives\n", "utf-8")
    return PASSED


def _add_plan(commands: argparse._SubParsersAction[_Parser]) -> None:
    from roadtest import plan_command

    plan = commands.add_parser(
        "plan",
        help="make the drive card for a build sheet",
        description="Make a drive card: what to drive for a build sheet's targets, and what the "
        "drive will prove with the logger at hand.",
        epilog="exit status: 0 made; 2 the input can't be used, or the output can't be written",
        allow_abbrev=False,
    )
    plan_command.add_arguments(plan)
    plan.set_defaults(command=_plan)


def _plan(arguments: argparse.Namespace) -> int:
    """Run `roadtest plan`."""
    from roadtest import plan_command

    width, encoding, colour = _console()
    text = plan_command.card(arguments, width, encoding, colour=colour)
    if text is None:
        _put_out(f"{arguments.output} written\n", "utf-8")
    else:
        _put_out(text, encoding)
    return PASSED


def _add_compare(commands: argparse._SubParsersAction[_Parser]) -> None:
    from roadtest import compare_command

    compare = commands.add_parser(
        "compare",
        help="tell what changed between drives of one car",
        description="Put drives of one car side by side, and tell which differences are real.",
        epilog="exit status: 0 compared; 2 the drives can't be compared, or the output can't be "
        "written",
        allow_abbrev=False,
    )
    compare_command.add_arguments(compare)
    compare.set_defaults(command=_compare)


def _compare(arguments: argparse.Namespace) -> int:
    """Run `roadtest compare`."""
    from roadtest import compare_command
    from roadtest.compare.as_text import to_json
    from roadtest.compare.table import render
    from roadtest.terminal import fit

    found = compare_command.compare_drives(arguments)
    if arguments.json == "-":
        _put_out(to_json(found), "utf-8")
        return PASSED
    width, encoding, colour = _console()
    text = render(found, arguments.units or found.units, colour, width, encoding)
    if arguments.output is not None:
        text += f"\n{fit(str(arguments.output), encoding)} written\n"
    _put_out(text, encoding)
    return PASSED


def _add_find(commands: argparse._SubParsersAction[_Parser]) -> None:
    from roadtest import find_command

    find = commands.add_parser(
        "find",
        help="list cars and drives of a folder that was checked",
        description="List cars and drives by what check on their folder found.",
        epilog="exit status: 0 listed; 2 there is no index, or it can't be used",
        allow_abbrev=False,
    )
    find_command.add_arguments(find)
    find.set_defaults(command=_find)


def _find(arguments: argparse.Namespace) -> int:
    """Run `roadtest find`."""
    from roadtest import find_command

    _, encoding, _ = _console()
    _put_out(find_command.find_drives(arguments, encoding, _terminal_width()), encoding)
    return PASSED


def _add_dashboard(commands: argparse._SubParsersAction[_Parser]) -> None:
    from roadtest import dashboard_command

    dashboard = commands.add_parser(
        "dashboard",
        help="serve the page: drop a drive, see its findings and what shows them",
        description="Serve the page on this machine until Ctrl-C.",
        epilog="exit status: 130 ended by Ctrl-C; 2 the page can't be served",
        allow_abbrev=False,
    )
    dashboard_command.add_arguments(dashboard)
    dashboard.set_defaults(command=_dashboard)


def _dashboard(arguments: argparse.Namespace) -> int:
    """Run `roadtest dashboard`."""
    from roadtest import dashboard_command

    dashboard_command.need(arguments)
    dashboard_command.serve(arguments)
    return PASSED


def _status(results: Results) -> int:
    verdicts = {finding.verdict for finding in results.findings}
    if "fail" in verdicts:
        return FAILED
    return NOT_PROVEN if "not proven" in verdicts else PASSED


def _need_inputs(drive: Path, build: Path | None) -> None:
    """Raise InputError, before any work, where an input isn't there or is of the wrong kind."""
    if not drive.exists():
        raise InputError(str(drive), "", "no such folder", "the folder of one drive")
    if not drive.is_dir():
        raise InputError(str(drive), "", "it is a file", "the folder of one drive")
    if build is not None and not build.exists():
        raise InputError(str(build), "", "no such file", "a build sheet")
    if build is not None and build.is_dir():
        raise InputError(str(build), "", "it is a folder", "a build sheet")


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


def _for_console(results: Results, units: ReadIn) -> tuple[str, str]:
    """Return the text for standard output, and the encoding it fits."""
    from roadtest.console import render

    width, encoding, colour = _console()
    return render(results, units, colour, width, encoding), encoding


def _console() -> tuple[int, str, bool]:
    """Return the columns and the encoding of standard output, and whether it shows colours."""
    out = sys.stdout
    on_terminal = out is not None and out.isatty()
    encoding = getattr(out, "encoding", None) or "ascii"
    colour = on_terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    width = min(shutil.get_terminal_size().columns, _WIDEST) if on_terminal else 80
    return width, encoding, colour


def _terminal_width() -> int | None:
    """Return the columns of the terminal that standard output is, None where it is none."""
    on_terminal = sys.stdout is not None and sys.stdout.isatty()
    return shutil.get_terminal_size().columns if on_terminal else None


def _put_out(text: str, encoding: str) -> None:
    """Write `text` to standard output, all of it; raises OutputError or BrokenPipeError."""
    from roadtest.output import OutputError

    if sys.stdout is None:
        raise OutputError("standard output", "it is closed")
    try:
        sys.stdout.flush()  # bytes, because JSON is UTF-8 whatever the terminal speaks
        sys.stdout.buffer.write(text.encode(encoding))
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        raise
    except OSError as fault:
        _let_go_of_stdout()
        raise OutputError("standard output", (fault.strerror or str(fault)).lower()) from None


def _let_go_of_stdout() -> None:
    """Point standard output nowhere, so that the interpreter's own last flush can't fail again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def _complain(message: str) -> int:
    """Say `message` on standard error, each of its lines with our name, and return UNUSABLE."""
    if sys.stderr is not None:
        encoding = sys.stderr.encoding or "ascii"
        for line in message.splitlines():
            safe = line.encode(encoding, "backslashreplace").decode(encoding)
            print(f"roadtest: {safe}", file=sys.stderr)  # noqa: T201
    return UNUSABLE
