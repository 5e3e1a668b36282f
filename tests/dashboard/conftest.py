"""One checked sample drive for all tests of the page."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.work import Work
from roadtest.drive import read_drive

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs" / "before-axle-change"


@pytest.fixture(scope="session")
def checked_work() -> Work:
    """The sample drive, as its files have it. Nothing may be typed into it."""
    work = Work("before-axle-change")
    work.run(lambda: read_drive(SAMPLE))
    assert not work.fault
    return work
