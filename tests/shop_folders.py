"""A folder of small drives, and a check that only counts: what is tested is all around it."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from roadtest.errors import InputError
from roadtest.progress import Progress
from roadtest.results import CarInfo, DriveInfo, Finding, Results, Verdict

_VERDICTS: dict[str, tuple[Verdict, ...]] = {
    "good": ("pass", "pass"),
    "doubtful": ("pass", "not proven"),
    "bad": ("pass", "fail", "not proven"),
}


def make_drive(folder: Path, kind: str, start: str = "2026-05-02T08:00:00Z") -> Path:
    """Make a drive; `kind` says what its check is to give."""
    folder.mkdir(parents=True)
    (folder / "build.toml").write_text('units = "mph"\n')
    (folder / "gps.nmea").write_text(f"{kind}\n{start}\n")
    return folder


class CountingCheck:
    """Stands in for the check of one drive: gives what the drive's log asks for."""

    def __init__(self) -> None:
        self.checked: list[str] = []

    def __call__(self, folder: Path, build: Path | None, progress: Progress) -> Results:
        self.checked.append(folder.name)
        kind, start = (folder / "gps.nmea").read_text().split()
        if kind == "broken":
            raise InputError("gps.nmea", "line 1", "no numbers", "a sentence")
        if kind == "fault":
            raise RuntimeError("ours")
        findings = tuple(
            Finding(f"target-{i}", f"Target {verdict} {i}", verdict)
            for i, verdict in enumerate(_VERDICTS[kind])
        )
        found = Results(findings=findings, drive=DriveInfo(start_utc=start))
        return replace(found, car=CarInfo("Roadster, green", f"C {folder.parent.name}"))


@pytest.fixture
def counting(monkeypatch: pytest.MonkeyPatch) -> CountingCheck:
    check = CountingCheck()
    monkeypatch.setattr("roadtest.check.check_folder", check)
    return check


@contextmanager
def threads(drives: int) -> Iterator[Executor]:
    """Give an executor that shares the stand-in; a new process would not."""
    with ThreadPoolExecutor(2) as executor:
        yield executor


def no_progress(stage: str, done: float) -> None:
    """Show nothing."""
