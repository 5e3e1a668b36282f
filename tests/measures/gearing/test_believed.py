"""A gear more is believed only when it explains what is seen better by enough."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from roadtest.measures.gearing.believed import Cells, believed, gathered

Floats = NDArray[np.float64]

GEARS = np.log([7.7, 4.0, 2.6, 1.8, 1.37])
ROW_S = 5.0


def rows(rng: np.random.Generator, in_gear: int, blends: int, u: float) -> tuple[Floats, Floats]:
    """Return rows of a slow log: some in each gear, and blends smoothly between first and third."""
    locked = np.repeat(GEARS, in_gear)
    spread = np.full(locked.size, 0.015)
    spread[locked > 1.0] = u
    locked = locked + spread * rng.standard_t(4, locked.size)
    free = rng.normal(np.log(4.6), 0.35, blends)
    return np.concatenate([locked, free]), np.concatenate([spread, np.full(blends, u)])


def cells(value: Floats, spread: Floats, every_s: float = ROW_S) -> Cells:
    return gathered(value, spread, np.full(value.size, every_s))


@pytest.mark.parametrize("seed", range(12))
def test_blends_that_heap_up_by_chance_are_no_gear(seed: int) -> None:
    """The fullest heap of broad blends between two gears is offered, and refused."""
    rng = np.random.default_rng(seed)
    value, spread = rows(rng, 50, 100, 0.06)
    grid = np.log(np.arange(4.5, 6.9, 0.05))
    count = (np.abs(value[:, None] - grid) < 0.03).sum(axis=0)
    heap = grid[np.argmax(count)]
    offered = np.sort(np.append(GEARS, heap))[::-1]
    np.testing.assert_array_equal(believed(offered, cells(value, spread)), GEARS)


@pytest.mark.parametrize("seed", range(12))
def test_a_gear_seldom_used_is_kept_where_it_is_seen_sharply(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    value, spread = rows(rng, 30, 60, 0.03)
    seldom = np.log(5.5) + 0.015 * rng.normal(size=20)
    value, spread = np.append(value, seldom), np.append(spread, np.full(20, 0.015))
    offered = np.sort(np.append(GEARS, np.log(5.5)))[::-1]
    assert believed(offered, cells(value, spread)).size == 6


def test_many_samples_of_one_second_tell_no_more_than_the_second_does() -> None:
    rng = np.random.default_rng(7)
    value, spread = rows(rng, 30, 60, 0.03)
    once = np.full(40, np.log(5.5))
    value, spread = np.append(value, once), np.append(spread, np.full(40, 0.015))
    every_s = np.append(np.full(value.size - 40, ROW_S), np.full(40, 0.025))
    offered = np.sort(np.append(GEARS, np.log(5.5)))[::-1]
    found = believed(offered, gathered(value, spread, every_s))
    np.testing.assert_array_equal(found, GEARS)


def test_nothing_seen_or_nothing_offered() -> None:
    nothing = np.zeros(0)
    assert believed(nothing, cells(GEARS, np.full(5, 0.01))).size == 0
    np.testing.assert_array_equal(believed(GEARS, cells(nothing, nothing)), GEARS)
