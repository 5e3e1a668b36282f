"""When the car stands, by reported speeds and by positions alone."""

from __future__ import annotations

import numpy as np

from roadtest.motion.standing import standing_by_position, standing_by_speed

TIME = np.arange(0.0, 60.0, 0.2)
DRIVEN = np.clip(np.minimum(TIME - 10.0, 40.0 - TIME) * 2.0, 0.0, 15.0)


def test_the_inside_of_a_rest_is_certain_and_its_edges_are_not() -> None:
    rng = np.random.default_rng(1)
    found = standing_by_speed(TIME, np.abs(DRIVEN + rng.normal(0, 0.02, TIME.size)))
    assert found.still[(TIME < 8.5) | (TIME > 42.0)].all()
    assert not found.still[(TIME > 10.5) & (TIME < 39.5)].any()
    assert found.coming[(TIME > 40.3) & (TIME < 40.9)].all()
    assert found.leaving[(TIME > 9.2) & (TIME < 9.9)].all()


def test_the_speed_below_which_a_receiver_writes_zero_is_seen() -> None:
    clamped = np.where(DRIVEN < 2.0, 0.0, DRIVEN)
    assert 1.9 < standing_by_speed(TIME, clamped).clamp_mps < 2.5
    assert standing_by_speed(TIME, DRIVEN + 0.01).clamp_mps == 0.0


def test_a_first_fix_without_speed_stands_as_the_next_does() -> None:
    speed = np.zeros(TIME.size)
    speed[0] = np.nan
    assert standing_by_speed(TIME, speed).still.all()


def test_a_wandering_position_is_no_motion_but_a_crawl_is() -> None:
    rng = np.random.default_rng(2)
    wander = np.zeros((2, TIME.size))
    for k in range(1, TIME.size):
        keep = np.exp(-0.2 / 120.0)
        wander[:, k] = keep * wander[:, k - 1] + 2.0 * np.sqrt(1 - keep**2) * rng.normal(size=2)
    still = standing_by_position(TIME, *(wander + rng.normal(0, 0.3, wander.shape))).still
    assert still.mean() > 0.9
    assert not standing_by_position(TIME, 1.0 * TIME, np.zeros(TIME.size)).still.any()
