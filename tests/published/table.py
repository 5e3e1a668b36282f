"""Write the table of published checks: `python -m tests.published.table` from the top.

Runs the tests beside it and puts one row a test into README.md here: the document, how its figures
are known, how many comparisons were made, the widest tolerance, and the largest deviation as a
share of its tolerance.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

import pytest

HERE = Path(__file__).parent
TABLE = HERE / "README.md"
HEAD = """\
# Checks against the world

One row a test of this folder; written by `python -m tests.published.table`. *Tolerance* is the \
widest one that a comparison of the test allows itself, relative to the published figure (half the \
last printed digit, as a rule); *largest* is the largest deviation found, as a share of its own \
tolerance. A dash: the test compares exactly, or asks which side of a limit a figure lies on.

| what is compared | document, paragraph | how its figures are known | checks | tolerance \
| largest | result |
|---|---|---|---|---|---|---|
"""


@dataclass
class Row:
    """What was seen of one test function."""

    document: str
    known: str
    comparisons: list[tuple[float, float]] = field(default_factory=list)  # relative, share
    cases: int = 0
    failed: int = 0


class Recorder:
    """A pytest plugin that notes every comparison with a tolerance."""

    def __init__(self) -> None:
        self.rows: dict[str, Row] = {}
        self._now: Row | None = None
        self._approx: Any = type(pytest.approx(1.0))
        self._plain = self._approx.__eq__

    def pytest_sessionstart(self) -> None:
        """Put the recording comparison in place of pytest's own."""

        def noted(this: Any, other: object) -> bool:
            same = bool(self._plain(this, other))
            numbers = isinstance(this.expected, int | float) and isinstance(other, int | float)
            if self._now is not None and numbers:
                self._now.comparisons.append(_comparison(this, cast(float, other)))
            return same

        self._approx.__eq__ = noted

    def pytest_sessionfinish(self) -> None:
        """Put pytest's own comparison back."""
        self._approx.__eq__ = self._plain

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        """Open the test's row."""
        document, known = source_of(item)
        self._now = self.rows.setdefault(name_of(item), Row(document, known))
        self._now.cases += 1

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Count what failed."""
        if report.failed and self._now is not None:
            self._now.failed += 1


def name_of(item: pytest.Item) -> str:
    """Return module and function of a test, without its parameters."""
    return f"{item.path.stem}::{item.name.partition('[')[0]}"


def source_of(item: pytest.Item) -> tuple[str, str]:
    """Return the document of a test and how its figures are known; ValueError without a mark."""
    mark = item.get_closest_marker("source")
    if mark is None:
        raise ValueError(f"{item.nodeid} says no source")
    document, known = mark.args
    return str(document), str(known)


def _comparison(this: Any, other: float) -> tuple[float, float]:
    expected, tolerance = float(this.expected), float(this.tolerance)
    deviation = abs(other - expected)
    relative = tolerance / abs(expected) if expected else tolerance
    return relative, deviation / tolerance if tolerance else deviation


def lines(rows: Iterable[tuple[str, Row]]) -> list[str]:
    """Return the table's rows, in the order of the tests."""
    return [_line(name, row) for name, row in rows]


def _line(name: str, row: Row) -> str:
    module, _, function = name.partition("::")
    what = function.removeprefix("test_").replace("_", " ")
    widest, largest = "–", "–"
    if row.comparisons:
        widest = f"{max(relative for relative, _ in row.comparisons):.1e}"
        largest = f"{max(share for _, share in row.comparisons):.2f}"
    result = "agrees" if not row.failed else f"{row.failed} of {row.cases} cases do not agree"
    checks = len(row.comparisons) or row.cases
    cells = (f"{what} (`{module}.py`)", row.document, row.known, checks, widest, largest, result)
    return "| " + " | ".join(str(cell).replace("|", "/") for cell in cells) + " |"


def main(arguments: Sequence[str]) -> int:
    """Run the tests and write the table; returns pytest's exit status."""
    recorder = Recorder()
    options = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist", *arguments]
    status = pytest.main([str(HERE), *options], plugins=[recorder])
    TABLE.write_text(HEAD + "\n".join(lines(recorder.rows.items())) + "\n", encoding="utf-8")
    return int(status)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
