"""The true speed over a look at the dial."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.speedometer.hold_speed import LOOK_S, Look, Part, speed_at_look
from roadtest.motion.estimate import Draws

TIME_S = np.arange(0.0, 30.0, 0.2)
HOLD = Part(5.0, 25.0)


def gaining(before_mps: float = 0.0) -> Draws:
    """Return a motion that gains 0.1 m/s a second, and more before the hold."""
    before = np.where(HOLD.start_s - TIME_S > 1e-9, before_mps, 0.0)
    speed = 20.0 + 0.1 * TIME_S + before
    distance = np.concatenate([[0.0], np.cumsum(0.2 * 0.5 * (speed[1:] + speed[:-1]))])
    return Draws(TIME_S, speed[None], np.zeros((1, TIME_S.size)), distance[None])


def test_it_is_that_of_the_moment_noted_not_of_the_whole_hold() -> None:
    true = speed_at_look(gaining(), HOLD, Look(20.0, 0.5), 4000, np.random.default_rng(0))
    assert true.mean() == pytest.approx(22.0, abs=0.01)
    assert true.std() == pytest.approx(0.05, rel=0.1)
    unknown = speed_at_look(gaining(), HOLD, Look(), 4000, np.random.default_rng(0))
    assert unknown.mean() == pytest.approx(21.5, abs=0.05)


def test_all_of_a_look_lies_within_the_hold() -> None:
    """What the car did just before it is not read."""
    for look in (Look(4.0, 2.0), Look(), Look(-60.0, 1.0)):
        looks = [
            speed_at_look(gaining(before), HOLD, look, 500, np.random.default_rng(0))
            for before in (0.0, -5.0)
        ]
        np.testing.assert_allclose(looks[0], looks[1], atol=1e-9)
        assert looks[0].min() >= 20.5 + 0.05 * LOOK_S - 1e-6
