"""Many different drives, stops, holds, pulls and coasts, each from a seed.

All draws are wide on purpose: cars, roads, feet and levels differ from seed to seed.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from tests.simulation.car import Car
from tests.simulation.driver import Driver, Pedal
from tests.simulation.receiver import Receiver
from tests.simulation.road import Road, rolling_road
from tests.simulation.truth import Truth

RATIO_SETS = (
    (3.41, 2.08, 1.40, 1.00, 0.82),
    (3.20, 1.92, 1.36, 1.00),
    (3.65, 2.15, 1.39, 1.00, 0.79),
)


def random_car(seed: int) -> Car:
    """Return a small car of random mass, gearing, tyre, engine and drag."""
    rng = np.random.default_rng([seed, 1])
    return Car(
        mass_kg=rng.uniform(680.0, 1100.0),
        ratios=RATIO_SETS[int(rng.integers(len(RATIO_SETS)))],
        axle=float(rng.choice([3.55, 3.70, 3.90, 4.10, 4.22, 4.55])),
        circumference_m=rng.uniform(1.68, 1.90),
        rolling_coefficient=rng.uniform(0.012, 0.020),
        drag_area_m2=rng.uniform(0.55, 0.80),
        torque_peak_nm=rng.uniform(100.0, 170.0),
    )


def random_road(seed: int, steepest: float | None = None) -> Road:
    """Return a gently rolling, gently bending road somewhere between 60° S and 60° N."""
    rng = np.random.default_rng([seed, 2])
    steep = rng.uniform(0.0, 0.02) if steepest is None else steepest
    road = rolling_road(int(rng.integers(1 << 30)), steep)
    place = (rng.uniform(-60.0, 60.0), rng.uniform(-179.0, 179.0))
    return dataclasses.replace(road, origin_deg=place, altitude_m=rng.uniform(0.0, 300.0))


def random_pedal(rng: np.random.Generator) -> Pedal:
    """Return a random way to use the brake."""
    return Pedal(
        level_mps2=rng.uniform(3.5, 8.0),
        build_up_s=rng.uniform(0.2, 0.5),
        unevenness=rng.uniform(0.01, 0.06),
        rise=rng.uniform(0.0, 0.12),
        lift_s=rng.uniform(0.15, 0.5),
        pull_pm=rng.normal(0.0, 0.0005),
    )


def random_receiver(seed: int, rate_hz: float | None = None) -> Receiver:
    """Return a receiver of ordinary quality: speed noise 0.02 to 0.10 m/s, now and then worse."""
    rng = np.random.default_rng([seed, 3])
    rate = float(rng.choice([1.0, 5.0, 10.0, 25.0])) if rate_hz is None else rate_hz
    return Receiver(
        rate_hz=rate,
        white_mps=rng.uniform(0.02, 0.10),
        fast_mps=rng.uniform(0.008, 0.02),
        slow_mps=rng.uniform(0.005, 0.015),
        student_nu=float(rng.choice([5.0, 50.0])),
        position_slow_m=rng.uniform(1.0, 3.0),
        position_tau_s=rng.uniform(60.0, 200.0),
    )


def random_stops(
    seed: int,
    count: int = 4,
    from_mps: float | None = None,
    pedal: Pedal | None = None,
    steepest: float | None = None,
) -> Truth:
    """Return a short drive with `count` stops, every other one the opposite way.

    Starts rolling, a few seconds before the first stop. Take the figures from
    `truth.of_kind("stop")`.
    """
    rng = np.random.default_rng([seed, 4])
    speed = rng.uniform(13.0, 29.0) if from_mps is None else from_mps
    driver = Driver(random_car(seed), random_road(seed, steepest), seed)
    driver.start_rolling(speed)
    for index in range(count):
        if index:
            driver.turn_round()
        foot = random_pedal(rng) if pedal is None else pedal
        driver.stop(max(8.0, speed * rng.normal(1.0, 0.02)), foot)
    return driver.finish()


def random_holds(seed: int, speeds_mps: Sequence[float] = (13.4, 17.9, 22.4, 26.8)) -> Truth:
    """Return a drive with one hold at (about) each true speed."""
    rng = np.random.default_rng([seed, 5])
    driver = Driver(random_car(seed), random_road(seed), seed)
    driver.start_rolling(speeds_mps[0])
    for speed in speeds_mps:
        driver.hold(speed * rng.normal(1.0, 0.02), rng.uniform(10.0, 25.0))
    return driver.finish()


def random_coasts(seed: int, pairs: int = 2, wind_mps: float = 0.0) -> Truth:
    """Return a drive with coast-downs in opposite directions, in a steady wind of random way."""
    rng = np.random.default_rng([seed, 6])
    way = rng.uniform(0.0, 2.0 * np.pi)
    road = dataclasses.replace(
        random_road(seed),
        wind_east_mps=wind_mps * np.sin(way),
        wind_north_mps=wind_mps * np.cos(way),
    )
    driver = Driver(random_car(seed), road, seed)
    driver.seek_straight()
    driver.start_rolling(25.0)
    for index in range(2 * pairs):
        if index:
            driver.turn_round()
        driver.coast(rng.uniform(25.0, 28.0), rng.uniform(7.0, 11.0))
    return driver.finish()


def random_drive(seed: int) -> Truth:
    """Return a whole shakedown drive of some ten minutes with every kind of manoeuvre."""
    rng = np.random.default_rng([seed, 7])
    driver = Driver(random_car(seed), random_road(seed), seed)
    driver.idle(rng.uniform(10.0, 30.0))
    driver.traffic(rng.uniform(40.0, 90.0))
    for speed in rng.permutation([13.4, 17.9, 22.4, 26.8]).tolist():
        driver.hold(speed * rng.normal(1.0, 0.02), rng.uniform(10.0, 20.0))
    for gear in range(2, len(driver.car.ratios) + 1):
        low = driver.car.limit_rpm * 0.35 / 60.0 / driver.car.revs_per_metre(gear)
        driver.pull(gear, low, min(1.9 * low, 28.0))
    speed = rng.uniform(18.0, 27.0)
    for index in range(int(rng.integers(4, 7))):
        if index:
            driver.turn_round()
        driver.stop(speed * rng.normal(1.0, 0.02), random_pedal(rng))
    driver.seek_straight()
    for _ in range(2):
        driver.coast(rng.uniform(24.0, 27.0), rng.uniform(8.0, 12.0))
        driver.turn_round()
    driver.snub(speed, 0.5 * speed, random_pedal(rng))
    driver.interrupted_stop(speed, 0.4 * speed, random_pedal(rng))
    driver.standing(26.8)
    driver.traffic(rng.uniform(40.0, 90.0))
    driver.idle(rng.uniform(10.0, 30.0))
    return driver.finish()
