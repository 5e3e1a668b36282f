"""What tight turns do to the speed a receiver shows, and to the gears told from it."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.gearing.bending import Bending
from roadtest.measures.gearing.measure import follow_all
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import FOUR, ROLL_OUT_M
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Tach


def test_the_rate_is_that_of_the_turn_and_is_felt_for_seconds_after() -> None:
    time = np.arange(0.0, 60.0, 0.1)
    heading = np.clip(0.5 * (time - 20.0), 0.0, np.pi)  # over at 26.3 s
    rng = np.random.default_rng(3)
    noisy = heading + rng.normal(0.0, 0.01, time.size)
    noisy[time < 5.0] = np.nan
    bends = Bending.of(time, noisy, np.full(time.size, 4.0), np.array([10.0, 23.0, 28.0, 35.0]))
    assert bends.rate_square == pytest.approx([0.0, 0.125, 0.0, 0.0], abs=0.005)
    assert bends.felt_square == pytest.approx([0.0, 0.125, 0.125, 0.0], abs=0.01)
    assert bends.curve_square == pytest.approx(bends.rate_square / 16.0)


def test_a_car_never_seen_to_move_does_not_turn() -> None:
    bends = Bending.of(np.arange(3.0), np.full(3, np.nan), np.zeros(3), np.arange(2.0))
    assert not bends.rate_square.any()
    assert not bends.felt_square.any()


def turns_and_stops(driver: Driver) -> None:
    """First gear is driven round tight turns and no otherwise."""
    driver.start_rolling(15.0)
    for _ in range(5):
        driver.hold(15.0, 12.0)
        driver.turn_round()
        driver.hold(9.0, 10.0, gear=2)
        driver.stop(16.0)
        driver.hold(12.0, 10.0, gear=3)


@pytest.mark.parametrize(
    ("of_course", "ahead_m"), [(True, 0.0), (True, 1.2), (False, 0.0), (False, 1.2)]
)
def test_first_gear_holds_though_it_was_only_driven_round_turns(
    of_course: bool, ahead_m: float
) -> None:
    car = Car(ratios=FOUR, axle=4.22, circumference_m=ROLL_OUT_M)
    truth = simulate(turns_and_stops, car, seed=5)
    receiver = Receiver(lag_s=0.5, delay_s=0.3, lag_of_course=of_course, ahead_m=ahead_m)
    log = tach_log(truth, Tach(offset_s=15.0, lag_s=0.1), 1)
    found = follow_all(evidence_from(truth, receiver, 1, tach=[log], draws=2))[0].fit
    assert found is not None
    assert found.count == len(FOUR)
    true = np.log([car.revs_per_metre(g + 1) for g in range(found.count)])
    between = np.diff(np.eye(found.count), axis=0)
    off = between @ (found.log_turns - true)
    spread = between @ found.covariance[: found.count, : found.count] @ between.T
    # Where the antenna lies and how much tyres creep are as far from what is usual in every drive.
    assert np.all(np.abs(off) < 3.0 * np.sqrt(np.diag(spread)))
    assert np.sqrt(spread[0, 0]) < 0.012
