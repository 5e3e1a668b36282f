"""A tach whose clock runs fast over a long log: its drift is found, and no clutch is blamed."""

from __future__ import annotations

from roadtest.measures.gearing import measure_gearing
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Tach

DRIFT = 1e-4


def long_drive(driver: Driver) -> None:
    driver.idle(8.0)
    for _ in range(6):
        driver.traffic(200.0)
        for gear in (3, 4, 5):
            low = 1900.0 / 60.0 / driver.car.revs_per_metre(gear)
            driver.hold(min(1.2 * low, 29.0), 20.0, gear=gear)
            driver.pull(gear, low, min(1.7 * low, 29.0))
    driver.idle(5.0)


def test_the_drift_of_a_clock_is_found_and_a_sound_clutch_is_sound() -> None:
    truth = simulate(long_drive, Car(), seed=7)
    log = tach_log(truth, Tach(offset_s=-900.0, drift=DRIFT, rate_hz=10.0, step_rpm=10.0), 1)
    evidence = evidence_from(truth, Receiver(rate_hz=5.0), 1, tach=[log], draws=20)
    found = measure_gearing(evidence)
    assert found.tach.drift is not None and found.result.clutch_slip is not None
    assert abs(found.tach.drift.value - DRIFT) < 2.0 * found.tach.drift.u95 < 0.3 * DRIFT
    assert found.result.clutch_slip.high < 0.02
