"""Drives that were checked once, for every test of the charts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from roadtest.charts.source import Source
from roadtest.check import Checked
from roadtest.evidence import Evidence
from roadtest.measures.measuring import measure_all
from roadtest.results import Manoeuvre, Results
from tests.checked_samples import checked_sample, silent
from tests.evidence_from_truth import evidence_from
from tests.simulation.ensembles import random_stops
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"


@pytest.fixture(scope="session")
def sample() -> Callable[[str], Checked]:
    """Return a sample drive by its folder's name, checked."""
    return checked_sample


def source_of(evidence: Evidence) -> Source:
    """Return what a drive of true manoeuvres gives to draw."""
    measured = measure_all(evidence, silent)
    results = Results(
        units=evidence.sheet.units,
        tach=measured.gearing.tach,
        manoeuvres=tuple(
            Manoeuvre(m.id, m.kind, m.start_s, m.end_s) for m in evidence.manoeuvres if m.used
        ),
        speedometer=measured.speedometer.result,
        gearing=measured.gearing.result,
        braking=measured.braking.result,
        coasting=measured.coasting.result,
        pulls=measured.pulls.result,
        channels=measured.channels.result,
    )
    return Source(results, evidence, measured.traces)


@pytest.fixture(scope="session")
def simulated_stops() -> tuple[Truth, Source]:
    """Return five simulated stops, the truth and what charts are drawn from."""
    truth = random_stops(7, count=5, from_mps=22.0)
    return truth, source_of(evidence_from(truth, Receiver(rate_hz=10.0), 7))
