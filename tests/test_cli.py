"""The command line as a user meets it. The check itself is replaced at its one seam."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from roadtest import __version__, cli
from roadtest.results import from_json
from tests.example_results import EXAMPLE

ROOT = Path(__file__).resolve().parents[1]

# A stand-in for the check: what it does is told by the name of the drive folder.
STUB = """
import dataclasses, signal, sys, time, types
from roadtest.errors import InputError, InputErrors
from roadtest.results import FileInfo, Results
from tests.example_results import EXAMPLE

def check(folder, progress):
    wanted = folder.name
    if wanted == "slow":
        print("started", flush=True)
        for _ in range(300):  # a signal just before one long sleep is seen after it only
            time.sleep(0.1)
    if wanted == "bad":
        raise InputError("gps.nmea", "line 3", "no\\x1b[2J numbers\\n", "a sentence")
    if wanted == "worse":
        faults = (InputError("build.toml", "[car]", "x", "y"), InputError("b", "", "z", ""))
        raise InputErrors(faults)
    if wanted == "broken":
        raise RuntimeError("a fault of ours")
    if wanted == "unreadable":
        open(folder / "none.nmea")
    if wanted == "empty":
        return Results()
    keep = {"passed": {"pass"}, "doubtful": {"pass", "not proven"}}.get(wanted)
    found = tuple(f for f in EXAMPLE.findings if keep is None or f.verdict in keep)
    return dataclasses.replace(EXAMPLE, findings=found, car=dataclasses.replace(EXAMPLE.car))

signal.signal(signal.SIGINT, signal.default_int_handler)  # also where tests run in the background
stub = types.ModuleType("stub")
stub.check, stub.read_drive = check, lambda folder, build: folder
sys.modules["roadtest.check"] = sys.modules["roadtest.drive"] = stub
from roadtest.cli import main
sys.exit(main())
"""


def _command(*arguments: str) -> list[str]:
    return [sys.executable, "-W", "error", "-c", STUB, *arguments]


def _environment(**more: str) -> dict[str, str]:
    plain = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "PYTHONIOENCODING")}
    return plain | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"} | more


def _run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        _command(*arguments),
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        env=_environment(**environment),
        check=False,
    )


@pytest.fixture
def drives(tmp_path: Path) -> Path:
    for name in ("failed", "passed", "doubtful", "empty", "bad", "worse", "broken", "unreadable"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "build.toml").write_text("")
    return tmp_path


def _one_line(result: subprocess.CompletedProcess[str], *parts: str) -> None:
    """Assert status 2, nothing on standard output, and one line on standard error with `parts`."""
    assert (result.returncode, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1 and result.stderr.endswith("\n"), result.stderr
    assert all(part in result.stderr for part in ("roadtest", *parts)), result.stderr


@pytest.mark.parametrize(
    ("name", "status"), [("passed", 0), ("empty", 0), ("failed", 1), ("doubtful", 3)]
)
def test_the_exit_status_is_the_verdict(drives: Path, name: str, status: int) -> None:
    result = _run("check", str(drives / name))
    assert (result.returncode, result.stderr) == (status, "")
    assert "THE LOG" in result.stdout


def test_units_are_the_sheets_unless_asked_for(drives: Path) -> None:
    assert "5.0476 ± 0.0038 mile" in _run("check", str(drives / "failed")).stdout
    asked = _run("check", str(drives / "failed"), "--units", "km/h").stdout
    assert "8.1234 ± 0.0061 km" in asked


def test_json_and_csv_are_written_and_the_findings_still_printed(drives: Path) -> None:
    out, tables = drives / "results.json", drives / "tables"
    result = _run("check", str(drives / "failed"), "--json", str(out), "--csv", str(tables))
    assert result.returncode == 1
    assert "FINDINGS" in result.stdout
    assert from_json(out.read_text("utf-8")) == EXAMPLE
    assert {"findings.csv", "speedometer.csv"} <= {p.name for p in tables.iterdir()}
    assert not [p for p in (*drives.iterdir(), *tables.iterdir()) if p.name.startswith(".")]


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_json_to_standard_output_is_utf8_and_alone_there(drives: Path, encoding: str) -> None:
    result = _run(
        "check", str(drives / "failed"), "--json", "-", PYTHONIOENCODING=encoding, PYTHONUTF8="0"
    )
    assert result.returncode == 1
    assert json.loads(result.stdout)["braking"]["stops"][0]["mfdd"]["unit"] == "m/s²"


def test_an_ascii_terminal_gets_ascii(drives: Path) -> None:
    result = _run("check", str(drives / "failed"), PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert result.returncode == 1
    assert result.stdout.isascii()
    assert "6.05 +/- 0.20 m/s^2" in result.stdout


def test_no_colour_into_a_pipe(drives: Path) -> None:
    assert "\x1b" not in _run("check", str(drives / "failed"), TERM="xterm").stdout


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")
@pytest.mark.parametrize(
    ("environment", "coloured"),
    [
        ({"TERM": "xterm"}, True),
        ({"TERM": "xterm", "NO_COLOR": "1"}, False),
        ({"TERM": "dumb"}, False),
    ],
)
def test_colour_on_a_terminal_unless_refused(
    drives: Path, environment: dict[str, str], coloured: bool
) -> None:
    ours, theirs = os.openpty()
    process = subprocess.Popen(
        _command("check", str(drives / "failed")),
        stdout=theirs,
        stderr=subprocess.PIPE,
        env=_environment(**environment),
    )
    os.close(theirs)
    seen = b""
    while True:
        try:
            some = os.read(ours, 65536)
        except OSError:  # how Linux says that the other side has gone
            break
        if not some:
            break
        seen += some
    os.close(ours)
    assert process.communicate(timeout=60)[1] == b""
    assert process.returncode == 1
    assert (b"\x1b[1;31m" in seen) is coloured
    assert "✗ FAIL".encode() in seen


def test_bad_input_is_one_line_without_control_characters(drives: Path) -> None:
    result = _run("check", str(drives / "bad"))
    _one_line(result, "gps.nmea, line 3", "expected a sentence")
    assert "\x1b" not in result.stderr


def test_several_faults_are_a_line_each(drives: Path) -> None:
    result = _run("check", str(drives / "worse"))
    assert (result.returncode, result.stdout) == (2, "")
    assert result.stderr.splitlines() == [
        "roadtest: build.toml, [car]: x; expected y",
        "roadtest: b: z",
    ]


def test_bad_input_leaves_earlier_results_alone(drives: Path) -> None:
    out = drives / "results.json"
    out.write_text("earlier")
    _one_line(_run("check", str(drives / "bad"), "--json", str(out)), "gps.nmea")
    assert out.read_text() == "earlier"


def test_a_file_that_cannot_be_opened_is_one_line(drives: Path) -> None:
    _one_line(_run("check", str(drives / "unreadable")), "none.nmea", "no such file")


def test_a_fault_of_ours_does_not_look_like_a_failed_car(drives: Path) -> None:
    result = _run("check", str(drives / "broken"))
    assert result.returncode == 70
    assert "a fault of ours" in result.stderr
    assert "fault in roadtest itself" in result.stderr.splitlines()[-1]


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        ((), ("COMMAND", "--help")),
        (("drive",), ("invalid choice",)),
        (("check",), ("DRIVE",)),
        (("check", "none"), ("none", "no such folder", "the folder of one drive")),
        (("check", "passed/build.toml"), ("it is a file", "the folder of one drive")),
        (("check", "x" * 5000), ("file name too long",)),
        (("check", "passed", "--build", "none.toml"), ("none.toml", "no such file")),
        (("check", "passed", "--build", "failed"), ("failed", "it is a folder")),
        (("check", "passed", "--units", "knots"), ("--units", "knots", "mph")),
        (("check", "passed", "--unit", "mph"), ("unrecognized",)),
        (("check", "passed", "more\nlines"), ("unrecognized", "more lines")),
        (("check", "passed", "--json", "failed"), ("failed", "it is a folder")),
        (("check", "passed", "--json", "none/a.json"), ("none", "no such folder")),
        (("check", "passed", "--json", ""), ("--json", "an empty name")),
        (("check", "passed", "--csv="), ("--csv", "an empty name")),
        (("check", ""), ("DRIVE", "an empty name")),
        (("compare", "passed", "failed", "--json", " "), ("--json", "an empty name")),
        (("check", "passed", "--csv", "passed/build.toml"), ("it is a file",)),
        (("check", "passed", "--csv", "none/tables"), ("none", "no such folder")),
        (("check", "passed", "--json", "passed/gps.nmea"), ("gps.nmea", "an input of this check")),
        (
            ("check", "passed", "--build", "failed/build.toml", "--json", "failed/build.toml"),
            ("build.toml", "an input of this check"),
        ),
    ],
)
def test_each_wrong_call_is_one_clear_line(
    drives: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    parts: tuple[str, ...],
) -> None:
    monkeypatch.chdir(drives)
    _one_line(_run(*arguments), *parts)
    assert (drives / "failed" / "build.toml").read_text() == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("more", [(), ("--json", "-")])
def test_a_full_standard_output_is_one_line(drives: Path, more: tuple[str, ...]) -> None:
    with Path("/dev/full").open("w") as full:
        result = subprocess.run(
            _command("check", str(drives / "failed"), *more),
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            env=_environment(),
            check=False,
        )
    assert result.returncode == 2
    assert result.stderr == (
        "roadtest: standard output: can't be written: no space left on device\n"
    )


def test_a_closed_pipe_is_one_line(drives: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    result = subprocess.run(
        _command("check", str(drives / "failed")),
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        env=_environment(),
        check=False,
    )
    os.close(writing)
    assert result.returncode == 2
    assert result.stderr == "roadtest: standard output: closed before everything was written\n"


def test_ctrl_c_is_one_line_and_leaves_nothing(drives: Path) -> None:
    (drives / "slow").mkdir()
    process = subprocess.Popen(
        _command("check", str(drives / "slow"), "--json", str(drives / "results.json")),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=_environment(),
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "started\n"
    process.send_signal(signal.SIGINT)
    _, complaint = process.communicate(timeout=30)
    assert (process.returncode, complaint) == (130, "roadtest: stopped by Ctrl-C\n")
    assert not (drives / "results.json").exists()


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["check", "--help"]])
def test_help_and_version_import_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys\nfrom roadtest.cli import main\nstatus = main(sys.argv[1:])\n"
        "heavy = {'numpy', 'scipy', 'pydantic'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else status)"
    )
    result = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        env=_environment(),
        check=False,
    )
    assert (result.returncode, result.stderr) == (0, "")
    assert "roadtest" in result.stdout


def test_the_module_can_be_run() -> None:
    result = subprocess.run(
        [sys.executable, "-m", "roadtest", "--version"],
        capture_output=True,
        text=True,
        timeout=60,
        env=_environment(),
        check=False,
    )
    assert (result.returncode, result.stdout) == (0, f"roadtest {__version__}\n")


def test_every_command_offered_has_its_help() -> None:
    offered = [
        line.split()[0]
        for line in _run("--help").stdout.splitlines()
        if line.startswith("    ") and not line.startswith("     ")
    ]
    assert {"check", "report"} <= set(offered)
    for command in offered:
        assert f"roadtest {command}" in _run(command, "--help").stdout


def test_a_fault_in_a_compared_drive_names_the_drive(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "build.toml").write_text("units = mph\n")
    assert cli.main(["compare", str(tmp_path / "first"), str(tmp_path / "second")]) == 2
    assert capsys.readouterr().err.startswith("roadtest: first/build.toml, line 1, column 9: ")
