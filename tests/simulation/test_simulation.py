"""The simulator against hand-worked and closed-form answers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.simulation.car import G_MPS2, Car
from tests.simulation.driver import Driver, Pedal, simulate
from tests.simulation.receiver import Receiver, receive
from tests.simulation.road import level_road, rolling_road
from tests.simulation.truth import Truth, from_profile, stop_figures
from tests.simulation.vehicle import NEUTRAL, Vehicle

KMH = 1.0 / 3.6


@pytest.fixture(scope="module")
def drive() -> Truth:
    """A drive with one of everything on a rolling road."""

    def script(driver: Driver) -> None:
        driver.idle(10.0)
        driver.hold(17.9)
        driver.pull(3, 10.0, 22.0)
        driver.stop(22.0)
        driver.turn_round()
        driver.stop(22.0, Pedal(pull_pm=0.001))
        driver.coast(25.0, 12.0)
        driver.snub(20.0, 10.0)
        driver.interrupted_stop(20.0, 9.0)
        driver.standing(20.0)
        driver.traffic(60.0)
        driver.idle(10.0)

    return simulate(script, road=rolling_road(1), seed=3)


def test_distance_is_the_integral_of_speed(drive: Truth) -> None:
    legs = 0.5 * (drive.speed_mps[1:] + drive.speed_mps[:-1]) * np.diff(drive.t_s)
    assert np.allclose(np.cumsum(legs), drive.distance_m[1:], atol=1e-6)


def test_speed_is_the_integral_of_acceleration(drive: Truth) -> None:
    gained = drive.accel_mps2[:-1] * np.diff(drive.t_s)
    assert np.allclose(drive.speed_mps[:-1] + gained, drive.speed_mps[1:], atol=1e-9)


def test_path_is_as_long_as_the_distance(drive: Truth) -> None:
    level = np.hypot(np.diff(drive.east_m), np.diff(drive.north_m))
    steps = np.hypot(level, np.diff(drive.altitude_m))
    assert steps.sum() == pytest.approx(drive.distance_m[-1], rel=1e-5)


def test_engine_speed_is_road_speed_times_gearing_when_locked(drive: Truth) -> None:
    car = drive.car
    for gear in range(1, 6):
        at = drive.gear == gear
        expected = 60.0 * drive.speed_mps[at] * car.ratios[gear - 1] * car.axle / 1.742
        creep = [car.creep(force) for force in drive.tyre_force_n[at].tolist()]
        assert np.allclose(drive.engine_rpm[at], expected * (1.0 + np.array(creep)), rtol=1e-9)


def test_tyres_carry_what_moves_the_car_and_not_what_spins_up_the_engine() -> None:
    """On a full pull in second: mass and two wheels, rolling, air and slope; no flywheel."""
    drive = simulate(lambda driver: driver.pull(2, 7.0, 13.0), road=rolling_road(1), seed=1)
    (pull,) = drive.of_kind("pull")
    at = (drive.t_s > pull.start_s + 0.5) & (drive.t_s < pull.end_s - 0.5)
    car, speed = drive.car, drive.speed_mps[at]
    mass = car.mass_kg * (1.0 + 0.5 * (car.rotating_neutral - 1.0))
    weight = car.mass_kg * G_MPS2 * np.sin(np.arctan(drive.grade[at]))
    held_back = car.rolling_force_n + car.drag_factor * speed**2 + weight
    carried = mass * drive.accel_mps2[at] + held_back
    assert np.allclose(drive.tyre_force_n[at], carried, rtol=0.02)
    assert (drive.drive_force_n[at] > 1.1 * drive.tyre_force_n[at]).all()


def test_creep_passes_through_the_published_points() -> None:
    car = Car()
    cruise_n = car.rolling_force_n + car.drag_factor * (100.0 * KMH) ** 2
    assert car.creep(cruise_n) == pytest.approx(0.004, abs=0.0003)
    assert car.creep(1500.0) == pytest.approx(0.02, abs=0.001)


@pytest.mark.parametrize(("start", "end", "seconds"), [(100, 80, 12.276), (80, 60, 16.744)])
def test_coast_takes_as_long_as_the_closed_form_says(start: int, end: int, seconds: float) -> None:
    vehicle = Vehicle(Car(), level_road(), 0)
    vehicle.gear, vehicle.speed_mps = NEUTRAL, start * KMH
    while vehicle.speed_mps > end * KMH - 0.1:
        vehicle.open()
    assert vehicle.truth(()).falls_through(end * KMH, 0.0) == pytest.approx(seconds, abs=0.002)


def test_worked_stop() -> None:
    """v1 100 km/h, nothing for 0.1 s, rise over 0.3 s to 7 m/s², constant to rest."""
    step = 0.001
    middle = step * (np.arange(4400) + 0.5)
    accel = -7.0 * np.clip((middle - 0.1) / 0.3, 0.0, 1.0)
    accel = accel[: int(np.argmax(100.0 * KMH + step * np.cumsum(accel) < 0.0))]
    rest = 100.0 * KMH + step * accel.sum()
    truth = from_profile(np.append(accel, -rest / step), 100.0 * KMH, step)
    assert truth.speed_at(0.4) == pytest.approx(96.22 * KMH, abs=0.002)
    figures = stop_figures(truth, 0.0)
    assert figures["mfdd_mps2"] == pytest.approx(7.0, abs=0.0005)
    assert figures["distance_m"] == pytest.approx(62.033, abs=0.001)
    assert figures["drift_m"] == pytest.approx(0.0, abs=1e-9)
    crossing = truth.distance_at(truth.falls_through(80.0 * KMH, 0.0))
    assert crossing == pytest.approx(26.7595, abs=0.0005)


def test_a_stop_on_the_level_brakes_as_hard_as_asked() -> None:
    pedal = Pedal(level_mps2=6.0, unevenness=0.0, rise=0.0)
    truth = simulate(lambda driver: driver.stop(20.0, pedal), seed=1)
    (stop,) = truth.of_kind("stop")
    braking = 6.0 / 1.03  # rotating parts are to be slowed too
    air = 0.5 * (0.8**2 + 0.1**2) * 20.0**2 * 0.40  # mean of v² over distance is close to this
    resistance = (120.0 + air) / (790.0 * 1.03)
    assert stop.figures["mfdd_mps2"] == pytest.approx(braking + resistance, abs=0.01)
    assert stop.figures["initial_mps"] == pytest.approx(20.0, abs=0.4)


def test_brakes_that_pull_right_drift_right(drive: Truth) -> None:
    straight, pulled = drive.of_kind("stop")
    expected = 0.5 * 0.001 * pulled.figures["distance_m"] ** 2
    drift = pulled.figures["drift_m"] - straight.figures["drift_m"]
    assert drift == pytest.approx(expected, rel=0.1, abs=0.1)


def test_a_pull_has_the_power_that_speeds_the_car_up() -> None:
    """Handbook power: (mass · factor · a + F(v)) · v, on the level."""
    truth = simulate(lambda driver: driver.pull(3, 10.0, 22.0), seed=1)
    (pull,) = truth.of_kind("pull")
    inside = (truth.t_s >= pull.start_s) & (truth.t_s < pull.end_s - 0.02)
    speed, accel = truth.speed_mps[inside], truth.accel_mps2[inside]
    factor = 1.04 + 0.0025 * (1.40 * 4.22) ** 2
    power = (790.0 * factor * accel + 120.0 + 0.40 * speed**2) * speed
    assert pull.figures["peak_power_w"] == pytest.approx(power.max(), rel=0.002)
    assert 30e3 < pull.figures["peak_power_w"] < 50e3


def test_a_simulated_coast_takes_the_closed_form_time() -> None:
    truth = simulate(lambda driver: driver.coast(25.0, 10.0), seed=1)
    (coast,) = truth.of_kind("coast")
    slow, root = math.sqrt(120.0 / 0.40), math.sqrt(120.0 * 0.40)
    expected = 813.7 / root * (math.atan(25.0 / slow) - math.atan(10.0 / slow))
    assert coast.figures["time_s"] == pytest.approx(expected, abs=0.02)


def test_grade_is_taken_out_of_the_level_deceleration() -> None:
    """The same foot on a 2 % climb and on the flat gives the same level figure."""
    pedal = Pedal(level_mps2=6.0, unevenness=0.0, rise=0.0)
    flat, hill = (
        simulate(lambda d: d.stop(20.0, pedal), road=replace(level_road(), slope_east=s), seed=1)
        for s in (0.0, 0.02)
    )
    (level,), (climb,) = flat.of_kind("stop"), hill.of_kind("stop")
    assert climb.figures["grade"] == pytest.approx(0.02, abs=1e-6)
    assert climb.figures["mfdd_mps2"] - level.figures["mfdd_mps2"] > 0.18
    # Gravity moves the car through its effective mass, 3 % more than its weight says.
    assert climb.figures["mfdd_level_mps2"] == pytest.approx(
        level.figures["mfdd_level_mps2"], abs=0.012
    )


def test_same_seed_same_drive() -> None:
    first, second = (simulate(lambda d: d.traffic(30.0), seed=5) for _ in range(2))
    assert np.array_equal(first.speed_mps, second.speed_mps)


def test_receiver_speed_error_has_the_published_size_and_memory() -> None:
    truth = from_profile(np.zeros(2_000_000), 20.0)
    error = receive(truth, Receiver(rate_hz=1.0, speed_step_mps=0.0), 4).speed_mps - 20.0
    assert error.std() == pytest.approx(0.033, abs=0.001)
    spread = error - error.mean()

    def memory(lag: int) -> float:
        return float((spread[lag:] * spread[:-lag]).mean() / spread.var())

    # Published: 0.27 at 1 s, 0.15-0.18 at 2-3 s, 0.07 from 5 to 20 s; ±0.04 for 20,000 samples
    # and for three parts not being able to follow it everywhere.
    assert memory(1) == pytest.approx(0.24, abs=0.04)
    assert memory(2) == pytest.approx(0.17, abs=0.04)
    assert memory(10) == pytest.approx(0.07, abs=0.04)
    assert math.isfinite(memory(20))


def test_perfect_receiver_gives_the_truth_back(drive: Truth) -> None:
    perfect = Receiver(
        white_mps=0.0,
        fast_mps=0.0,
        slow_mps=0.0,
        speed_step_mps=0.0,
        position_white_m=0.0,
        position_slow_m=0.0,
    )
    fixes = receive(drive, perfect, 0)
    level = drive.speed_at(fixes.time_s) / np.hypot(
        1.0, np.interp(fixes.time_s, drive.t_s, drive.grade)
    )
    assert np.allclose(fixes.speed_mps, level, atol=1e-6)
    assert np.allclose(fixes.east_m, np.interp(fixes.time_s, drive.t_s, drive.east_m))


def test_fixes_lie_on_the_ellipsoid_as_far_apart_as_the_truth() -> None:
    pyproj = pytest.importorskip("pyproj")
    driver = Driver(Car(), rolling_road(7), 2)
    driver.cruise(20.0, 120.0)
    truth = driver.finish()
    fixes = receive(truth, Receiver(position_white_m=0.0, position_slow_m=0.0), 0)
    geod = pyproj.Geod(ellps="WGS84")
    length = geod.line_length(fixes.longitude_deg, fixes.latitude_deg)
    level = np.hypot(np.diff(fixes.east_m), np.diff(fixes.north_m)).sum()
    assert length == pytest.approx(level, rel=1e-6)


def test_the_last_rise_is_that_after_a_fall_below() -> None:
    truth = from_profile(np.repeat([-1.0, 2.0], 200), 11.0)  # 11 m/s, 9 after 2 s, 13 after 4 s
    assert truth.rises_through(10.0, 0.5) == 0.5  # it has risen to it: it is above
    assert truth.last_rise_through(10.0, 4.0) == pytest.approx(2.5, abs=1e-9)
    assert math.isnan(truth.last_rise_through(8.0, 4.0))


def test_a_clutch_that_goes_in_late_lets_the_engine_brake_on() -> None:
    def script(late_s: float) -> Truth:
        def drive(driver: Driver) -> None:
            driver.start_rolling(22.0)
            driver.stop(20.0, Pedal(unevenness=0.0, rise=0.0, clutch_s=late_s))

        return simulate(drive, seed=4)

    prompt, late = script(0.0), script(1.0)
    for truth, in_gear_s in ((prompt, 0.0), (late, 1.0)):
        stop = truth.of_kind("stop")[0]
        braking = (truth.t_s >= stop.start_s) & (truth.t_s < stop.end_s)
        assert (truth.gear[braking] > 0).sum() * truth.step_s == pytest.approx(in_gear_s, abs=0.02)
    hard = [
        np.interp(truth.of_kind("stop")[0].start_s + 0.7, truth.t_s, truth.accel_mps2)
        for truth in (prompt, late)
    ]
    assert 0.02 < hard[0] - hard[1] < 1.0  # its drag, less what its own mass takes off the brakes
