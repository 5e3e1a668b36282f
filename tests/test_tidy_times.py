"""Times of results carry no noise of floating point; figures keep all their digits."""

from __future__ import annotations

from dataclasses import replace

from roadtest.quantity import Quantity
from roadtest.results import Gap, Manoeuvre
from roadtest.tidy_times import with_tidy_times
from tests.example_results import EXAMPLE

NOISY_S = 1_777_708_812.3 - 1_777_708_800.0


def test_a_time_is_what_the_log_wrote() -> None:
    assert NOISY_S != 12.3
    assert with_tidy_times(Gap(NOISY_S, 0.1 + 0.2)) == Gap(12.3, 0.3)


def test_times_are_found_however_deep_and_nothing_else_is_touched() -> None:
    stop = Manoeuvre("stop-9", "stop", NOISY_S, 15.0, None, True, None)
    length = Quantity(0.1 + 0.2, NOISY_S, "m")
    results = replace(
        EXAMPLE,
        manoeuvres=(stop,),
        drive=replace(EXAMPLE.drive, distance=length, duration_s=NOISY_S),
    )
    tidy = with_tidy_times(results)
    assert tidy.manoeuvres[0].start_s == 12.3
    assert tidy.drive.duration_s == 12.3
    assert tidy.drive.distance == length
    assert replace(tidy, manoeuvres=(stop,), drive=results.drive) == results
