"""What is to be looked at before dial and odometer are believed."""

from __future__ import annotations

import pytest

from roadtest.measures.measuring import unlike
from roadtest.quantity import Quantity
from roadtest.results import Reading


def readings(scale: float, offset_mps: float = 0.0) -> tuple[Reading, ...]:
    return tuple(
        Reading(f"hold-{k}", Quantity(scale * v + offset_mps, 0.4, "m/s"), Quantity(v, 0.2, "m/s"))
        for k, v in enumerate((13.0, 22.0, 31.0))
    )


@pytest.mark.parametrize(("dial", "counter"), [(1.0, 1.0), (1.1, 1.0), (1.06, 1.12), (1.16, 1.0)])
def test_a_dial_that_shows_more_than_its_odometer_counts_is_as_they_are_made(
    dial: float, counter: float
) -> None:
    assert unlike(readings(dial), Quantity(counter, 0.01, "1")) == ""


@pytest.mark.parametrize(("dial", "counter"), [(1.066, 1.198), (1.0, 0.62), (1.0, 1.61)])
def test_an_odometer_that_counts_otherwise_than_its_dial_shows_is_questioned(
    dial: float, counter: float
) -> None:
    said = unlike(readings(dial), Quantity(counter, 0.01, "1"))
    assert said.startswith(f"The odometer counts {counter:.3g} times the way driven, but the dial")


def test_one_of_the_two_alone_says_nothing() -> None:
    assert unlike((), Quantity(2.0, 0.01, "1")) == ""
    assert unlike(readings(2.0), None) == ""


def test_a_slope_that_an_offset_makes_up_for_is_no_slip() -> None:
    assert unlike(readings(0.915, 2.0), Quantity(1.02, 0.01, "1")) == ""
