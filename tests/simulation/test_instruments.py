"""The simulated instruments and the files they write, against independent readers."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import gpxpy
import numpy as np
import pynmea2  # type: ignore[import-untyped]
import pytest

from tests.simulation.dials import Dial, Odometer, log_gauges
from tests.simulation.driver import Driver, simulate
from tests.simulation.ensembles import random_drive, random_receiver, random_stops
from tests.simulation.receiver import Fixes, Receiver, receive
from tests.simulation.road import Bend, level_road, rolling_road
from tests.simulation.tach import Pulses, Tach, log_pulses, log_tach
from tests.simulation.truth import Truth
from tests.simulation.writers import Gpx, Nmea, gpx_text, iso_time, nmea_lines, toml_text


@pytest.fixture(scope="module")
def truth() -> Truth:
    """A minute of driving."""

    def script(driver: Driver) -> None:
        driver.idle(5.0)
        driver.cruise(17.0, 40.0)

    return simulate(script, road=rolling_road(4), seed=2)


@pytest.fixture(scope="module")
def fixes(truth: Truth) -> Fixes:
    """The minute as a 5 Hz receiver saw it, without fix for the first 3 s."""
    return receive(truth, Receiver(rate_hz=5.0, no_fix=((0.0, 3.0),)), 1)


def test_nmea_reads_back_as_sent(fixes: Fixes) -> None:
    lines = nmea_lines(fixes, Nmea(sentences=("RMC", "GGA", "VTG", "GSA", "GST", "ZDA")))
    parsed = [pynmea2.parse(line, check=True) for line in lines]
    rmc = [p for p in parsed if p.sentence_type == "RMC"]
    assert [p.status == "A" for p in rmc] == fixes.valid.tolist()
    good = [p for p in rmc if p.status == "A"]
    speed = np.array([p.spd_over_grnd for p in good]) * 1852.0 / 3600.0
    assert np.allclose(speed, fixes.speed_mps[fixes.valid], atol=0.0027)
    latitude = [p.latitude for p in good]
    assert np.allclose(latitude, fixes.latitude_deg[fixes.valid], rtol=0, atol=1e-7)
    assert good[0].datetime.timestamp() == pytest.approx(fixes.stamp_utc_s[fixes.valid][0])


@pytest.mark.parametrize("style", [Gpx("1.0", "element"), Gpx("1.1", "extension"), Gpx()])
def test_gpx_reads_back_as_sent(fixes: Fixes, style: Gpx) -> None:
    track = gpxpy.parse(gpx_text(fixes, style)).tracks[0]
    points = [point for segment in track.segments for point in segment.points]
    assert len(points) == fixes.valid.sum()
    assert points[7].longitude == pytest.approx(fixes.longitude_deg[fixes.valid][7], abs=1e-7)
    assert points[7].time is not None
    assert points[7].time.timestamp() == pytest.approx(fixes.stamp_utc_s[fixes.valid][7])
    if style.speed == "element":
        assert points[7].speed == pytest.approx(fixes.speed_mps[fixes.valid][7], abs=0.001)


def test_tach_clock_offset_has_the_stated_sign(truth: Truth) -> None:
    tach = Tach(offset_s=4.0, lag_s=0.0, noise_rpm=0.0, step_rpm=0.0)
    rows = log_tach(truth, tach, 0)
    true_rpm = np.interp(rows.clock_s + 4.0, truth.t_s, truth.engine_rpm)
    assert np.allclose(rows.rpm, true_rpm)


def test_a_lagging_tach_shows_what_was_a_lag_ago(truth: Truth) -> None:
    tach = Tach(offset_s=4.0, lag_s=0.3, noise_rpm=0.0, step_rpm=0.0)
    rows = log_tach(truth, tach, 0)
    late = rows.clock_s + tach.apparent_offset_s()
    smooth = np.interp(rows.clock_s + 4.0, truth.t_s, truth.engine_rpm)
    belongs = np.interp(late, truth.t_s, truth.engine_rpm)
    later = slice(250, 400)  # cruising: engine speed changes slowly
    assert np.abs(rows.rpm - belongs)[later].max() < np.abs(rows.rpm - smooth)[later].max()


def test_wrong_cylinder_setting_scales_every_reading(truth: Truth) -> None:
    quiet = {"noise_rpm": 0.0, "step_rpm": 0.0}
    right, wrong = (log_tach(truth, Tach(scale=s, **quiet), 0) for s in (1.0, 2.0 / 3.0))
    assert np.allclose(wrong.rpm, right.rpm * 2.0 / 3.0)


def test_pulses_count_the_turns(truth: Truth) -> None:
    times = log_pulses(truth, Tach(), Pulses(per_rev=2.0), 0)
    turns = np.trapezoid(truth.engine_rpm / 60.0, truth.t_s)
    assert times.size == pytest.approx(2.0 * turns, abs=2)
    assert np.all(np.diff(times) > 0.0)


def test_missed_and_doubled_pulses_change_the_count(truth: Truth) -> None:
    clean = log_pulses(truth, Tach(), Pulses(), 0).size
    assert log_pulses(truth, Tach(), Pulses(missed_share=0.1), 0).size < 0.95 * clean
    assert log_pulses(truth, Tach(), Pulses(doubled_share=0.1), 0).size > 1.05 * clean


def test_dial_and_its_inverse_agree() -> None:
    dial = Dial(1.04, 0.5)
    assert dial.shows(dial.true_for(17.0)) == pytest.approx(17.0)
    assert dial.shows(10.0) == pytest.approx(10.9)


def test_odometer_shows_the_tenth_last_passed(truth: Truth) -> None:
    miles = float(truth.distance_m[-1]) / 1609.344
    shown = Odometer(100.0, 1.02).shows_mile(truth, float(truth.t_s[-1]))
    assert 0.0 <= 100.0 + 1.02 * miles - shown < 0.1


def test_gauges_warm_up(truth: Truth) -> None:
    coolant = log_gauges(truth, 0).columns["coolant_temperature [degC]"]
    assert coolant[-1] > coolant[0]


def test_toml_reads_back() -> None:
    sheet = {
        "units": "mph",
        "car": {"label": "x", "mass": "790 kg"},
        "alternatives": {"axle": [{"label": "3.9 axle", "ratio": 3.9}]},
        "targets": {"mfdd": "5.8 m/s^2", "channel.oil": {"at_least": "1 bar"}, "list": [1, 2.5]},
    }
    assert tomllib.loads(toml_text(sheet)) == sheet


def test_iso_time_carries_the_zone() -> None:
    assert iso_time(1_777_708_800.25, 2) == "2026-05-02T08:00:00.25Z"
    assert iso_time(1_777_708_800.0, 0, 1.0) == "2026-05-02T09:00:00+01:00"
    assert iso_time(1_777_708_800.9996, 3, None) == "2026-05-02T08:00:01.000"


def test_faults_of_a_receiver_are_what_was_asked_for(truth: Truth) -> None:
    quality = Receiver(gaps=((10.0, 12.0),), duplicate_share=0.1, missing_share=0.05)
    sent = receive(truth, quality, 3)
    assert not np.any((sent.time_s > 10.0) & (sent.time_s < 12.0 - 1e-9))
    assert np.any(np.diff(sent.time_s) == 0.0)
    assert np.any(np.diff(sent.time_s) > 0.15)


def test_lag_and_delay_make_the_speed_late(truth: Truth) -> None:
    quiet = Receiver(white_mps=0.0, fast_mps=0.0, slow_mps=0.0, speed_step_mps=0.0)
    now = receive(truth, quiet, 0).speed_mps
    rising = slice(65, 90)
    for faulty in (replace(quiet, lag_s=0.5), replace(quiet, delay_s=0.5)):
        late = receive(truth, faulty, 0).speed_mps
        assert late[rising].mean() < now[rising].mean() - 0.2


def test_ensembles_differ_from_seed_to_seed_and_not_from_run_to_run() -> None:
    first, again, other = (random_stops(seed, count=2) for seed in (1, 1, 2))
    assert np.array_equal(first.speed_mps, again.speed_mps)
    assert first.car != other.car
    assert random_receiver(1) != random_receiver(2)


def test_a_random_drive_has_everything() -> None:
    kinds = {m.kind for m in random_drive(0).manoeuvres}
    assert {"hold", "pull", "stop", "coast", "standing", "traffic", "idle", "snub"} <= kinds


def test_a_filter_of_velocity_lets_the_course_lag_and_one_of_speed_does_not() -> None:
    road = replace(level_road(), bends=(Bend(150.0, 300.0, 0.004),))
    truth = simulate(lambda driver: driver.cruise(17.0, 40.0), road=road, seed=2)
    quiet = Receiver(white_mps=0.0, fast_mps=0.0, slow_mps=0.0, speed_step_mps=0.0, lag_s=0.6)
    of_speed = receive(truth, quiet, 1)
    of_velocity = receive(truth, replace(quiet, lag_of_course=True), 1)
    at = of_speed.time_s
    moving = np.interp(at, truth.t_s, truth.speed_mps) > 10.0
    way = np.degrees(np.interp(at, truth.t_s, truth.heading_rad))
    behind = np.degrees(np.interp(at - 0.6, truth.t_s, truth.heading_rad))
    for fixes, expected in ((of_speed, way), (of_velocity, behind)):
        off = (fixes.course_deg - expected + 180.0) % 360.0 - 180.0
        assert np.abs(off[moving]).max() < 0.15
    assert np.abs(way - behind)[moving].max() > 0.5
    lost = of_speed.speed_mps - of_velocity.speed_mps  # a mean of vectors is the shorter one
    assert lost.min() > -1e-9
    assert 0.005 < lost.max() < 0.05


def test_an_antenna_ahead_of_the_axle_goes_round_a_bend_faster_and_wider() -> None:

    def script(driver: Driver) -> None:
        driver.turn(360.0, radius_m=8.0)
        driver.cruise(12.0, 5.0)

    truth = simulate(script, seed=2)
    quiet = Receiver(white_mps=0.0, fast_mps=0.0, slow_mps=0.0, speed_step_mps=0.0)
    still = replace(quiet, position_slow_m=0.0, position_white_m=0.0)
    fixes = receive(truth, replace(still, ahead_m=1.5), 1)
    made = truth.of_kind("turn")[0]
    inside = (fixes.time_s > made.end_s - 4.0) & (fixes.time_s < made.end_s - 1.0)
    speed = np.interp(fixes.time_s, truth.t_s, truth.speed_mps)
    wider = np.hypot(8.0, 1.5) / 8.0
    assert np.allclose(fixes.speed_mps[inside] / speed[inside], wider, atol=1e-3)
    path = np.hypot(np.diff(fixes.east_m), np.diff(fixes.north_m)) / np.diff(fixes.time_s)
    assert np.allclose(path[inside[1:]], fixes.speed_mps[1:][inside[1:]], rtol=3e-3)
    straight = fixes.time_s > made.end_s + 0.5
    assert np.allclose(fixes.speed_mps[straight], speed[straight], atol=1e-6)
