"""What is known of a receiver's smoothing, and what it does to the way round corners."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.motion.distance import distance_driven
from roadtest.motion.smoothed import NOT_SMOOTHED, Smoothed
from roadtest.motion.turning import AHEAD_M2
from tests.evidence_from_truth import evidence_from
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver


def test_smoothing_may_or_may_not_be_of_the_whole_velocity() -> None:
    either = Smoothed(np.full(50, 0.6), np.arange(50) % 2 == 0)
    assert either.square == pytest.approx((0.18, 0.18))
    assert NOT_SMOOTHED.square == (0.0, 0.0)
    assert either.draws(120).of_velocity.sum() == 60


@pytest.mark.parametrize("of_course", [False, True])
def test_a_velocity_that_is_smoothed_cuts_corners(of_course: bool) -> None:
    def script(driver: Driver) -> None:
        driver.start_rolling(8.0)
        for _ in range(12):
            driver.turn_round()

    truth = simulate(script, seed=3)
    usual_m = float(np.sqrt(AHEAD_M2))  # which is taken off as well
    receiver = Receiver(rate_hz=5.0, lag_s=0.5, lag_of_course=of_course, ahead_m=usual_m)
    evidence = evidence_from(truth, receiver, 1, manoeuvres=())
    ends_s = 5.0, float(evidence.motion.time_s[-1])
    true = float(np.diff(truth.distance_at(np.array(ends_s)))[0])
    smoothed = Smoothed(np.full(10, 0.5), np.full(10, of_course))
    found, bare = (
        distance_driven(evidence.motion, evidence.ground, *ends_s, known).value - true
        for known in (smoothed, NOT_SMOOTHED)
    )
    assert abs(found) < 1.5
    assert not of_course or bare < -4.0


def test_what_is_known_already_is_taken_over() -> None:
    truth = simulate(lambda driver: driver.start_rolling(8.0), seed=3)
    evidence = evidence_from(truth, Receiver(), 1, manoeuvres=())
    known = Smoothed(np.full(3, 0.2), np.ones(3, dtype=np.bool_))
    assert smoothed_by_receiver(replace(evidence, smoothed=known)) is known
    assert not smoothed_by_receiver(evidence).time_s.any()
