"""A tach whose clock runs fast over a long log: its drift is found, and no clutch is blamed."""

from __future__ import annotations

from dataclasses import replace

from roadtest.measures.gearing import measure_gearing
from roadtest.measures.gearing.blocks import blocks_of
from roadtest.measures.gearing.engine import engine_samples
from roadtest.measures.gearing.follow import follow
from roadtest.measures.gearing.ratios import fit_ratios
from roadtest.measures.gearing.road import Road
from roadtest.measures.gearing.sequence import decode
from roadtest.measures.gearing.turns import turns_per_metre
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.drives import evidence_of
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


def test_what_is_known_beforehand_of_a_drift_counts_once_however_often_it_is_fitted() -> None:
    """The drift comes out the same from a clock brought right and from one 100 ppm off."""
    evidence = evidence_of("right")
    road = Road.of(evidence)
    (samples,) = engine_samples(evidence.tach, evidence.sheet, evidence.start_unix_s)
    found = follow(samples, evidence, road)
    assert found.fit is not None
    totals, u = [], 0.0
    for drift in (0.0, 100e-6):
        clock = replace(found.clock, drift=drift)
        turns = turns_per_metre(samples, road, clock)
        sequence = decode(turns, found.fit.log_turns)
        blocks = blocks_of(evidence, samples, turns, sequence, found.fit.count)
        fit = fit_ratios(blocks, samples, road, drift)
        assert fit is not None
        totals.append(drift + fit.drift)
        u = fit.u_drift
    assert abs(totals[1] - totals[0]) < 0.3 * u
