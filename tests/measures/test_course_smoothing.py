"""Whether a receiver smooths its speed alone or its velocity as a whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.measures.course_smoothing import smooths_course
from tests.evidence_from_truth import evidence_from
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

SMOOTHED_S, DELAY_S = 0.4, 0.6


@pytest.fixture(scope="module")
def town() -> Truth:
    """Return a drive round corners."""

    def script(driver: Driver) -> None:
        driver.start_rolling(10.0)
        for _ in range(4):
            driver.cruise(12.0, 6.0)
            driver.turn(90.0)

    return simulate(script, seed=5)


@pytest.fixture(scope="module", params=[False, True])
def shown(request: pytest.FixtureRequest, town: Truth) -> tuple[bool, Evidence]:
    receiver = Receiver(
        rate_hz=5.0, lag_s=SMOOTHED_S, delay_s=DELAY_S, lag_of_course=bool(request.param)
    )
    return bool(request.param), evidence_from(town, receiver, 2, manoeuvres=())


def test_corners_tell_whether_courses_are_smoothed(shown: tuple[bool, Evidence]) -> None:
    of_course, evidence = shown
    chance = smooths_course(evidence, SMOOTHED_S)
    assert chance > 0.95 if of_course else chance < 0.05


def test_without_courses_or_smoothing_either_is_as_likely(shown: tuple[bool, Evidence]) -> None:
    _, evidence = shown
    blank = np.full(evidence.gps.time_s.size, np.nan)
    bare = replace(evidence, gps=replace(evidence.gps, course_deg=blank))
    assert smooths_course(bare, SMOOTHED_S) == 0.5
    assert smooths_course(evidence, 0.0) == 0.5
