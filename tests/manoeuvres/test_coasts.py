"""Coasts: long, smooth, slow loss of speed."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.manoeuvres import Manoeuvre
from tests.manoeuvres.scoring import driven, found_in
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Floats, from_profile


def _free(seconds: float, from_mps: float) -> Floats:
    """Return accelerations of a free car on the level."""
    accel, speed = [], from_mps
    for _ in range(round(100 * seconds)):
        accel.append(-0.15 - 0.0005 * speed**2)
        speed += 0.01 * accel[-1]
    return np.array(accel)


def _coasts(accel: Floats, from_mps: float, rate_hz: float = 10.0) -> list[Manoeuvre]:
    found = found_in(from_profile(accel, from_mps), Receiver(rate_hz=rate_hz))
    return [made for made in found if made.kind == "coast"]


@pytest.mark.parametrize(("rate_hz", "within_s"), [(1.0, 1.0), (10.0, 0.4)])
def test_a_coast_between_steady_stretches_has_both_ends(rate_hz: float, within_s: float) -> None:
    steady = driven((8.0, 0.0))
    accel = np.concatenate([steady, _free(40.0, 27.0), steady])

    (coast,) = _coasts(accel, 27.0, rate_hz)

    assert coast.used
    assert coast.start_s == pytest.approx(8.0, abs=within_s)
    assert coast.end_s == pytest.approx(48.0, abs=within_s)


def test_a_touch_of_the_throttle_parts_a_coast() -> None:
    first = _free(15.0, 27.0)
    touch = driven((2.0, 0.6))
    speed = 27.0 + 0.01 * (first.sum() + touch.sum())
    accel = np.concatenate([driven((8.0, 0.0)), first, touch, _free(20.0, speed)])

    coasts = _coasts(accel, 27.0)

    assert len(coasts) == 2
    assert coasts[0].end_s == pytest.approx(23.0, abs=0.5)
    assert coasts[1].start_s == pytest.approx(25.0, abs=0.5)


def test_engine_braking_in_a_low_gear_is_too_much_for_a_free_car() -> None:
    assert _coasts(driven((8.0, 0.0), (10.0, -1.1), (8.0, 0.0)), 20.0) == []


def test_a_gap_is_no_coast() -> None:
    accel = np.concatenate([driven((8.0, 0.0)), _free(40.0, 27.0)])
    found = found_in(from_profile(accel, 27.0), Receiver(rate_hz=10.0, gaps=((12.0, 44.0),)))

    assert not [made for made in found if made.kind == "coast" and made.used]
