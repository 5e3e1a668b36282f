"""What is hidden of a start by a receiver that writes zero for a slow car."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadtest.motion.clamped import hidden_starts
from roadtest.motion.distance import distance_driven
from roadtest.motion.ground import ground_under
from tests.motion.conftest import Case, make_case
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver

STARTS = 6


@pytest.fixture(scope="module")
def in_a_queue() -> Case:
    def script(driver: Driver) -> None:
        for _ in range(STARTS):
            driver.idle(6.0)
            driver.cruise(7.0, 4.0)
        driver.idle(6.0)

    return make_case(simulate(script, seed=3), Receiver(rate_hz=5.0, clamp_mps=1.8), 3)


def test_every_start_hides_some_decimetres(in_a_queue: Case) -> None:
    hidden = hidden_starts(in_a_queue.motion)
    assert hidden.way_m.size == STARTS
    assert np.all((hidden.way_m > 0.1) & (hidden.way_m < 1.5))


def test_the_way_is_not_too_short_by_what_is_hidden(in_a_queue: Case) -> None:
    case, end_s = in_a_queue, float(in_a_queue.motion.time_s[-1])
    found = distance_driven(case.motion, ground_under(case.screened, case.motion), 0.0, end_s)
    ends = case.truth.distance_at(np.array([0.0, end_s]) + case.late_s)
    error = found.value - float(ends[1] - ends[0])
    hidden, _ = hidden_starts(case.motion).between(0.0, end_s)
    assert abs(error) < found.u95
    assert abs(error) < abs(error - hidden)


def test_a_receiver_that_shows_every_speed_hides_nothing(stops_at_5_hz: Case) -> None:
    assert hidden_starts(stops_at_5_hz.motion).way_m.size == 0


def test_fixes_lost_while_the_car_pulls_away_are_no_matter_of_the_clamp() -> None:
    def script(driver: Driver) -> None:
        driver.idle(20.0)
        driver.cruise(3.5, 20.0, wander_mps=0.0)
        driver.idle(20.0)

    truth = simulate(script, seed=4)
    off_s = float(truth.t_s[np.argmax(truth.speed_mps > 0.0)])
    lost = Receiver(rate_hz=5.0, clamp_mps=1.5, gaps=((off_s + 0.1, off_s + 2.7),))
    case = make_case(truth, lost, 4)
    ground, end_s = ground_under(case.screened, case.motion), float(case.motion.time_s[-1])
    found = distance_driven(case.motion, ground, 0.0, end_s)
    assert abs(found.value - float(truth.distance_m[-1])) < found.u95


def test_a_speed_that_jumps_up_and_stays_hides_no_long_way(in_a_queue: Case) -> None:
    speed = in_a_queue.motion.speed_mps
    jumps = replace(in_a_queue.motion, speed_mps=np.where(speed > 0.5, 10.0, 0.0))
    assert np.all(hidden_starts(jumps).way_m < 10.0)
