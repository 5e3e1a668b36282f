"""The ground: smoothed path, heading, and grade with an interval that holds the truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import binom

from roadtest.motion.grade import grade_along
from roadtest.motion.path import heading_along, smooth_path
from tests.evidence_from_truth import evidence_from
from tests.simulation.ensembles import random_receiver, random_stops
from tests.simulation.receiver import Receiver, receive


def stop_grades(
    rate_hz: float, seeds: range, steepest: float | None = None, **receiver: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return error and standard uncertainty of the grade one second into every stop."""
    errors, uncertainties = [], []
    for seed in seeds:
        truth = random_stops(seed, steepest=steepest)
        kind = dataclasses.replace(random_receiver(seed, rate_hz), **receiver)
        fixes = receive(truth, kind, seed)
        distance = truth.distance_at(fixes.time_s)
        course = np.where(fixes.speed_mps > 1.0, np.radians(fixes.course_deg), np.nan)
        slope = grade_along(fixes.time_s, distance, fixes.altitude_m, course)
        at = np.array([m.start_s + 1.0 for m in truth.of_kind("stop")])
        true = np.interp(at, truth.t_s, truth.grade)
        errors.append(np.interp(at, fixes.time_s, slope.grade) - true)
        uncertainties.append(np.interp(at, fixes.time_s, slope.u_grade))
    return np.concatenate(errors), np.concatenate(uncertainties)


@pytest.mark.parametrize("steepest", [None, 0.05])
def test_interval_of_grade_holds_the_truth(steepest: float | None) -> None:
    error, u = stop_grades(5.0, range(30), steepest)
    held = np.count_nonzero(np.abs(error) < 1.96 * u)
    # Four stops of one drive share their altitudes: count them as half as many trials.
    assert held / error.size > binom.ppf(0.001, error.size // 2, 0.95) / (error.size // 2)


def test_interval_of_grade_is_large_but_not_larger_than_it_must_be() -> None:
    error, u = stop_grades(5.0, range(30), 0.03)
    rms = float(np.sqrt(np.mean(error**2)))
    assert 0.003 < float(np.median(u)) < 0.02
    assert float(np.median(u)) < 2.0 * rms


def test_a_steadier_altitude_gives_a_better_known_grade() -> None:
    _, wandering = stop_grades(5.0, range(6), altitude_slow_m=8.0)
    _, steady = stop_grades(5.0, range(6), altitude_slow_m=0.5)
    assert np.median(steady) < 0.6 * np.median(wandering)


def test_no_altitude_means_a_grade_that_is_not_known() -> None:
    time = np.arange(100.0)
    slope = grade_along(time, 15.0 * time, np.full(100, np.nan))
    assert np.isnan(slope.altitude_m).all()
    assert (slope.grade == 0.0).all()
    assert (slope.u_grade > 0.015).all()


def test_a_steady_climb_is_found() -> None:
    time = np.arange(0.0, 200.0, 0.2)
    noise = np.random.default_rng(1).normal(0.0, 0.2, time.size)
    slope = grade_along(time, 20.0 * time, 0.04 * 20.0 * time + noise)
    inside = slice(100, -100)
    assert slope.grade[inside] == pytest.approx(0.04, abs=0.004)
    assert np.all(np.abs(slope.grade - 0.04) < 3.0 * slope.u_grade)


def test_who_turns_back_goes_down_what_he_came_up() -> None:
    time = np.arange(0.0, 120.0, 0.5)
    up = time < 60.0
    noise = np.random.default_rng(1).normal(0.0, 0.2, time.size)
    altitude = np.where(up, 0.04 * 15.0 * time + noise, np.nan)
    straight, turned = (
        grade_along(time, 15.0 * time, altitude, np.where(up, 0.3, 0.3 + turn))
        for turn in (0.0, np.pi)
    )
    soon = (time > 61.0) & (time < 64.0)
    assert (straight.grade[soon] > 0.02).all()
    assert turned.grade[soon] == pytest.approx(-straight.grade[soon], abs=0.005)
    assert (turned.u_grade[soon] > straight.u_grade[time < 50.0].max()).all()


def test_a_jump_of_the_altitude_is_no_hill() -> None:
    time = np.arange(0.0, 200.0, 0.2)
    noise = np.random.default_rng(2).normal(0.0, 0.2, time.size)
    slope = grade_along(time, 15.0 * time, noise + np.where(time > 100.0, 40.0, 0.0))
    assert np.abs(slope.grade).max() < 0.02


def test_standing_still_does_not_break_the_chain() -> None:
    time = np.arange(0.0, 300.0, 0.2)
    distance = 15.0 * np.clip(time, 0.0, 100.0) + 15.0 * np.clip(time - 200.0, 0.0, None)
    noise = np.random.default_rng(3).normal(0.0, 0.2, time.size)
    slope = grade_along(time, distance, 0.02 * distance + noise)
    assert np.isfinite(slope.grade).all()
    assert np.interp(500.0, distance, slope.grade) == pytest.approx(0.02, abs=0.01)


def test_smoothed_path_is_nearer_the_truth_than_the_fixes() -> None:
    time = np.arange(0.0, 60.0, 0.1)
    true = np.array([15.0 * time, 40.0 * np.sin(0.1 * time)])
    seen = true + np.random.default_rng(4).normal(0.0, 0.5, true.shape)
    seen[:, 200:205] = np.nan
    before = seen.copy()
    smooth = np.array(smooth_path(time, *seen))
    assert np.sqrt(np.mean((smooth - true) ** 2)) < 0.25
    np.testing.assert_array_equal(seen, before)


def test_heading_is_clockwise_from_north_unwrapped_and_nan_when_standing() -> None:
    time = np.arange(0.0, 100.0, 1.0)
    turn = 0.1 * time
    east, north = -100.0 * np.cos(turn), 100.0 * np.sin(turn)
    speed = np.where(time < 90.0, 10.0, 0.0)
    heading = heading_along(time, east, north, speed, np.full(100, np.nan))
    np.testing.assert_allclose(heading[1:90], turn[1:90], atol=0.01)
    assert np.isnan(heading[90:]).all()
    course = np.degrees(turn) % 360.0
    told = heading_along(time, np.zeros(100), np.zeros(100), speed, course)
    np.testing.assert_allclose(told[:90], turn[:90], atol=1e-9)


def test_ground_of_a_whole_drive_follows_the_truth() -> None:
    truth = random_stops(5)
    evidence = evidence_from(truth, Receiver(rate_hz=5.0), 5)
    ground = evidence.ground
    shift = evidence.start_unix_s - truth.start_utc_s
    true = np.interp(ground.time_s + shift, truth.t_s, truth.heading_rad)
    off = np.angle(np.exp(1j * (ground.heading_rad - true)))[evidence.motion.speed_mps > 5.0]
    assert np.sqrt(np.mean(off**2)) < 0.01
    assert ground.grade.shape == ground.east_m.shape == evidence.motion.time_s.shape


def test_a_path_that_has_come_to_rest_has_no_heading_though_speed_is_shown_later() -> None:
    time = np.arange(0.0, 20.0, 0.2)
    north = 8.0 * np.minimum(time, 10.0)
    east = 0.02 * np.random.default_rng(4).standard_normal(time.size)
    late = np.where(time < 12.0, 8.0, 0.0)
    heading = heading_along(time, east, north, late, np.full(time.size, np.nan))
    assert np.abs(heading[time < 9.5]).max() < 0.1
    assert np.isnan(heading[time > 10.5]).all()
    course = heading_along(time, east, north, late, np.full(time.size, 90.0))
    assert np.isfinite(course[time < 12.0]).all()
