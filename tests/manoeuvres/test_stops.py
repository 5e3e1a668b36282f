"""Stops: where they begin, which are brake tests, and the reasons of those that are not."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from roadtest.manoeuvres import Manoeuvre
from roadtest.manoeuvres.onset import brake_onset
from tests.manoeuvres.scoring import driven, found_in, motion_of, town_drive
from tests.simulation.ensembles import random_stops
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Floats, Truth, from_profile

TEN_HZ = Receiver(rate_hz=10.0)
FAST = 25.0


def _stops(truth: Truth, receiver: Receiver = TEN_HZ) -> list[Manoeuvre]:
    return [made for made in found_in(truth, receiver) if made.kind == "stop"]


def _braked(*parts: tuple[float, float], from_mps: float = FAST) -> list[Manoeuvre]:
    return _stops(from_profile(driven((5.0, 0.0), *parts, (5.0, 0.0)), from_mps))


def _to_rest(from_mps: float, decel_mps2: float) -> tuple[float, float]:
    return from_mps / decel_mps2, -decel_mps2


def _ramp(rise_s: float, decel_mps2: float) -> Floats:
    return np.asarray(-decel_mps2 * (np.arange(round(100 * rise_s)) + 0.5) / (100 * rise_s))


def test_a_hard_stop_to_rest_is_used() -> None:
    (stop,) = _braked(_to_rest(FAST, 6.0))

    assert stop.used
    assert stop.to_rest
    assert stop.end_s == pytest.approx(5.0 + FAST / 6.0, abs=0.1)


@pytest.mark.parametrize(("rate_hz", "within_s"), [(1.0, 0.2), (5.0, 0.1), (25.0, 0.06)])
@pytest.mark.parametrize("rise_s", [0.2, 0.35, 0.5])
def test_the_onset_is_the_foot_of_the_rise(rate_hz: float, within_s: float, rise_s: float) -> None:
    lift = driven((6.0, 0.0), (0.3, -0.7))
    plateau = driven(((FAST - 0.2 - 3.0 * rise_s) / 6.0, -6.0), (5.0, 0.0))
    truth = from_profile(np.concatenate([lift, _ramp(rise_s, 6.0), plateau]), FAST)
    errors = []
    for seed in range(4):
        motion, _ = motion_of(truth, Receiver(rate_hz=rate_hz), seed)
        errors.append(brake_onset(motion, 6.3 + 0.5 * rise_s + 0.1).time_s - 6.3)

    assert abs(np.mean(errors)) < within_s


def test_a_pedal_eased_for_a_moment_makes_the_stop_unfit() -> None:
    (stop,) = _braked((1.5, -6.0), (0.6, -1.5), _to_rest(FAST - 9.9, 6.0))

    assert not stop.used
    assert stop.why_not is not None
    assert stop.why_not.startswith("interrupted: pedal eased at 6.")


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 25.0])
@pytest.mark.parametrize("for_s", [0.8, 1.2])
def test_a_pedal_eased_to_six_tenths_in_mid_stop_makes_it_unfit(
    rate_hz: float, for_s: float
) -> None:
    rest = (FAST - 7.5 - 3.6 * for_s) / 6.0
    truth = from_profile(
        driven((5.0, 0.0), (1.25, -6.0), (for_s, -3.6), (rest, -6.0), (5.0, 0.0)), FAST
    )
    (stop,) = _stops(truth, Receiver(rate_hz=rate_hz))

    assert not stop.used
    assert stop.why_not is not None
    assert stop.why_not.startswith("interrupted: pedal eased at 6.")


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 25.0])
def test_uneven_feet_and_smoothing_receivers_interrupt_nothing(rate_hz: float) -> None:
    for seed in range(3):
        receiver = Receiver(rate_hz=rate_hz, white_mps=0.06, lag_s=0.2 * seed)
        stops = [
            made
            for made in found_in(random_stops(20 + seed), receiver, seed)
            if made.kind == "stop"
        ]
        assert [stop.used for stop in stops] == [True] * 4, [stop.why_not for stop in stops]


@pytest.mark.parametrize("gap_s", [3.0, 20.0, 80.0])
def test_a_gap_in_which_the_car_slowed_or_stood_is_no_stop(gap_s: float) -> None:
    """Fast before the gap and standing after it: how it came to rest nobody saw."""
    slowing = _to_rest(FAST, FAST / (gap_s - 1.0))
    truth = from_profile(driven((8.0, 0.0), slowing, (8.0, 0.0)), FAST)
    stops = _stops(truth, Receiver(rate_hz=10.0, gaps=((8.2, 7.9 + gap_s),)))
    assert not any(stop.used for stop in stops)

    eased = driven((8.0, 0.0), (gap_s, -12.0 / gap_s), (8.0, 0.0))
    stops = _stops(from_profile(eased, FAST), Receiver(rate_hz=10.0, gaps=((8.0, 8.0 + gap_s),)))
    assert not any(stop.used for stop in stops)


@pytest.mark.parametrize("clamp_mps", [1.0, 2.0])
def test_a_receiver_that_turns_the_last_speed_into_zero_brakes_nothing(clamp_mps: float) -> None:
    """A gentle stop shown to end at once is gentle all the same, and no harder for it."""
    truth = from_profile(driven((5.0, 0.0), _to_rest(20.0, 1.8), (5.0, 0.0)), 20.0)
    stops = _stops(truth, Receiver(rate_hz=10.0, clamp_mps=clamp_mps))

    assert not any(stop.used for stop in stops)
    assert all((stop.why_not or "").startswith("gentle: 1.8") for stop in stops)


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_everyday_driving_gives_no_stop_to_judge(rate_hz: float) -> None:
    stops = _stops(town_drive(31, 200.0), Receiver(rate_hz=rate_hz))

    assert not any(stop.used for stop in stops)


def test_a_fading_stop_is_no_interrupted_one() -> None:
    (stop,) = _braked((2.0, -6.0), (1.5, -5.0), _to_rest(FAST - 19.5, 4.0))

    assert stop.used


def test_brakes_let_go_before_rest_make_a_snub() -> None:
    (stop,) = _braked((2.0, -6.0), (5.0, 0.0))

    assert not stop.to_rest
    assert stop.why_not is not None
    assert stop.why_not.startswith("brakes let go at 13.")
    assert stop.end_s == pytest.approx(7.0, abs=0.1)


def test_slowing_without_the_brakes_is_no_stop() -> None:
    assert _braked((10.0, -1.3), (5.0, 0.0)) == []


def test_a_gentle_stop_is_listed_with_its_deceleration() -> None:
    (stop,) = _braked(_to_rest(FAST, 2.0))

    assert stop.why_not == (
        "gentle: 2.0 m/s² fully developed; below 3 m/s² a stop is everyday braking, "
        "not a brake test"
    )


def test_weak_brakes_are_judged_when_they_were_tried_again_and_again() -> None:
    once = (_to_rest(20.0, 2.7), (4.0, 0.0), (10.0, 2.0), (5.0, 0.0))

    two = _stops(from_profile(driven((5.0, 0.0), *(2 * once)), 20.0))
    three = _stops(from_profile(driven((5.0, 0.0), *(3 * once)), 20.0))

    assert [stop.used for stop in two] == [False, False]
    assert [stop.used for stop in three] == [True, True, True]


def test_a_stop_from_a_crawl_is_too_slow() -> None:
    (stop,) = _braked(_to_rest(6.0, 5.0), from_mps=6.0)

    assert stop.why_not is not None
    assert stop.why_not.startswith("too slow: from 6.0 m/s")


def test_braking_in_two_steps_has_no_beginning() -> None:
    (stop,) = _braked((2.0, -2.5), _to_rest(FAST - 5.0, 6.5))

    assert stop.why_not is not None
    assert stop.why_not.startswith("already braking at ")


def test_a_slow_approach_off_the_throttle_does_not_move_the_beginning() -> None:
    (stop,) = _braked((6.0, -1.0), _to_rest(FAST - 6.0, 6.0))

    assert stop.used
    assert stop.start_s == pytest.approx(11.0, abs=0.15)


def test_a_log_that_begins_or_ends_in_the_braking_says_so() -> None:
    begins = _stops(from_profile(driven(_to_rest(20.0, 6.0), (5.0, 0.0)), 20.0))
    ends = _stops(from_profile(driven((5.0, 0.0), (2.0, -6.0)), 20.0))

    assert [stop.why_not for stop in begins] == ["the log begins during the braking"]
    assert [stop.why_not for stop in ends] == ["the log ends before the car stands"]


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_a_gap_in_the_fixes_makes_the_stop_unfit_and_leaves_the_others(rate_hz: float) -> None:
    truth = random_stops(3, 3, from_mps=20.0)
    middle = truth.of_kind("stop")[1]
    gap = (middle.start_s + 0.3, middle.start_s + 3.9)
    stops = _stops(truth, Receiver(rate_hz=rate_hz, gaps=(gap,)))

    assert [stop.used for stop in stops] == [True, False, True]
    assert stops[1].why_not is not None
    assert stops[1].why_not.startswith("no usable fixes from ")


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_a_receiver_that_shows_no_walking_pace_does_not_end_stops_early(rate_hz: float) -> None:
    truth = random_stops(5, 3)
    stops = _stops(truth, Receiver(rate_hz=rate_hz, clamp_mps=2.0))
    true_ends = [stop.end_s for stop in truth.of_kind("stop")]

    assert [stop.used for stop in stops] == [True, True, True]
    assert [stop.end_s for stop in stops] == pytest.approx(true_ends, abs=0.25)


def test_a_slow_logger_is_no_reason_against_a_stop() -> None:
    truth = random_stops(7, 3)

    stops = _stops(truth, dataclasses.replace(TEN_HZ, rate_hz=1.0))

    assert [stop.used for stop in stops] == [True, True, True]
