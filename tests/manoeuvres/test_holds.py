"""Holds: steady stretches long enough to read a dial."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.manoeuvres import Manoeuvre, find_manoeuvres
from roadtest.manoeuvres.holds import longest_within
from tests.manoeuvres.scoring import driven, motion_of
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Floats, Truth, from_profile


def _holds(
    truth: Truth, rate_hz: float = 10.0, readings_s: tuple[float, ...] = ()
) -> list[Manoeuvre]:
    motion, _ = motion_of(truth, Receiver(rate_hz=rate_hz))
    return [made for made in find_manoeuvres(motion, readings_s) if made.kind == "hold"]


def _wandering(seconds: float, amplitude_mps: float, period_s: float) -> Floats:
    """Return accelerations of a speed that swings by ± amplitude."""
    time = 0.01 * np.arange(round(100 * seconds))
    turn = 2.0 * np.pi / period_s
    return np.asarray(amplitude_mps * turn * np.cos(turn * time))


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_two_speeds_with_a_ramp_between_are_two_holds(rate_hz: float) -> None:
    truth = from_profile(driven((12.0, 0.0), (4.0, 1.1), (15.0, 0.0)), 14.0)
    holds = _holds(truth, rate_hz)

    assert [hold.used for hold in holds] == [True, True]
    assert holds[0].end_s == pytest.approx(12.0, abs=0.5)
    assert holds[1].start_s == pytest.approx(16.0, abs=0.5)


def test_a_hold_of_a_person_is_one_hold() -> None:
    truth = from_profile(_wandering(20.0, 0.4, 11.0), 20.0)

    (hold,) = _holds(truth)

    assert hold.used
    assert hold.end_s - hold.start_s > 19.0


def test_speed_that_swings_is_not_held() -> None:
    truth = from_profile(_wandering(60.0, 1.5, 12.0), 20.0)

    assert not [hold for hold in _holds(truth) if hold.used]


def test_a_slow_drift_is_cut_where_it_leaves_the_limits() -> None:
    truth = from_profile(driven((40.0, 0.1)), 16.0)

    for hold in _holds(truth):
        assert 0.1 * (hold.end_s - hold.start_s) < 2.2


def test_a_few_steady_seconds_are_too_short() -> None:
    truth = from_profile(driven((4.0, 1.2), (3.5, 0.0), (4.0, 1.2)), 16.0)

    (hold,) = _holds(truth)

    assert hold.why_not is not None
    assert hold.why_not.startswith("too short: 3.")


def test_at_town_speed_a_short_hold_counts_when_the_dial_was_read() -> None:
    truth = from_profile(driven((4.0, 1.2), (7.0, 0.0), (3.0, 1.2)), 6.0)

    (unread,) = _holds(truth)
    (read,) = _holds(truth, readings_s=(9.0,))

    assert unread.why_not is not None
    assert unread.why_not.startswith("too short for so low a speed: ")
    assert read.used


def test_a_gap_divides_a_hold() -> None:
    truth = from_profile(driven((60.0, 0.0)), 20.0)
    motion, _ = motion_of(truth, Receiver(rate_hz=5.0, gaps=((25.0, 33.0),)))

    first, second = find_manoeuvres(motion)

    assert first.end_s == pytest.approx(25.0, abs=0.5)
    assert second.start_s == pytest.approx(33.0, abs=0.5)


@settings(derandomize=True, deadline=None)
@given(st.lists(st.integers(0, 9), min_size=1, max_size=25), st.integers(0, 6))
def test_longest_within_is_the_longest(values: list[int], most: int) -> None:
    start, end = longest_within(np.array(values, dtype=np.float64), float(most))

    lengths = [
        j - i
        for i in range(len(values))
        for j in range(i + 1, len(values) + 1)
        if max(values[i:j]) - min(values[i:j]) <= most
    ]
    assert end - start == max(lengths)
    assert max(values[start:end]) - min(values[start:end]) <= most
