"""Coasts of a log of positions only."""

from __future__ import annotations

import numpy as np

from roadtest.measures.coasting.places import from_places
from roadtest.measures.coasting.runs import coast_runs
from roadtest.measures.windows import read_windows
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import level_road


def test_mean_speeds_are_those_of_the_places_and_their_errors_are_as_large_as_they_say() -> None:
    def script(driver: Driver) -> None:
        driver.start_rolling(24.0)
        driver.coast(22.0, 12.0)

    truth = simulate(script, Car(), level_road(), seed=3)
    receiver = Receiver(rate_hz=1.0, position_white_m=0.2, position_slow_m=2.0)
    evidence = evidence_from(truth, receiver, 3, with_speed=False)
    (run,), _ = coast_runs(evidence, {})
    readings = from_places(evidence, read_windows(evidence, run, 2.0))
    assert readings.wander is not None
    place = np.interp(readings.ends_s, truth.t_s, truth.distance_m)
    error = readings.speed_mps - np.diff(place)[:, 0] / np.diff(readings.ends_s)[:, 0]
    expected = np.diag(readings.covariance)
    assert 0.5 < float(np.mean(error**2 / expected)) < 1.6
    assert np.all(np.diag(readings.wander) < expected)
    # Neighbours share the place between them: if it is too far on, one is fast, the next slow.
    assert np.mean(error[1:] * error[:-1]) < 0.0
