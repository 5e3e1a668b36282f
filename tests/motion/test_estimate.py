"""The motion estimate against simulated truth: accuracy, coverage, and what must not matter."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from roadtest.geodesy import local_metres
from roadtest.motion.distance import distance_driven
from roadtest.motion.estimate import SPEED_MODEL, Motion, Span, estimate, travelled
from roadtest.motion.ground import ground_under
from roadtest.motion.screening import Screened, screen
from tests.evidence_from_truth import gps_log
from tests.simulation.ensembles import random_drive
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

Floats = NDArray[np.float64]
SEEDS = (1, 2, 3)


@cache
def truth(seed: int) -> Truth:
    return random_drive(seed)


@cache
def logged(seed: int, receiver: Receiver, with_speed: bool = True) -> tuple[Screened, Motion]:
    screened = screen(gps_log(truth(seed), receiver, seed, with_speed=with_speed))
    return screened, estimate(screened.observed, np.random.default_rng(seed))


def errors(seed: int, receiver: Receiver, with_speed: bool = True) -> tuple[Floats, Motion]:
    """Return the errors [2, n] of speed and acceleration, and the motion."""
    screened, motion = logged(seed, receiver, with_speed)
    at = motion.time_s + screened.start_unix_s - truth(seed).start_utc_s
    real = truth(seed)
    speed = np.interp(at, real.t_s, real.speed_mps)
    acceleration = np.interp(at, real.t_s, real.accel_mps2)
    return np.array([motion.speed_mps - speed, motion.acceleration_mps2 - acceleration]), motion


@pytest.mark.parametrize(("rate", "white"), [(1.0, 0.05), (5.0, 0.05), (10.0, 0.1)])
def test_intervals_hold_the_truth_and_the_estimate_beats_the_log(rate: float, white: float) -> None:
    held, better = [], []
    for seed in SEEDS:
        receiver = Receiver(rate_hz=rate, white_mps=white)
        off, motion = errors(seed, receiver)
        moving = motion.speed_mps > 1.0
        u = np.array([motion.u_speed_mps, motion.u_acceleration_mps2])
        held.append((np.abs(off) <= 1.96 * u)[:, moving].mean(axis=1))
        raw = logged(seed, receiver)[0].observed.values[0] - (motion.speed_mps - off[0])
        known = moving & np.isfinite(raw)
        better.append(np.std(off[0][known]) / np.std(raw[known]))
    speed, acceleration = np.mean(held, axis=0)
    # Errors of neighbouring fixes go together: a drive is worth some 100 independent ones.
    margin = 1.96 * np.sqrt(0.95 * 0.05 / (100 * len(SEEDS)))
    assert 0.95 - 2.0 * margin < speed < 1.0
    assert 0.95 - 2.0 * margin < acceleration < 1.0
    assert np.mean(better) < (1.02 if rate == 1.0 else 0.8)


def test_distances_over_stops_are_held() -> None:
    inside = total = 0
    for seed in SEEDS:
        screened, motion = logged(seed, Receiver(rate_hz=10.0))
        off = screened.start_unix_s - truth(seed).start_utc_s
        stops = truth(seed).of_kind("stop")
        spans = [Span(stop.start_s - off, stop.end_s - off) for stop in stops]
        for draws in motion.draws(spans, 100, np.random.default_rng(seed)):
            ends = truth(seed).distance_at(draws.time_s[[0, -1]] + off)
            error = draws.distance_m[:, -1].mean() - float(ends[1] - ends[0])
            inside += abs(error) <= 1.96 * draws.distance_m[:, -1].std() + 0.05
            total += 1
    assert inside >= total - 2


def test_the_slow_part_of_the_error_is_in_the_mean_of_a_hold() -> None:
    """Averaging n fixes must not promise 1/√n: the slow part stays."""
    screened, motion = logged(1, Receiver(rate_hz=10.0))
    off = screened.start_unix_s - truth(1).start_utc_s
    hold = truth(1).of_kind("hold")[0]
    (draws,) = motion.draws(
        [Span(hold.start_s - off, hold.end_s - off)], 200, np.random.default_rng(0)
    )
    spread = float(draws.speed_mps.mean(axis=1).std())
    slow = max(part.sd for part in SPEED_MODEL.slow if part.memory_s > 30.0)
    assert 0.8 * slow < spread < 2.5 * slow


def test_a_receiver_that_writes_zero_when_slow_shows_no_harder_stop() -> None:
    plain, clamped = (logged(2, Receiver(rate_hz=10.0, clamp_mps=clamp))[1] for clamp in (0.0, 2.0))
    assert clamped.acceleration_mps2.min() > plain.acceleration_mps2.min() - 1.5


def test_whole_knots_still_hold_the_speed_of_a_hold() -> None:
    off, motion = errors(3, Receiver(rate_hz=5.0, speed_step_mps=1852.0 / 3600.0))
    moving = motion.speed_mps > 2.0
    assert (np.abs(off[0]) <= 1.96 * motion.u_speed_mps)[moving].mean() > 0.9


def test_a_few_wild_fixes_do_little() -> None:
    wild = Receiver(rate_hz=10.0, outlier_share=0.01, outlier_mps=1.0)
    off, motion = errors(1, wild)
    plain, _ = errors(1, Receiver(rate_hz=10.0))
    assert np.std(off[0]) < 1.5 * np.std(plain[0])
    assert motion.noise.tail < 20.0


def test_over_a_gap_the_interval_grows_and_holds_the_truth() -> None:
    real = truth(1)
    hold = real.of_kind("hold")[1]
    gap = (hold.start_s + 2.0, hold.start_s + 9.0)
    screened, motion = logged(1, Receiver(rate_hz=5.0, gaps=(gap,)))
    off = screened.start_unix_s - real.start_utc_s
    (draws,) = motion.draws([Span(gap[0] - off, gap[1] - off)], 200, np.random.default_rng(4))
    middle = draws.time_s.size // 2
    at = draws.speed_mps[:, middle]
    assert at.std() > 4.0 * np.median(motion.u_speed_mps)
    true = float(real.speed_at(draws.time_s[[middle]] + off)[0])
    assert abs(at.mean() - true) <= 2.5 * at.std()


@pytest.mark.parametrize(("rate", "with_speed"), [(1.0, True), (10.0, True), (1.0, False)])
def test_the_whole_distance_is_held(rate: float, with_speed: bool) -> None:
    for seed in SEEDS:
        screened, motion = logged(seed, Receiver(rate_hz=rate), with_speed)
        ground = ground_under(screened, motion)
        off = screened.start_unix_s - truth(seed).start_utc_s
        found = distance_driven(motion, ground, 0.0, float(motion.time_s[-1]))
        ends = truth(seed).distance_at(np.array([off, motion.time_s[-1] + off]))
        assert abs(found.value - float(ends[1] - ends[0])) <= 2.0 * found.u95
        assert found.u95 < 0.005 * found.value


def test_the_same_log_gives_the_same_motion_and_time_does_not_matter() -> None:
    log = gps_log(truth(1), Receiver(rate_hz=5.0), 1)
    later = dataclasses.replace(log, time_s=log.time_s + 86400.0)
    one, two, other = (
        estimate(screen(each).observed, np.random.default_rng(7)) for each in (log, log, later)
    )
    assert (one.speed_mps == two.speed_mps).all()
    np.testing.assert_allclose(one.speed_mps, other.speed_mps, atol=2e-3)


def test_the_log_is_left_as_it_was() -> None:
    log = gps_log(truth(2), Receiver(rate_hz=1.0), 2)
    copies = {name: getattr(log, name).copy() for name in ("time_s", "speed_mps", "latitude_deg")}
    estimate(screen(log).observed, np.random.default_rng(0))
    for name, before in copies.items():
        assert np.array_equal(getattr(log, name), before, equal_nan=True)


def test_distance_is_the_integral_of_cubic_speed() -> None:
    time = np.array([0.0, 1.0, 3.0])
    speed, change = 2.0 + time**3 - time**2, 3.0 * time**2 - 2.0 * time
    whole = 2.0 * time + time**4 / 4.0 - time**3 / 3.0
    np.testing.assert_allclose(travelled(time, speed, change), whole, atol=1e-12)


def test_positions_keep_their_place() -> None:
    screened, motion = logged(1, Receiver(rate_hz=1.0), False)
    log = gps_log(truth(1), Receiver(rate_hz=1.0), 1, with_speed=False)
    east, _ = local_metres(log.latitude_deg, log.longitude_deg)
    assert screened.east_m.size == motion.time_s.size == east.size
