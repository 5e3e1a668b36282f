"""Pulls: in one gear, and from rest through the gears."""

from __future__ import annotations

import pytest

from roadtest.manoeuvres import Manoeuvre
from tests.manoeuvres.scoring import driven, found_in
from tests.simulation.receiver import Receiver
from tests.simulation.truth import from_profile

SHIFT = (0.7, -0.4)


def _pulls(*parts: tuple[float, float], from_mps: float, rate_hz: float = 10.0) -> list[Manoeuvre]:
    truth = from_profile(driven(*parts), from_mps)
    found = found_in(truth, Receiver(rate_hz=rate_hz))
    return [made for made in found if made.kind == "pull"]


@pytest.mark.parametrize(("rate_hz", "within_s"), [(1.0, 0.4), (10.0, 0.15)])
def test_a_pull_in_one_gear_has_both_ends(rate_hz: float, within_s: float) -> None:
    (pull,) = _pulls((6.0, 0.0), (7.0, 1.6), (6.0, -0.2), from_mps=12.0, rate_hz=rate_hz)

    assert pull.used
    assert not pull.from_rest
    assert pull.start_s == pytest.approx(6.0, abs=within_s)
    assert pull.end_s == pytest.approx(13.0, abs=within_s)


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_a_standing_start_through_the_gears_is_one_pull(rate_hz: float) -> None:
    gears = ((2.5, 4.0), SHIFT, (2.5, 2.8), SHIFT, (4.0, 1.9))
    (pull,) = _pulls((6.0, 0.0), *gears, (5.0, -0.2), from_mps=0.0, rate_hz=rate_hz)

    assert pull.used
    assert pull.from_rest
    assert pull.start_s == pytest.approx(6.0, abs=0.3)
    assert pull.end_s == pytest.approx(16.4, abs=0.4)


def test_a_gear_change_ends_a_rolling_pull() -> None:
    pulls = _pulls((6.0, 0.0), (4.0, 2.4), SHIFT, (4.0, 1.8), (5.0, -0.2), from_mps=9.0)

    assert [pull.used for pull in pulls] == [True, True]
    assert pulls[0].end_s <= pulls[1].start_s


@pytest.mark.parametrize(("low_gear_mps2", "used"), [(2.3, True), (1.9, False)])
def test_a_low_gear_pull_is_part_throttle_only_where_its_rotating_parts_can_not_explain_it(
    low_gear_mps2: float, used: bool
) -> None:
    # In second a quarter of the effort spins engine and wheels up; in top hardly any does.
    low, high = (4.0, low_gear_mps2), (6.0, 1.6)
    pulls = _pulls((6.0, 0.0), low, SHIFT, high, (5.0, -0.2), from_mps=6.0)

    assert [pull.used for pull in pulls] == [used, True]


def test_gathering_speed_gently_is_part_throttle() -> None:
    (pull,) = _pulls((6.0, 0.0), (8.0, 0.9), (5.0, -0.1), from_mps=6.0)

    assert pull.why_not is not None
    assert pull.why_not.startswith("part throttle: ")


def test_a_drive_off_in_town_is_no_standing_start() -> None:
    gears = ((4.0, 1.6), SHIFT, (4.0, 1.3), SHIFT, (4.0, 1.0))
    hard = ((4.0, 3.4), (6.0, -0.2))
    pulls = _pulls((6.0, 0.0), *gears, (6.0, -0.2), *hard, from_mps=0.0)

    assert [(pull.from_rest, pull.used) for pull in pulls] == [(True, False), (False, True)]


def test_a_few_metres_a_second_are_no_pull() -> None:
    assert _pulls((6.0, 0.0), (2.0, 2.0), (5.0, -0.1), from_mps=12.0) == []
