"""Speeds of a late receiver are laid over the road that the car was on when it had them."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.coasting.measure import places_as_late_as_speeds
from tests.evidence_from_truth import evidence_from
from tests.simulation.receiver import Receiver
from tests.simulation.truth import from_profile

LATE_S = 1.2


def test_places_come_with_the_speeds_that_the_car_had_there() -> None:
    time = np.arange(0.0, 140.0, 0.01)
    truth = from_profile(0.8 * np.sign(np.sin(2.0 * np.pi * time / 40.0)), 8.0, 0.01)
    evidence = evidence_from(truth, Receiver(rate_hz=5.0, delay_s=LATE_S), 3, manoeuvres=())
    moved = places_as_late_as_speeds(evidence)
    at = np.arange(20.0, 120.0, 5.0)
    start_s = evidence.start_unix_s - truth.start_utc_s
    shown_mps = np.interp(at, evidence.motion.time_s, evidence.motion.speed_mps)
    there = {
        name: np.interp(at, one.ground.time_s, one.ground.east_m)
        for name, one in (("before", evidence), ("after", moved))
    }
    when = {
        name: np.interp(
            east - there["after"][0],
            truth.distance_m - truth.distance_at(at[0] + start_s - LATE_S),
            truth.t_s,
        )
        for name, east in there.items()
    }
    off = {name: truth.speed_at(t) - shown_mps for name, t in when.items()}
    assert np.sqrt(np.mean(off["after"] ** 2)) < 0.2
    assert np.sqrt(np.mean(off["before"] ** 2)) > 0.5
    assert moved.gps.time_s - evidence.gps.time_s == pytest.approx(LATE_S, abs=0.1)
