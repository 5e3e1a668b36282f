"""Engine-speed samples: clocks, rounding, rates, joined logs."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.logs.model import Clock, TachLog
from roadtest.measures.gearing.engine import engine_samples

START = 1_777_708_800.0
PLAIN = read_build_sheet(b"", "build.toml")


def log(time: np.ndarray, rpm: np.ndarray, clock: Clock = "utc", name: str = "tach.csv") -> TachLog:
    return TachLog(name, clock, time, rpm, time.size)


def wavy(time: np.ndarray) -> np.ndarray:
    return 3000.0 + 800.0 * np.sin(time / 7.0)


def test_calendar_clocks_become_drive_time_and_local_ones_lose_their_zone() -> None:
    sheet = read_build_sheet(b'utc_offset = "+01:00"\n', "build.toml")
    time = np.arange(0.0, 60.0, 0.1)
    utc, local = (
        engine_samples([log(time + START + shift, wavy(time), clock)], sheet, START)[0]
        for clock, shift in (("utc", 0.0), ("local", 3600.0))
    )
    assert utc.time_s == pytest.approx(time, abs=1e-6)
    assert local.time_s == pytest.approx(time, abs=1e-6)


@pytest.mark.parametrize("step", [1.0, 10.0, 25.0, 50.0])
def test_rounding_is_found(step: float) -> None:
    time = np.arange(0.0, 60.0, 0.1)
    rng = np.random.default_rng(0)
    rpm = step * np.round((wavy(time) + rng.normal(0.0, 5.0, time.size)) / step)
    assert engine_samples([log(time, rpm)], PLAIN, 0.0)[0].step_rpm == step


def test_the_noise_is_found_whatever_the_rounding() -> None:
    time = np.arange(0.0, 200.0, 0.1)
    rpm = wavy(time) + np.random.default_rng(1).normal(0.0, 12.0, time.size)
    samples = engine_samples([log(time, rpm)], PLAIN, 0.0)[0]
    assert samples.u_rpm == pytest.approx(12.0, rel=0.1)
    rounded = engine_samples([log(time, 10.0 * np.round(rpm / 10.0))], PLAIN, 0.0)[0]
    assert rounded.u_rpm == pytest.approx(12.0, rel=0.15)


def test_a_fast_log_is_averaged_to_about_ten_a_second() -> None:
    time = np.arange(0.0, 60.0, 0.01)
    samples = engine_samples([log(time, wavy(time))], PLAIN, 0.0)[0]
    assert samples.rate_hz == pytest.approx(10.0, rel=0.02)
    assert samples.rpm == pytest.approx(wavy(samples.time_s), abs=1.0)


def test_logs_that_follow_one_another_are_one() -> None:
    time = np.arange(0.0, 60.0, 0.1)
    first, second = log(time, wavy(time), name="a"), log(time + 100.0, wavy(time), name="b")
    (joined,) = engine_samples([second, first], PLAIN, 0.0)
    assert joined.time_s.size == 2 * time.size
    assert np.all(np.diff(joined.time_s) > 0.0)


def test_pulses_without_cylinders_say_what_was_assumed() -> None:
    pulses = TachLog("tach.csv", "elapsed", np.arange(3000) * 0.01, None, 3000)
    (samples,) = engine_samples([pulses], PLAIN, 0.0)
    assert samples.rpm == pytest.approx(np.full(samples.rpm.size, 3000.0), rel=1e-6)
    assert "2 pulses a turn assumed" in samples.remarks[0]


def test_too_little_to_go_on_is_left_out() -> None:
    assert engine_samples([log(np.arange(5.0), np.full(5, 900.0))], PLAIN, 0.0) == ()
