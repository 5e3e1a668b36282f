"""From a log to what is observed: every fix that is lost has its reason."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from roadtest.errors import InputError
from roadtest.logs.model import GpsLog
from roadtest.motion.screening import screen
from tests.evidence_from_truth import gps_log
from tests.simulation.ensembles import random_stops
from tests.simulation.receiver import Receiver


@pytest.fixture(scope="module")
def log() -> GpsLog:
    return gps_log(random_stops(1, count=2), Receiver(rate_hz=5.0), 1)


def changed(log: GpsLog, **arrays: object) -> GpsLog:
    return dataclasses.replace(log, **arrays)  # type: ignore[arg-type]


def test_a_good_log_loses_nothing(log: GpsLog) -> None:
    found = screen(log)
    assert found.rejected == {}
    assert found.source == "doppler"
    assert found.rate_hz == pytest.approx(5.0, rel=1e-6)
    assert found.time_s[0] == 0.0 and found.used.size == log.time_s.size


def test_impossible_speeds_and_crowded_fixes_are_counted(log: GpsLog) -> None:
    speed, time = log.speed_mps.copy(), log.time_s.copy()
    speed[[20, 30]] = 500.0
    time[41] = time[40] + 1e-4
    found = screen(changed(log, speed_mps=speed, time_s=time))
    assert {reason: loss.count for reason, loss in found.rejected.items()} == {
        "speed no car reaches": 2,
        "less than 1 ms after the fix before": 1,
    }
    assert found.used.size == log.time_s.size - 3


def test_without_speeds_positions_are_observed_and_jumps_are_thrown_out(log: GpsLog) -> None:
    latitude = log.latitude_deg.copy()
    latitude[50] += 0.05
    blank = np.full(log.time_s.size, np.nan)
    found = screen(changed(log, speed_mps=blank, latitude_deg=latitude))
    assert found.source == "position"
    assert found.rejected["position jump"].count == 1
    assert found.observed.values.shape[0] == 2


def test_fixes_of_another_day_are_another_drive(log: GpsLog) -> None:
    time = log.time_s.copy()
    time[-5:] += 3 * 86400.0
    found = screen(changed(log, time_s=time))
    assert found.rejected["half a day and more from the drive"].count == 5


def test_too_little_to_go_on_is_one_clear_line(log: GpsLog) -> None:
    speed = np.full(log.time_s.size, 300.0)
    with pytest.raises(InputError, match=r"0 usable fixes of \d+, \d+ with speed no car reaches"):
        screen(changed(log, speed_mps=speed))
