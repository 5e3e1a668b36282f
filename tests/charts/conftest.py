"""Drives that were checked once, for every test of the charts."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from roadtest.charts.source import Source
from roadtest.check import Checked, conclude_with_traces, survey
from roadtest.drive import read_drive
from roadtest.evidence import Evidence
from roadtest.measures.measuring import measure_all
from roadtest.results import Manoeuvre, Results
from tests.evidence_from_truth import evidence_from
from tests.simulation.ensembles import random_stops
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"


def _silent(stage: str, fraction: float) -> None:
    assert stage and 0.0 <= fraction <= 1.0


@cache
def _checked(name: str) -> Checked:
    return conclude_with_traces(survey(read_drive(SAMPLES / name), _silent), _silent)


@pytest.fixture(scope="session")
def sample() -> Callable[[str], Checked]:
    """Return a sample drive by its folder's name, checked."""
    return _checked


def source_of(evidence: Evidence) -> Source:
    """Return what a drive of true manoeuvres gives to draw."""
    measured = measure_all(evidence, _silent)
    results = Results(
        units=evidence.sheet.units,
        tach=measured.tach,
        manoeuvres=tuple(
            Manoeuvre(m.id, m.kind, m.start_s, m.end_s) for m in evidence.manoeuvres if m.used
        ),
        speedometer=measured.speedometer,
        gearing=measured.gearing,
        braking=measured.braking,
        coasting=measured.coasting,
        pulls=measured.pulls,
        channels=measured.channels,
    )
    return Source(results, evidence, measured.traces)


@pytest.fixture(scope="session")
def simulated_stops() -> tuple[Truth, Source]:
    """Return five simulated stops, the truth and what charts are drawn from."""
    truth = random_stops(7, count=5, from_mps=22.0)
    return truth, source_of(evidence_from(truth, Receiver(rate_hz=10.0), 7))
