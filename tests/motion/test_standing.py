"""When the car stands, by speed and by position."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.motion.standing import EDGE_S, Standing, standing_by_position, standing_by_speed
from tests.simulation.receiver import wander

RATES = pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])


def stop_and_go(rate_hz: float, rest_s: float = 10.0) -> tuple[np.ndarray, np.ndarray]:
    """Return times and true speeds: 15 m/s, braking at 5 m/s², rest from 23 s, off at 2 m/s²."""
    time = np.arange(0.0, 50.0 + rest_s, 1.0 / rate_hz)
    slowing = np.clip(15.0 - 5.0 * np.clip(time - 20.0, 0.0, None), 0.0, None)
    going = np.clip(2.0 * (time - 23.0 - rest_s), 0.0, 20.0)
    return time, np.where(time < 23.0 + rest_s, slowing, going)


def noisy(speed: np.ndarray, sd: float = 0.03, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.hypot(speed + rng.normal(0.0, sd, speed.size), rng.normal(0.0, sd, speed.size))


def check_parts(standing: Standing) -> None:
    parts = np.array([standing.still, standing.coming, standing.leaving])
    assert parts.sum(axis=0).max() <= 1


@RATES
def test_rest_has_three_parts_and_none_while_the_car_surely_rolls(rate_hz: float) -> None:
    time, true = stop_and_go(rate_hz)
    standing = standing_by_speed(time, noisy(true))
    check_parts(standing)
    assert not (standing.still & (true > 0.0)).any()
    inside = (time > 23.0 + EDGE_S + 0.2) & (time < 33.0 - EDGE_S - 0.2)
    assert standing.still[inside].all()
    assert standing.coming[(time >= 23.0) & (time < 23.0 + EDGE_S - 0.2)].all()
    assert standing.leaving[(time > 33.0 - EDGE_S + 0.2) & (time <= 33.0)].all()
    assert not (standing.still | standing.coming | standing.leaving)[true > 0.5].any()
    assert standing.clamp_mps == 0.0


def test_a_log_that_begins_and_ends_at_rest_has_no_coming_and_leaving_there() -> None:
    time = np.arange(0.0, 60.0, 0.2)
    true = 10.0 * np.clip(np.minimum(time - 20.0, 40.0 - time) / 3.0, 0.0, 1.0)
    standing = standing_by_speed(time, noisy(true))
    assert standing.still[0]
    assert standing.still[-1]
    assert not standing.coming[time < 19.0].any()
    assert not standing.leaving[time > 42.0].any()


def test_a_touch_of_zero_is_no_rest() -> None:
    time, true = stop_and_go(10.0, rest_s=0.8)
    standing = standing_by_speed(time, noisy(true))
    assert not standing.still.any()
    assert not standing.coming.any()
    assert standing.leaving[(time > 23.1) & (time < 23.7)].all()


@pytest.mark.parametrize("sd", [0.02, 0.05, 0.15])
def test_level_follows_the_scatter_of_the_readings(sd: float) -> None:
    time, true = stop_and_go(5.0, rest_s=20.0)
    standing = standing_by_speed(time, noisy(true, sd))
    assert standing.level_mps == pytest.approx(float(np.clip(4.0 * sd, 0.15, 0.7)), rel=0.35)
    inside = (time > 25.0) & (time < 41.0)
    # One reading above the level costs a second on either side of it.
    assert standing.still[inside].mean() > 1.0 - 2.0 / 16.0


@pytest.mark.parametrize(("rate_hz", "wrong_mps"), [(10.0, 1.0), (5.0, 2.0), (5.0, 3.0)])
def test_a_reading_gone_wrong_is_no_start(rate_hz: float, wrong_mps: float) -> None:
    """2 m/s and back within 0.4 s; but a car that pulls away does so."""
    time, true = stop_and_go(rate_hz)
    speed = noisy(true)
    speed[np.searchsorted(time, 28.0)] = wrong_mps
    standing = standing_by_speed(time, speed)
    check_parts(standing)
    inside = (time > 23.0 + EDGE_S + 0.2) & (time < 33.0 - EDGE_S - 0.2)
    assert standing.still[inside].all()
    assert not (standing.still & (true > 0.0)).any()


@pytest.mark.parametrize("clamp", [0.5, 1.0, 2.0])
def test_a_receiver_that_writes_zero_when_slow_is_told(clamp: float) -> None:
    time, true = stop_and_go(10.0)
    seen = noisy(true)
    seen[seen < clamp] = 0.0
    standing = standing_by_speed(time, seen)
    assert standing.clamp_mps == pytest.approx(clamp, abs=0.6)  # 0.1 s of braking at 5 m/s²
    check_parts(standing)
    assert not (standing.still & (true > 0.0)).any()


def test_fixes_without_speed_stand_where_their_neighbours_do() -> None:
    time, true = stop_and_go(5.0)
    seen = noisy(true)
    seen[(time > 27.0) & (time < 28.0)] = np.nan
    seen[(time > 10.0) & (time < 11.0)] = np.nan
    standing = standing_by_speed(time, seen)
    assert standing.still[(time > 26.0) & (time < 30.0)].all()
    assert not standing.still[time < 15.0].any()


def test_speeds_are_not_written_to() -> None:
    time, true = stop_and_go(5.0)
    kept = true.copy()
    standing_by_speed(time, true)
    np.testing.assert_array_equal(true, kept)


def positions(rate_hz: float, seed: int) -> tuple[np.ndarray, ...]:
    """Return times, true speeds and noisy places of a drive with a rest of 30 s."""
    time, true = stop_and_go(rate_hz, rest_s=30.0)
    rng = np.random.default_rng(seed)
    way = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(time) * (true[1:] + true[:-1]))])
    east, north = (
        share * way + wander(time, 1.5, 120.0, rng) + rng.normal(0.0, 0.3, time.size)
        for share in (0.8, 0.6)
    )
    return time, true, east, north


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
@pytest.mark.parametrize("seed", range(4))
def test_positions_show_a_long_rest_and_nothing_else(rate_hz: float, seed: int) -> None:
    time, true, east, north = positions(rate_hz, seed)
    standing = standing_by_position(time, east, north)
    assert standing.still[(time > 30.0) & (time < 46.0)].all()
    assert not standing.still[true > 2.0].any()
    assert not (standing.coming | standing.leaving).any()


def test_a_short_rest_is_not_seen_in_positions() -> None:
    time = np.arange(0.0, 100.0, 1.0)
    way = 10.0 * time - 10.0 * np.clip(time - 50.0, 0.0, 3.0)
    assert not standing_by_position(time, way, np.zeros(100)).still.any()
