"""Bins for the clutch: every stretch has some of a second before any has shorter ones."""

from __future__ import annotations

import numpy as np

from roadtest.measures.gearing.sharing import shared_out


def test_a_short_pull_is_looked_at_by_the_second_beside_many_long_ones() -> None:
    """Twenty pulls of five seconds, and one in second gear that takes a little less torque."""
    torque, seconds = np.full(21, 1.0), np.full(21, 5.0)
    torque[4], seconds[4] = 0.9, 2.1
    bins = shared_out(torque, seconds)
    assert sum(bins) == 60
    assert bins[4] == 1  # there are not enough: the hardest come first
    bins = shared_out(torque[:12], seconds[:12])
    assert sum(bins) == 60
    assert bins[4] == 2
    assert min(bins[:4] + bins[5:]) == 4


def test_few_pulls_are_looked_at_by_the_half_second() -> None:
    assert shared_out(np.array([1.0, 0.5]), np.array([2.6, 20.0])) == [5, 8]


def test_more_stretches_than_bins_have_one_each() -> None:
    assert shared_out(np.ones(70), np.full(70, 4.0)) == [1] * 70
