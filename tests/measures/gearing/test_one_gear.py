"""A drive in one gear shows one gear, and a table is not made up around it."""

from __future__ import annotations

import numpy as np

from roadtest.measures.gearing import measure_gearing
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Tach


def all_in_one(driver: Driver) -> None:
    driver.idle(6.0)
    driver.traffic(80.0)
    for speed in (9.0, 14.0, 20.0, 12.0):
        driver.hold(speed, 12.0)
    driver.pull(1, 8.0, 20.0)
    driver.traffic(60.0)


def test_a_car_with_one_gear_has_one() -> None:
    one = Car(ratios=(1.6,), limit_rpm=6500.0)
    truth = simulate(all_in_one, one, seed=3)
    log = tach_log(truth, Tach(offset_s=30.0, rate_hz=5.0), 1)
    found = measure_gearing(evidence_from(truth, Receiver(rate_hz=5.0), 1, tach=[log], draws=20))
    assert found.followed is not None
    assert found.followed.fit is not None
    np.testing.assert_allclose(
        found.followed.fit.log_turns, np.log([one.revs_per_metre(1)]), atol=0.01
    )
    assert found.result.steps == ()
