"""Slip: found where it is, and not taken from shifts, standing starts, tyres or a slow dial."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.measures.gearing import measure_gearing
from roadtest.motion.smoothed import Smoothed
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import SHEET, shakedown_of
from tests.measures.gearing.drives import truth_of
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.sample_crew import clutch_slip
from tests.simulation.tach import Tach
from tests.simulation.truth import Truth


def hard_start(driver: Driver) -> None:
    driver.idle(6.0)
    for speed in (6.0, 9.0, 13.0, 18.0, 24.0):
        driver.hold(speed, 12.0)
    driver.standing(25.0)
    driver.hold(20.0, 10.0, gear=4)
    driver.pull(4, 16.0, 27.0)


@cache
def spinning() -> Truth:
    """Return a drive with a standing start whose wheels spin in first gear."""
    truth = simulate(hard_start, shakedown_of().car, seed=6)
    (start,) = truth.of_kind("standing")
    inside = (truth.t_s > start.start_s) & (truth.t_s < start.end_s) & (truth.gear == 1)
    return dataclasses.replace(
        truth, engine_rpm=np.where(inside, 1.15 * truth.engine_rpm, truth.engine_rpm)
    )


def seen(truth: Truth, tach: Tach) -> Evidence:
    log = tach_log(truth, tach, 6)
    return evidence_from(truth, Receiver(rate_hz=5.0), 6, sheet=SHEET, tach=[log], draws=100)


@pytest.mark.parametrize("lag_s", [0.05, 0.3])
def test_wheelspin_shifts_and_a_slow_dial_are_no_slip(lag_s: float) -> None:
    found = measure_gearing(seen(spinning(), Tach(offset_s=15.0, lag_s=lag_s))).result
    assert found.slips
    assert all(row.gear != 1 for row in found.slips)
    for row in found.slips:
        assert row.slip is not None
        assert row.slip.low < 0.005, row
    assert found.clutch_slip is not None
    assert found.clutch_slip.value < 0.02


def long_pull(driver: Driver) -> None:
    driver.idle(6.0)
    for speed in (6.0, 9.0, 13.0, 18.0, 24.0):
        driver.hold(speed, 12.0)
    driver.pull(4, 11.0, 28.0)
    driver.hold(25.0, 10.0, gear=5)


def test_a_clutch_that_slips_evenly_is_no_further_gear() -> None:
    """An even torque makes an even slip, and engine and road keep step at a ratio of their own."""
    tired = dataclasses.replace(
        shakedown_of().car, torque_fall=0.0, clutch_grip_nm=80.0, clutch_slip_per_nm=0.0026
    )
    truth = simulate(long_pull, tired, seed=8)
    found = measure_gearing(seen(truth, Tach(offset_s=15.0, lag_s=0.1)))
    assert found.followed is not None
    assert found.followed.fit is not None
    assert found.followed.fit.count == len(tired.ratios)
    slipping = clutch_slip(truth)
    assert slipping > 0.1
    assert found.result.clutch_slip is not None
    assert abs(found.result.clutch_slip.value - slipping) < found.result.clutch_slip.u95


def test_a_pull_in_a_gear_hardly_driven_otherwise_clears_no_clutch() -> None:
    """What the clutch may have slipped all along in it is in the ratio that it is told by."""
    truth = simulate(long_pull, shakedown_of().car, seed=8)
    found = measure_gearing(seen(truth, Tach(offset_s=15.0, lag_s=0.1))).result
    assert [row.gear for row in found.slips] == [4]
    assert found.clutch_slip is None


def test_a_receiver_that_smooths_its_speed_is_no_slip() -> None:
    """Where stops have told how much it does: this drive has none that would."""
    truth, lag = truth_of("right"), 0.8
    tach = Tach(offset_s=20.0, lag_s=0.1)
    receiver, log = Receiver(rate_hz=5.0, lag_s=lag), tach_log(truth, tach, 3)
    evidence = evidence_from(truth, receiver, 3, sheet=SHEET, tach=[log], draws=50)
    smoothed = Smoothed(np.full(50, lag), np.zeros(50, dtype=np.bool_))
    found = measure_gearing(dataclasses.replace(evidence, smoothed=smoothed))
    assert found.tach.offset_s is not None
    late = found.tach.offset_s.value - tach.apparent_offset_s() - lag
    assert abs(late) < 0.8 * found.tach.offset_s.u95  # 1.4 where it is taken for a filtered dial
    assert {row.gear for row in found.result.slips} >= {3, 4, 5}
    assert all(row.slip is not None and row.slip.low < 0.001 for row in found.result.slips)


def full_torque_in_third_alone(driver: Driver) -> None:
    driver.idle(6.0)
    for speed in (6.0, 9.0, 13.0, 18.0, 24.0):
        driver.hold(speed, 12.0)
    driver.hold(8.0, 10.0, gear=3)
    driver.pull(3, 8.5, 12.0)
    driver.hold(24.0, 10.0, gear=4)
    driver.pull(4, 24.0, 32.0)


@pytest.mark.parametrize(("rate_hz", "told"), [(0.4, False), (5.0, True)])
def test_a_clutch_that_was_not_seen_at_full_torque_is_not_told_to_hold(
    rate_hz: float, told: bool
) -> None:
    """Rows two and a half seconds apart see the long pull alone, at three quarters of it."""
    early = dataclasses.replace(shakedown_of().car, torque_peak_rpm=1900.0)
    truth = simulate(full_torque_in_third_alone, early, seed=8)
    found = measure_gearing(seen(truth, Tach(rate_hz=rate_hz, offset_s=15.0, lag_s=0.1))).result
    assert found.slips
    assert (found.clutch_slip is not None) == told


def test_what_slips_where_it_was_seen_is_the_least_that_a_clutch_slips() -> None:
    tired = dataclasses.replace(
        shakedown_of().car, torque_peak_rpm=1900.0, clutch_grip_nm=80.0, clutch_slip_per_nm=0.002
    )
    truth = simulate(full_torque_in_third_alone, tired, seed=8)
    closely = measure_gearing(seen(truth, Tach(rate_hz=5.0, offset_s=15.0, lag_s=0.1))).result
    seldom = measure_gearing(seen(truth, Tach(rate_hz=0.4, offset_s=15.0, lag_s=0.1))).result
    assert closely.clutch_slip is not None
    assert abs(closely.clutch_slip.value - clutch_slip(truth)) < closely.clutch_slip.u95
    assert seldom.clutch_slip is None
    (row,) = seldom.slips
    assert row.slip is not None
    assert 0.01 < row.slip.low < row.slip.high < clutch_slip(truth)
