"""Times in gear: from the curve of a pull, and from levels that the pull itself passes."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.pulls.change_up import change_up_s
from roadtest.measures.pulls.crossing import Path
from roadtest.measures.pulls.power import PowerCurve
from roadtest.measures.pulls.spans import speed_range


def curve(acceleration: np.ndarray) -> PowerCurve:
    speed = np.linspace(10.0, 20.0, acceleration.shape[1])
    return PowerCurve(speed, acceleration, acceleration, np.zeros(acceleration.shape[0]))


def test_a_curve_tells_the_time_between_speeds() -> None:
    """At a = 30/v m/s² a car takes (v2² - v1²)/60 s."""
    speed = np.linspace(10.0, 20.0, 25)
    seconds = curve((30.0 / speed)[None]).seconds(11.0, 18.3)
    assert seconds == pytest.approx((18.3**2 - 11.0**2) / 60.0, rel=1e-3)


def test_a_curve_tells_no_time_where_it_does_not_pull() -> None:
    falling = np.linspace(1.5, -0.5, 25)[None]
    assert np.isnan(curve(falling).seconds(11.0, 19.9)).all()


def test_a_level_crossed_before_the_throttle_opened_is_none_of_the_pull() -> None:
    """Steady driving wavers about 17.88 m/s, then a pull begins at 18.1 m/s."""
    time = np.arange(0.0, 6.0, 0.05)
    speed = np.where(time < 1.0, 17.8 + 0.3 * time, 18.1 + 1.5 * (time - 1.0))
    path = Path(time, np.tile(speed, (20, 1)), np.zeros((20, time.size)))
    low, high = speed_range(path, 1.0)
    assert low == pytest.approx(18.1, abs=0.02)
    assert high == pytest.approx(float(speed[-1]))


def test_a_change_up_is_where_turns_per_metre_fall_for_good() -> None:
    time = np.arange(0.0, 12.0, 0.1)
    speed = 8.0 + 1.2 * time
    for step_s in (0.1, 1.0):
        engine = np.arange(-5.0, 20.0, step_s)
        turns = np.where(engine < 5.05, 250.0, 160.0) * np.interp(engine, time, speed)
        turns[np.argmin(np.abs(engine - 3.0))] *= 0.5  # one reading lost
        found = change_up_s(engine, turns, time, speed, 0.0)
        assert 5.05 - step_s <= found <= 5.05
        assert change_up_s(engine, 200.0 * np.interp(engine, time, speed), time, speed, 0.0) == (
            np.inf
        )
