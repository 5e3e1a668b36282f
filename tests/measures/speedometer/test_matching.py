"""Which reading belongs to which hold."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from roadtest.measures.speedometer import matching
from roadtest.measures.speedometer.matching import (
    SURE_ENOUGH,
    HoldSpeeds,
    chances_by_time,
    chances_in_order,
)

Floats = NDArray[np.float64]
MPH = 0.44704
U_READ = 0.258  # of a 2 mph graduation


def holds(*true_mph: float) -> HoldSpeeds:
    n = len(true_mph)
    start = 60.0 * np.arange(n)
    return HoldSpeeds(start, start + 15.0, MPH * np.array(true_mph), np.full(n, 0.05))


def chances(shown_mph: tuple[float, ...], true: HoldSpeeds) -> Floats:
    shown = MPH * np.array(shown_mph)
    return chances_in_order(shown, np.full(shown.size, U_READ), true)


def sure(table: Floats) -> list[int | None]:
    return [int(row.argmax()) if row.max() >= SURE_ENOUGH else None for row in table]


@pytest.mark.parametrize("scale", [0.90, 0.98, 1.0, 1.06, 1.25])
def test_as_many_readings_as_holds_go_one_to_one(scale: float) -> None:
    shown = (30.0, 40.0, 50.0, 60.0, 70.0)
    assert sure(chances(shown, holds(*(s / scale for s in shown)))) == [0, 1, 2, 3, 4]


def test_holds_that_nobody_listed_are_left_out() -> None:
    table = chances((30.0, 40.0, 50.0, 60.0), holds(22.0, 28.7, 38.4, 56.0, 48.2, 58.1, 24.0))
    assert sure(table) == [1, 2, 4, 5]


def test_a_listed_speed_that_was_never_held_is_left_out() -> None:
    table = chances((30.0, 40.0, 50.0, 60.0, 70.0), holds(29.0, 48.4, 58.0, 67.8))
    assert sure(table) == [0, None, 1, 2, 3]
    assert table[1].max() < 0.1


def test_order_counts_where_a_speed_comes_twice() -> None:
    assert sure(chances((60.0, 30.0, 60.0), holds(57.0, 28.6, 57.2))) == [0, 1, 2]


def test_two_matchings_about_as_good_are_refused() -> None:
    # All read 5 mph high on the first four, or 5 mph low on the last four.
    table = chances((30.0, 40.0, 50.0, 60.0), holds(25.0, 35.0, 45.0, 55.0, 65.0))
    assert sure(table) == [None, None, None, None]
    assert np.all(table.max(axis=1) < 0.75)


def test_one_reading_for_two_like_holds_is_refused_and_the_others_are_not() -> None:
    table = chances((30.0, 40.0, 60.0), holds(28.6, 38.3, 38.1, 57.2))
    assert sure(table) == [0, None, 3]


def test_nothing_to_match_gives_an_empty_table() -> None:
    assert chances((), holds(30.0)).shape == (0, 1)
    assert chances((30.0,), holds()).shape == (1, 0)


def test_sums_over_all_matchings_agree_with_counting_them_one_by_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(matching, "dial_laws", lambda: (np.ones(1), np.zeros(1), np.ones(1)))
    shown, true = MPH * np.array([30.0, 31.0, 33.0]), holds(30.5, 31.5, 32.0, 33.5)
    table = chances_in_order(shown, np.full(3, U_READ), true)
    assert table == pytest.approx(_one_by_one(shown, true), abs=1e-12)


def _one_by_one(shown: Floats, true: HoldSpeeds) -> Floats:
    """Enumerate every matching that keeps both orders, under the law shown = true."""
    m, n = shown.size, true.speed_mps.size
    spread = np.sqrt(U_READ**2 + 0.05**2 + matching.OFF_LINE_MPS**2)
    both = (1.0 - matching.NOT_HELD) * (1.0 - matching._NOT_LISTED)
    table, total = np.zeros((m, n)), 0.0
    for k in range(min(m, n) + 1):
        for taken in itertools.combinations(range(m), k):
            for hold in itertools.combinations(range(n), k):
                weight = (matching.NOT_HELD / matching.FASTEST_DIAL_MPS) ** (m - k)
                weight *= matching._NOT_LISTED ** (n - k)
                for i, j in zip(taken, hold, strict=True):
                    z = (shown[i] - true.speed_mps[j]) / spread
                    weight *= both * np.exp(-0.5 * z * z) / spread / np.sqrt(2.0 * np.pi)
                total += weight
                for i, j in zip(taken, hold, strict=True):
                    table[i, j] += weight
    return table / total


def test_a_time_inside_a_hold_or_just_beside_it_belongs_to_it() -> None:
    true = holds(30.0, 40.0, 50.0)
    for time_s in (60.0, 67.0, 75.0, 79.0, 56.0):
        found = chances_by_time(time_s, 5.0 / 1.96, true, 600.0)
        assert found.argmax() == 1
        assert found[1] > SURE_ENOUGH


def test_a_time_known_exactly_is_taken_too() -> None:
    assert chances_by_time(67.0, 0.0, holds(30.0, 40.0, 50.0), 600.0)[1] > SURE_ENOUGH


def test_a_time_far_from_every_hold_belongs_to_none() -> None:
    assert chances_by_time(105.0, 5.0 / 1.96, holds(30.0, 40.0, 50.0), 600.0).max() < 0.01


def test_a_time_between_two_close_holds_is_not_sure() -> None:
    close = HoldSpeeds(
        np.array([0.0, 17.0]), np.array([15.0, 32.0]), np.array([13.0, 18.0]), np.full(2, 0.05)
    )
    assert chances_by_time(16.0, 5.0 / 1.96, close, 600.0).max() < SURE_ENOUGH
