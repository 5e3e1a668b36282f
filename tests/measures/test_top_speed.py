"""Top speed: neither noise nor smoothing moves it."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.top_speed import top_speed
from roadtest.motion.estimate import Draws
from tests.simulation.lag import lagged

TIME = np.arange(0.0, 20.0, 0.1)
NO_LAG = np.zeros(200)


def draws(speed: np.ndarray, noise_mps: float, rng: np.random.Generator) -> Draws:
    """Return 200 draws about a course of speed [k], independent from time to time."""
    drawn = speed + noise_mps * rng.normal(size=(200, TIME.size))
    slope = np.broadcast_to(np.gradient(speed, TIME), drawn.shape)
    return Draws(TIME, drawn, slope, np.zeros_like(drawn))


def test_noise_does_not_make_it_higher() -> None:
    found = top_speed([draws(np.full(TIME.size, 30.0), 0.1, np.random.default_rng(1))], NO_LAG)

    assert found is not None
    assert found.value == pytest.approx(30.0, abs=0.04)  # the highest of each draw: 30.27
    assert found.u95 == pytest.approx(0.196, rel=0.3)


def test_noise_of_the_readings_is_not_all_picked_out() -> None:
    """It is the same in all draws, and at the highest of their mean it adds 0.25 m/s."""
    rng = np.random.default_rng(5)
    held = [30.0 + 0.1 * rng.normal(size=TIME.size) for _ in range(20)]
    found = [top_speed([draws(speed, 0.1, rng)], NO_LAG) for speed in held]

    values = [each.value for each in found if each is not None]
    assert 30.0 < np.mean(values) < 30.2


def test_a_peak_that_the_receiver_smoothed_over_is_given_back() -> None:
    true = 30.0 - 2.0 * np.abs(TIME - 10.0)
    shown = draws(lagged(true, 0.1, 0.5), 0.01, np.random.default_rng(2))

    smoothed, given_back = (top_speed([shown], lag) for lag in (NO_LAG, np.full(200, 0.5)))

    assert smoothed is not None and given_back is not None
    assert smoothed.value < 29.5
    assert given_back.value == pytest.approx(30.0, abs=0.12)


def test_the_fastest_stretch_counts_and_one_that_nobody_knows_does_not() -> None:
    rng = np.random.default_rng(3)
    slow, fast, vague = (
        draws(np.full(TIME.size, speed), noise, rng)
        for speed, noise in ((20.0, 0.05), (25.0, 0.05), (40.0, 5.0))
    )

    found = top_speed([slow, fast, vague], NO_LAG)
    assert found is not None
    assert found.value == pytest.approx(25.0, abs=0.1)
    assert top_speed([vague], NO_LAG) is None


def test_a_car_that_was_fastest_where_nobody_saw_it_has_no_top_speed() -> None:
    seen = draws(np.full(TIME.size, 20.0), 0.05, np.random.default_rng(4))

    assert top_speed([seen], NO_LAG, 19.9) is not None
    assert top_speed([seen], NO_LAG, 20.5) is None
