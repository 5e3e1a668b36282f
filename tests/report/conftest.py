"""One sample drive's report, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from roadtest.charts.all_charts import all_charts
from roadtest.report.making import Reported
from tests.checked_samples import checked_sample

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"


@pytest.fixture(scope="session")
def reported() -> Reported:
    """Return the fullest sample drive, as `report_on` gives it."""
    checked = checked_sample("after-axle-change")
    return Reported(checked.results, checked.survey.drive.sheet, all_charts(checked))


@pytest.fixture(scope="session")
def sample_pdf(reported: Reported) -> bytes:
    """Return its report as PDF."""
    return reported.as_kind(".pdf")
