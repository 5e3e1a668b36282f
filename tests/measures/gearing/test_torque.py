"""Torque of a stretch: errors of single bins go, what the engine really did stays."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.gearing.torque import put_right


@pytest.mark.parametrize("varies", [0.01, 0.05, 0.2])
def test_torques_are_nearer_the_truth_and_as_near_as_they_say(varies: float) -> None:
    """A thousand stretches of eight bins, drawn: an even engine to one that is let off."""
    rng = np.random.default_rng(3)
    plain, better, inside = [], [], []
    for _ in range(1000):
        true = 0.8 * (1.0 + varies * rng.normal(size=8))
        u = rng.uniform(0.02, 0.08, 8)
        shown = true + u * rng.normal(size=8)
        told, u_told = put_right(shown, u)
        plain.append(shown - true)
        better.append(told - true)
        inside.append(np.abs(told - true) < 1.96 * u_told)
    # An even engine is told more than twice as well, one that is let off no worse than without.
    most = {0.01: 0.45, 0.05: 0.8, 0.2: 1.0}[varies]
    assert np.std(better) < most * np.std(plain)
    assert 0.90 < np.mean(inside) < 0.995  # the spread is not known either, but for a grid


def test_one_that_is_let_off_at_the_end_keeps_its_last_bin() -> None:
    shown = np.array([0.81, 0.79, 0.82, 0.80, 0.79, 0.81, 0.80, 0.45])
    told, _ = put_right(shown, np.full(8, 0.03))
    assert told[-1] == pytest.approx(0.45, abs=0.03)


def test_a_single_bin_stays_as_it_is() -> None:
    told, u = put_right(np.array([0.7]), np.array([0.05]))
    assert told[0] == pytest.approx(0.7) and u[0] == pytest.approx(0.05)
