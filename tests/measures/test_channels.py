"""Channels: range, place of the worst, time beyond limits, at rest and at speed."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.evidence import Evidence
from roadtest.logs.model import Channel, ChannelsLog, Clock
from roadtest.measures.channels import ChannelsMeasured, measure_channels
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import level_road

RATE_HZ = 2.0


def script(driver: Driver) -> None:
    driver.idle(20.0)
    driver.hold(20.0, 20.0)


@functools.cache
def drive() -> Evidence:
    truth = simulate(script, Car(), level_road(), seed=1)
    return evidence_from(truth, Receiver(), 1)


def times() -> np.ndarray:
    return np.arange(0.0, float(drive().motion.time_s[-1]), 1.0 / RATE_HZ)


def measured(
    values: np.ndarray,
    unit: str = "degC",
    targets: str = "",
    clock: Clock = "utc",
    offsets_s: dict[str, float] | None = None,
) -> ChannelsMeasured:
    evidence = drive()
    zero = {"utc": evidence.start_unix_s, "local": evidence.start_unix_s + 3600.0, "elapsed": -5.0}
    log = ChannelsLog(
        name="channels.csv",
        clock=clock,
        time_s=zero[clock] + times(),
        channels=(Channel("coolant_temperature", unit, values),),
        rows_read=values.size,
    )
    text = f'utc_offset = "+01:00"\n[targets]\n{targets}\n'
    sheet = read_build_sheet(text.encode(), "build.toml")
    return measure_channels(
        dataclasses.replace(evidence, channels=(log,), sheet=sheet), offsets_s=offsets_s
    )


def rising() -> np.ndarray:
    """80 at first, a spell of 110 within the hold, one sample of 130 in it."""
    values = np.full(times().size, 80.0)
    start = drive().manoeuvres[0].start_s
    spell = (times() >= start + 2.0) & (times() < start + 12.0)
    values[spell] = 110.0
    values[np.flatnonzero(spell)[5]] = 130.0
    return values


def test_range_and_the_place_of_the_worst() -> None:
    (row,) = measured(rising()).result
    start = drive().manoeuvres[0].start_s
    assert (row.min, row.max, row.unit, row.file) == (80.0, 130.0, "degC", "channels.csv")
    assert row.at_max_s == pytest.approx(start + 2.0 + 2.5, abs=1.0 / RATE_HZ)
    assert row.manoeuvre_at_max == "hold-1"
    assert row.at_min_s == pytest.approx(0.0, abs=1e-6)
    assert row.manoeuvre_at_min is None
    assert row.seconds_above is None  # no limit, no time beyond it


@pytest.mark.parametrize(
    ("limit", "high"), [('"105 degC"', 105.0), ('"221 degF"', 105.0), ('"378.15 K"', 105.0)]
)
def test_time_above_a_limit_in_whatever_unit(limit: str, high: float) -> None:
    targets = f"channel.coolant_temperature = {{at_most = {limit}}}"
    (row,) = measured(rising(), targets=targets).result
    assert row.limit_high == pytest.approx(high, abs=1e-9)
    assert row.seconds_above == pytest.approx(10.0, abs=1.0 / RATE_HZ)
    assert row.limit_low is None and row.seconds_below is None


def test_time_below_a_limit() -> None:
    targets = 'channel.coolant_temperature = {at_least = "90 degC"}'
    (row,) = measured(rising(), targets=targets).result
    total = times()[-1]
    assert row.seconds_below == pytest.approx(total - 10.0, abs=1.0 / RATE_HZ)


def test_a_limit_that_cannot_be_compared_is_said_and_not_applied() -> None:
    targets = 'channel.coolant_temperature = {at_most = "2 bar"}'
    found = measured(rising(), targets=targets)
    assert found.result[0].limit_high is None
    assert "can't be compared" in found.remarks[0]


def test_units_that_only_the_logger_knows_are_compared_as_they_stand() -> None:
    targets = 'channel.coolant_temperature = {at_most = "105 counts"}'
    (row,) = measured(rising(), unit="counts", targets=targets).result
    assert row.limit_high == 105.0
    assert row.seconds_above == pytest.approx(10.0, abs=1.0 / RATE_HZ)
    (other,) = measured(rising(), unit="steps", targets=targets).result
    assert other.limit_high is None


def test_at_rest_and_at_speed_are_told_apart() -> None:
    evidence = drive()
    speed = np.interp(times(), evidence.motion.time_s, evidence.motion.speed_mps)
    (row,) = measured(speed, unit="m/s").result  # the channel is the speed itself
    assert row.at_rest is not None and row.at_speed is not None
    assert row.at_rest.max is not None and row.at_rest.max < 0.5
    assert row.at_rest.seconds == pytest.approx(20.0, abs=2.0)
    assert row.at_speed.min is not None and row.at_speed.min > 13.0
    assert row.at_speed.mean is not None
    assert row.at_speed.min <= row.at_speed.mean <= (row.at_speed.max or 0.0)


def test_limits_at_idle_and_at_speed_count_their_own_seconds() -> None:
    evidence = drive()
    speed = np.interp(times(), evidence.motion.time_s, evidence.motion.speed_mps)
    pressure = 0.8 + 0.15 * speed  # 0.8 bar standing, 3.8 bar at 20 m/s
    targets = (
        'channel.coolant_temperature = {at_most = "7 bar", at_least = "3 bar", '
        'at_least_idle = "100 kPa"}'
    )
    (row,) = measured(pressure, unit="bar", targets=targets).result
    assert (row.limit_low, row.limit_high, row.seconds_above) == (None, 7.0, 0.0)
    assert row.at_rest is not None and row.at_speed is not None
    assert (row.at_rest.limit_low, row.at_speed.limit_low) == (1.0, 3.0)
    assert row.at_rest.seconds_below == row.at_rest.seconds  # 0.8 is below 1
    assert row.at_speed.min is not None and row.at_speed.min < 3.0  # from 13.4 m/s on
    assert row.at_speed.seconds_below == pytest.approx(
        np.count_nonzero((speed > 13.4112) & (pressure < 3.0)) / RATE_HZ, abs=1.0 / RATE_HZ
    )
    assert row.at_speed.at_min_s is not None


def test_rows_without_a_reading_are_passed_over() -> None:
    values = rising()
    values[::2] = np.nan
    (row,) = measured(values).result
    assert row.min == 80.0 and row.max in (110.0, 130.0)
    (empty,) = measured(np.full(times().size, np.nan)).result
    assert empty.max is None and empty.at_max_s is None


def test_wall_clock_and_own_clock() -> None:
    utc, local = measured(rising()).result[0], measured(rising(), clock="local").result[0]
    assert utc.at_max_s is not None
    assert local.at_max_s == pytest.approx(utc.at_max_s, abs=1e-6)
    unplaced = measured(rising(), clock="elapsed")
    assert unplaced.result[0].max == 130.0
    assert unplaced.result[0].at_max_s is None and unplaced.result[0].at_rest is None
    assert "unknown zero" in unplaced.remarks[0]
    placed = measured(rising(), clock="elapsed", offsets_s={"channels.csv": 5.0})
    assert placed.result[0].at_max_s == pytest.approx(utc.at_max_s, abs=1e-6)
    assert placed.remarks == ()


def test_a_pause_of_the_logger_is_not_time_above_a_limit() -> None:
    evidence = drive()
    time = evidence.start_unix_s + np.array([0.0, 1.0, 2.0, 3.0, 30.0, 31.0])
    hot = Channel("coolant_temperature", "degC", np.full(6, 110.0))
    log = ChannelsLog("channels.csv", "utc", time, (hot,), 6)
    text = b'[targets]\nchannel.coolant_temperature = {at_most = "105 degC"}\n'
    sheet = read_build_sheet(text, "build.toml")
    found = measure_channels(dataclasses.replace(evidence, channels=(log,), sheet=sheet))
    assert found.result[0].seconds_above is not None
    assert found.result[0].seconds_above <= 4.0 + 3.0


def test_values_are_left_as_they_were() -> None:
    values = rising()
    before = values.copy()
    measured(values, targets='channel.coolant_temperature = {at_most = "105 degC"}')
    np.testing.assert_array_equal(values, before)
