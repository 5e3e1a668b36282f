"""What is kept of one drive, and how it is got; a worker anywhere can run it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Literal

from roadtest import __version__
from roadtest.errors import RoadtestError
from roadtest.results import Results, Verdict, to_json
from roadtest.wording import plural

Overall = Literal["pass", "fail", "not proven", "broken"]

STATUS: Final[dict[Overall, int]] = {"pass": 0, "not proven": 3, "fail": 1, "broken": 2}
"""Exit status, the worst last."""


@dataclass(frozen=True)
class Outcome:
    """One drive as the index keeps it; `key` is "" where its files changed under the check."""

    key: str
    overall: Overall
    car: str = ""
    chassis: str = ""
    start_utc: str = ""
    passed: int = 0
    failed: int = 0
    not_proven: int = 0
    first: str = ""  # the first failing finding, or the fault of a drive that can't be used
    results: str = ""  # the results file


def content_key(drive: Path) -> str:
    """Return a digest of all that the outcome of a drive comes from: its files and the software."""
    digest = hashlib.sha256(_software().encode())
    for path in sorted(drive.iterdir()):
        if path.is_file():
            with path.open("rb") as file:
                content = hashlib.file_digest(file, "sha256").hexdigest()
            digest.update(f"{path.name}\0{content}\0".encode(errors="surrogateescape"))
    return digest.hexdigest()


@cache
def _software() -> str:
    """Return the version and a digest of the program itself, for a version lives many changes."""
    digest = hashlib.sha256()
    package = Path(__file__).resolve().parents[1]
    for path in sorted(package.rglob("*.py")):
        digest.update(path.read_bytes())
    return f"{__version__} {digest.hexdigest()}"


def check_one(drive: str) -> Outcome:
    """Check the drive in folder `drive`; a drive that can't be used is an outcome too."""
    from roadtest.check import check_folder

    folder = Path(drive)
    try:
        key = content_key(folder)
        results = check_folder(folder, None, lambda stage, done: None)
        return outcome_of(results, key if content_key(folder) == key else "")
    except RoadtestError as fault:
        first, *more = str(fault).splitlines()
        said = f"{first} (and {plural(len(more), 'more fault')})" if more else first
        return Outcome(key, "broken", first=said)
    except OSError as fault:  # not kept: the next time the disk may answer
        return Outcome(
            "", "broken", first=f"{folder.name}: {(fault.strerror or str(fault)).lower()}"
        )


def outcome_of(results: Results, key: str) -> Outcome:
    """Return what is kept of a drive with `results`; `key` is that of its files."""
    verdicts: list[Verdict] = [finding.verdict for finding in results.findings]
    overall: Overall = "fail" if "fail" in verdicts else "not proven"
    if not {"fail", "not proven"} & set(verdicts):
        overall = "pass"
    failing = (finding.title for finding in results.findings if finding.verdict == "fail")
    return Outcome(
        key=key,
        overall=overall,
        car=results.car.label,
        chassis=results.car.chassis or "",
        start_utc=results.drive.start_utc or "",
        passed=verdicts.count("pass"),
        failed=verdicts.count("fail"),
        not_proven=verdicts.count("not proven"),
        first=next(failing, ""),
        results=to_json(results),
    )
