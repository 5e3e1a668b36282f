"""Slip: found where it is, and not taken from shifts, standing starts, tyres or a slow dial."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.gearing.slip import largest
from roadtest.quantity import Quantity
from roadtest.results import PullSlip
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import SHEET, shakedown_of
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
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


def slip(value: float, u95: float) -> PullSlip:
    return PullSlip("pull-1", 3, None, Quantity(value, u95, "1"))


def test_the_surest_slip_counts_and_without_any_the_best_known_figure() -> None:
    sure, unsure, sound = slip(0.05, 0.01), slip(0.06, 0.04), slip(0.001, 0.005)
    assert largest((unsure, sure, sound)) == sure.slip
    assert largest((slip(0.02, 0.03), sound)) == sound.slip
    assert largest(()) is None
