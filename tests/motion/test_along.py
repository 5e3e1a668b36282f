"""Speed along the path from the states of one axis or two."""

from __future__ import annotations

import numpy as np

from roadtest.motion.along import along_path, rates
from roadtest.motion.system import Knots


def knots(n: int, cut: int | None = None) -> Knots:
    broken = np.zeros(n - 1, dtype=bool)
    if cut is not None:
        broken[cut] = True
    return Knots(np.arange(n, dtype=np.float64), np.zeros(n, dtype=bool), broken)


def test_rates_are_speed_and_acceleration_with_and_without_position() -> None:
    states = np.arange(24.0).reshape(2, 3, 4)
    np.testing.assert_array_equal(rates(states), [states[:, :, 1], states[:, :, 2]])
    np.testing.assert_array_equal(rates(states[:, :, 1:]), rates(states))


def test_a_car_coming_to_rest_stays_there_from_the_first_fall_below_zero() -> None:
    """Between it and the cut the chain may swing back above zero; the car does not."""
    speed = np.array([9.0, 6.0, 3.0, -0.5, 0.3, 0.2, 0.0, 0.0, 2.0, 4.0])
    change = np.full(10, -3.0)
    found = along_path(np.array([[speed[None], change[None]]]), knots(10, cut=5))
    np.testing.assert_array_equal(found[0][0], [9.0, 6.0, 3.0, 0, 0, 0, 0, 0, 2.0, 4.0])
    np.testing.assert_array_equal(found[1][0, :3], change[:3])
    assert not found[1][0, 3:6].any()


def test_a_dip_without_rest_is_only_kept_from_going_back() -> None:
    speed = np.array([3.0, 1.5, -0.2, 0.4, 2.0])
    found = along_path(np.array([[speed[None], np.ones((1, 5))]]), knots(5))
    np.testing.assert_array_equal(found[0][0], [3.0, 1.5, 0.0, 0.4, 2.0])


def test_each_draw_comes_to_rest_at_its_own_time() -> None:
    first = np.array([9.0, 4.0, -1.0, -6.0, 0.0, 0.0])
    second = np.array([9.0, 5.0, 1.5, -1.0, 0.0, 0.0])
    drawn = np.array([[[row], [np.full(6, -4.0)]] for row in (first, second)])
    speed, _ = along_path(drawn, knots(6, cut=3))
    np.testing.assert_array_equal((speed > 0.0).sum(axis=1), [2, 3])


def test_speed_from_two_axes_is_not_too_large_for_being_uncertain() -> None:
    rng = np.random.default_rng(1)
    true = np.array([[12.0], [-5.0]]) * np.ones((2, 50))
    velocity = true + rng.normal(0.0, 3.0, (4000, 2, 50))
    change = np.array([[1.2], [-0.5]]) + np.zeros((4000, 2, 50))
    speed, acceleration = along_path(np.stack([velocity, change], axis=1), knots(50))
    assert abs(speed.mean() - 13.0) < 0.05
    assert np.hypot(velocity[:, 0], velocity[:, 1]).mean() > 13.3
    np.testing.assert_allclose(acceleration, 1.3, atol=0.01)


def test_at_rest_noise_is_not_turned_into_motion() -> None:
    """The heading is that from before and after; across it, noise counts for nothing."""
    rng = np.random.default_rng(2)
    mean = np.zeros((2, 60))
    mean[0, :20] = mean[0, 40:] = 8.0
    angle = rng.uniform(0.0, 2.0 * np.pi, 20)
    mean[:, 20:40] = 0.6 * np.array([np.cos(angle), np.sin(angle)])
    velocity = mean + rng.normal(0.0, 0.1, (500, 2, 60))
    speed, _ = along_path(np.stack([velocity, 0.0 * velocity], axis=1), knots(60))
    assert speed.min() >= 0.0
    along = speed.mean(axis=0)[20:40]
    np.testing.assert_allclose(along, np.maximum(mean[0, 20:40], 0.0), atol=0.1)
    assert along.mean() < 0.6 * 0.6
