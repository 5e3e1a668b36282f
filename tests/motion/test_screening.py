"""From fixes to observations, every loss counted."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from roadtest.errors import InputError
from roadtest.geodesy import local_metres
from roadtest.logs.model import GpsLog
from roadtest.motion.estimate import estimate
from roadtest.motion.screening import FASTEST_MPS, Screened, screen

START = 1_777_708_800.0
DEGREE_M = 111_320.0


def log(n: int = 60, step_s: float = 1.0, **changes: Any) -> GpsLog:
    """Return a log of a car at 15 m/s, eastward on the equator."""
    time = np.linspace(START, START + step_s * (n - 1), n)
    blank = np.full(n, np.nan)
    made = GpsLog(
        name="gps.nmea",
        kind="nmea",
        time_s=time,
        latitude_deg=np.zeros(n),
        longitude_deg=np.asarray(15.0 * (time - START) / DEGREE_M),
        altitude_m=np.full(n, 50.0),
        speed_mps=15.0 + 0.013 * np.sin(np.arange(n)),
        course_deg=np.full(n, 90.0),
        hdop=blank,
        u_position_m=blank,
        segment=np.zeros(n, dtype=np.int64),
        source="GN",
        fixes_read=n,
    )
    return dataclasses.replace(made, **changes)


def counts(screened: Screened) -> dict[str, tuple[int, str]]:
    return {reason: (loss.count, loss.first) for reason, loss in screened.rejected.items()}


def test_a_clean_log_is_used_whole() -> None:
    screened = screen(log())
    assert screened.used.size == 60
    assert counts(screened) == {}
    assert screened.start_unix_s == START
    assert screened.time_s[0] == 0.0
    assert screened.rate_hz == pytest.approx(1.0)
    assert screened.source == "doppler"
    assert screened.observed.seen.all()
    np.testing.assert_array_equal(screened.observed.values[0], log().speed_mps)


def test_every_lost_fix_is_counted_once_with_its_reason() -> None:
    time = log(n=80).time_s.copy()
    time[10:] += -1.0 + 0.0005  # the tenth fix half a millisecond after the ninth
    time[-3:] += 86_400.0
    speed = log(n=80).speed_mps.copy()
    speed[[10, 20, 30]] = FASTEST_MPS + 1.0
    screened = screen(log(n=80, time_s=time, speed_mps=speed))
    assert counts(screened) == {
        "less than 1 ms after the fix before": (1, "fix 11"),
        "half a day and more from the drive": (3, "fix 78"),
        "speed no car reaches": (2, "fix 21"),
    }
    lost = np.concatenate(list(screened.lost.values()))
    assert sorted([*lost.tolist(), *screened.used.tolist()]) == list(range(80))
    for reason, loss in screened.rejected.items():
        assert screened.lost[reason].size == loss.count


def test_speeds_on_half_of_the_fixes_are_enough() -> None:
    speed = log().speed_mps.copy()
    speed[::2] = np.nan
    screened = screen(log(speed_mps=speed))
    assert screened.source == "doppler"
    assert screened.observed.seen.sum() == 30
    assert screened.used.size == 60
    speed[1] = np.nan
    assert screen(log(speed_mps=speed)).source == "position"


def test_without_speeds_positions_are_observed() -> None:
    blank = np.full(60, np.nan)
    screened = screen(log(speed_mps=blank))
    assert screened.observed.with_position
    assert screened.observed.values.shape == (2, 60)
    assert screened.speed_step_mps == 0.0
    east, north = local_metres(log().latitude_deg, log().longitude_deg)
    np.testing.assert_allclose(screened.observed.values, [east, north])


def test_positions_missing_or_out_of_reach_are_counted() -> None:
    blank = np.full(60, np.nan)
    latitude = np.zeros(60)
    latitude[[5, 6]] = np.nan
    latitude[40] = 0.01  # 1.1 km aside and back
    screened = screen(log(speed_mps=blank, latitude_deg=latitude))
    assert counts(screened) == {"no position": (2, "fix 6"), "position jump": (1, "fix 41")}
    assert screened.used.size == 57


def test_a_move_that_stays_is_no_jump() -> None:
    """After a gap in the stamps a car may be anywhere; nothing says which side is right."""
    latitude = np.zeros(60)
    latitude[40:] = 0.01
    assert counts(screen(log(speed_mps=np.full(60, np.nan), latitude_deg=latitude))) == {}


def test_positions_beside_speeds_do_not_lose_fixes() -> None:
    latitude = np.zeros(60)
    latitude[5], latitude[40] = np.nan, 0.01
    screened = screen(log(latitude_deg=latitude))
    assert screened.used.size == 60
    assert np.isnan(screened.north_m[5])


def test_too_few_fixes_are_refused_with_their_number_and_reasons() -> None:
    with pytest.raises(InputError, match=r"only 9 usable fixes of 9"):
        screen(log(n=9))
    speed = np.full(12, 15.0)
    speed[3:] = 200.0
    with pytest.raises(InputError, match=r"only 3 usable fixes of 12, 9 with speed no car"):
        screen(log(n=12, speed_mps=speed))


def test_steps_of_a_millisecond_are_kept_and_can_be_estimated() -> None:
    n = 200
    time = START + np.cumsum(np.random.default_rng(0).choice([0.0011, 0.05, 0.2], n))
    noise = np.random.default_rng(1).normal(0.0, 0.05, n)
    screened = screen(log(n, time_s=time, speed_mps=15.0 + noise))
    assert counts(screened) == {}
    motion = estimate(screened.observed, np.random.default_rng(2))
    assert np.abs(motion.speed_mps - 15.0).max() < 0.1
    assert np.isfinite(motion.u_acceleration_mps2).all()
    assert np.all((motion.u_speed_mps > 0.0) & (motion.u_speed_mps < 0.1))


def stopping(rate_hz: float = 5.0, clamp: float = 0.0) -> Screened:
    time = np.arange(0.0, 40.0, 1.0 / rate_hz)
    speed = np.clip(15.0 - 5.0 * np.clip(time - 10.3, 0.0, None), 0.0, None)
    speed = speed + 2.0 * np.clip(time - 30.0, 0.0, None)
    speed[speed < clamp] = 0.0
    return screen(log(time.size, 1.0 / rate_hz, speed_mps=speed))


def test_at_a_stop_the_chain_is_cut_where_the_car_surely_stands() -> None:
    screened = stopping()
    knots = screened.observed.knots
    (cut,) = np.flatnonzero(knots.cut)
    assert knots.still[cut + 1]
    assert not knots.still[cut]
    assert 13.3 < knots.time_s[cut + 1] < 14.6
    assert not screened.observed.seen[knots.still].any()


def test_first_reading_of_zero_says_only_that_the_car_was_about_to_stand() -> None:
    screened = stopping(clamp=2.0)
    observed = screened.observed
    first = int(np.flatnonzero(observed.values[0, 1:] < 1.9)[0]) + 1
    u = np.sqrt(observed.rounding[first])
    true = 15.0 - 5.0 * (screened.time_s[first] - 10.3)
    assert abs(observed.values[0, first] - true) < 3.0**0.5 * u + 1e-9  # inside the rectangle
    assert u > 0.5
    coming = slice(first + 1, int(np.flatnonzero(observed.knots.cut)[0]) + 1)
    assert np.isnan(observed.values[0, coming]).all()


def test_nothing_is_written_to_the_log() -> None:
    made = log()
    before = dataclasses.asdict(made)
    kept = {k: v.copy() for k, v in before.items() if isinstance(v, np.ndarray)}
    screen(made)
    for name, array in kept.items():
        np.testing.assert_array_equal(getattr(made, name), array)
