"""Altitudes seen about the coasts' road at other times of the drive."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.coasting.passes import Passes, passes_over
from roadtest.measures.coasting.runs import coast_runs
from roadtest.measures.stretch import Stretch
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import Road

SLOPE = 0.01
ROAD = Road(slope_east=SLOPE, altitude_m=50.0)  # the car sets out to the east
RECEIVER = Receiver(rate_hz=5.0, white_mps=0.01, fast_mps=0.0, slow_mps=0.0, altitude_slow_m=1.0)


def there_and_back(driver: Driver) -> None:
    """One coast to the east, between a way there, a way back and one that leads off the road."""
    driver.start_rolling(15.0)
    driver.cruise(15.0, 25.0)
    driver.turn_round()
    driver.cruise(15.0, 22.0)
    driver.turn_round()
    driver.coast(24.0, 10.0)
    driver.turn_round()
    driver.cruise(15.0, 25.0)
    driver.turn(90.0)
    driver.cruise(15.0, 20.0)


@functools.cache
def drive() -> tuple[Evidence, Stretch]:
    truth = simulate(there_and_back, Car(), ROAD, seed=4)
    evidence = evidence_from(truth, RECEIVER, 4)
    ((run,), _) = coast_runs(evidence, {})
    return evidence, run


def found(**changes: object) -> Passes:
    evidence, run = drive()
    gps = dataclasses.replace(evidence.gps, **changes)  # type: ignore[arg-type]
    return passes_over(dataclasses.replace(evidence, gps=gps), (run,))


def test_they_are_near_the_road_and_never_within_the_run() -> None:
    passes, (_, run) = found(), drive()
    before, after = passes.ends_s[:, 1] < run.time_s[0], passes.ends_s[:, 0] > run.time_s[-1]
    assert before.sum() > 3 and after.sum() > 3
    assert np.all(before | after)
    assert 100.0 < np.abs(passes.north_m - run.north_m.mean()).max() < 201.0
    assert passes.east_m.min() > run.east_m.min() - 201.0
    assert passes.east_m.max() < run.east_m.max() + 201.0


def test_they_show_the_slope_of_the_road() -> None:
    passes = found()
    slope, _ = np.polyfit(passes.east_m.mean(axis=1), passes.altitude_m, 1)
    assert slope == pytest.approx(SLOPE, abs=0.003)


def test_a_log_without_altitudes_or_positions_has_none() -> None:
    evidence, run = drive()
    assert found(altitude_m=np.full_like(evidence.gps.altitude_m, np.nan)).altitude_m.size == 0
    nowhere = np.full_like(evidence.ground.east_m, np.nan)
    ground = dataclasses.replace(evidence.ground, east_m=nowhere, north_m=nowhere)
    assert passes_over(dataclasses.replace(evidence, ground=ground), (run,)).ends_s.shape == (0, 2)


def test_a_gap_and_a_step_that_no_road_makes_break_the_zero() -> None:
    evidence, _ = drive()
    assert found().breaks_s.size == 0
    time_s = evidence.gps.time_s - evidence.start_unix_s
    moved = evidence.gps.altitude_m + 9.0 * (time_s > 50.0)
    assert found(altitude_m=moved).breaks_s == pytest.approx([50.0], abs=0.21)
    gone = np.where((time_s > 20.0) & (time_s < 35.0), np.nan, evidence.gps.altitude_m)
    assert found(altitude_m=gone).breaks_s == pytest.approx([35.0], abs=0.21)


def test_they_narrow_what_a_run_shows() -> None:
    """Altitudes of other passes tell a run's slope from its rolling resistance."""
    evidence, run = drive()
    time_s = evidence.gps.time_s - evidence.start_unix_s
    inside = (time_s >= run.time_s[0]) & (time_s <= run.time_s[-1])
    alone = dataclasses.replace(
        evidence,
        gps=dataclasses.replace(
            evidence.gps, altitude_m=np.where(inside, evidence.gps.altitude_m, np.nan)
        ),
    )
    rolling = [measure_coasting(one, {}).result.rolling_coefficient for one in (evidence, alone)]
    assert rolling[0] is not None and rolling[1] is not None
    assert rolling[0].u95 < 0.9 * rolling[1].u95
    assert abs(rolling[0].value - Car().rolling_coefficient) < rolling[0].u95
