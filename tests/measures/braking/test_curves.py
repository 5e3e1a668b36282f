"""Draws as curves: values between knots, crossings, coming to rest."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.braking.curves import Curves
from roadtest.measures.braking.ramp import distance_parts, speed_parts
from roadtest.motion.estimate import Draws, travelled


def even_stop(decelerations: list[float], step_s: float = 0.2) -> Curves:
    """Return draws that run at 20 m/s for a second and then slow evenly to rest."""
    time = np.arange(0.0, 8.0 + 1e-9, step_s)
    rate = np.array(decelerations)[:, None]
    speed = np.maximum(20.0 - rate * np.maximum(time - 1.0, 0.0), 0.0)
    acceleration = np.where((time >= 1.0) & (speed > 0.0), -rate, 0.0)
    return Curves(Draws(time, speed, acceleration, travelled(time, speed, acceleration)))


def test_crossings_of_an_even_stop_are_exact_in_every_draw() -> None:
    rates = np.array([4.0, 5.0, 8.0])
    crossed = even_stop(rates.tolist()).falls_to(np.full(3, 13.0), np.full(3, 1.1))
    np.testing.assert_allclose(crossed, 1.0 + 7.0 / rates, atol=1e-8)


def test_distance_between_knots_is_the_integral_of_speed() -> None:
    curves = even_stop([5.0])
    state = curves.at(np.array([2.9]))
    assert state.speed_mps[0] == pytest.approx(10.5, abs=1e-12)
    far = curves.at(np.array([1.4]))
    way = state.distance_m[0] - far.distance_m[0]
    assert way == pytest.approx((18.0**2 - 10.5**2) / 10.0, abs=1e-9)


def test_a_level_never_reached_gives_nan_and_one_passed_already_is_at_once() -> None:
    curves = even_stop([5.0, 2.0])
    never = curves.falls_to(np.array([-1.0, 5.0]), np.full(2, 1.0))
    assert np.isnan(never).all()  # the second is still at 6 m/s when the log ends
    now = curves.falls_to(np.full(2, 25.0), np.full(2, 2.05))
    np.testing.assert_allclose(now, 2.05, atol=1e-6)


def test_a_draw_comes_to_rest_inside_an_interval_and_stays() -> None:
    curves = even_stop([7.0])  # rests 2.857 s after it begins: between two knots
    rest = 1.0 + 20.0 / 7.0
    assert curves.falls_to(np.zeros(1), np.ones(1))[0] == pytest.approx(rest, abs=1e-3)
    state = curves.at(np.array([rest + 0.02]))
    assert state.speed_mps[0] == pytest.approx(0.0, abs=1e-9)
    start = curves.at(np.array([1.2]))
    way = state.distance_m[0] - start.distance_m[0]
    assert way == pytest.approx(18.6**2 / 14.0, abs=1e-3)


def test_parts_of_distance_are_the_integrals_of_those_of_speed() -> None:
    grid = np.array([[3.0, 3.1], [0.3, 0.0], [0.4, 0.85]])
    time = np.linspace(1.0, 6.0, 5001)
    speed, distance = speed_parts(time, grid), distance_parts(time, grid)
    step = 0.5 * (speed[:, 1:] + speed[:, :-1]) * np.diff(time)[:, None]
    np.testing.assert_allclose(np.diff(distance, axis=1).sum(axis=1), step.sum(axis=1), rtol=1e-6)


def test_the_ramp_takes_off_half_of_its_length() -> None:
    grid = np.array([[2.0], [0.0], [0.5]])
    parts = speed_parts(np.array([0.0, 2.0, 2.25, 2.5, 4.0]), grid)
    np.testing.assert_allclose(parts[0, :, 3], [0.0, 0.0, 0.0625, 0.25, 1.75])
