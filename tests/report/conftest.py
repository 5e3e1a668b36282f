"""One sample drive's report, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from roadtest.report.making import Reported, report_on

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"


@pytest.fixture(scope="session")
def reported() -> Reported:
    """Return the fullest sample drive, checked."""
    return report_on(SAMPLES / "after-axle-change", None, lambda _stage, _done: None)


@pytest.fixture(scope="session")
def sample_pdf(reported: Reported) -> bytes:
    """Return its report as PDF."""
    return reported.as_kind(".pdf")
