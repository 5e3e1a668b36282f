"""Receivers that smooth their speed, and loggers too slow for a stop."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.special import ive

from roadtest.evidence import Evidence
from roadtest.measures import smoothing
from roadtest.measures.braking import BrakingMeasured, measure_braking
from roadtest.measures.braking.ramp import speed_parts
from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.measures.smoothing import unfolded, unsmoothed
from roadtest.motion.estimate import Draws
from roadtest.motion.lateness import Lateness
from tests.measures.braking.trials import found_evidence, true_stop
from tests.simulation.driver import Driver, Pedal, simulate
from tests.simulation.ensembles import random_stops
from tests.simulation.lag import lagged
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth


@cache
def short_stops() -> Truth:
    """Return three stops of two to three seconds."""

    def script(driver: Driver) -> None:
        driver.start_rolling(14.0)
        for k, (level, seconds) in enumerate(((6.0, 2.2), (7.0, 2.5), (5.5, 2.8))):
            if k:
                driver.turn_round()
            driver.stop(level * seconds, Pedal(level_mps2=level, unevenness=0.03))
        driver.idle(5.0)

    return simulate(script, seed=4)


def seen(rate_hz: float, lag_s: float, clamp_mps: float = 0.0) -> tuple[Evidence, BrakingMeasured]:
    receiver = Receiver(rate_hz=rate_hz, lag_s=lag_s, delay_s=0.2, clamp_mps=clamp_mps)
    evidence = found_evidence(short_stops(), receiver, 4)
    return evidence, measure_braking(evidence)


@pytest.mark.parametrize(
    ("rate_hz", "lag_s", "clamp_mps"),
    [(2.0, 0.5, 0.0), (5.0, 0.0, 0.0), (5.0, 0.2, 0.0), (10.0, 0.5, 0.0), (10.0, 0.5, 1.5)],
)
def test_smoothing_is_seen_at_the_ends_of_stops_and_taken_out(
    rate_hz: float, lag_s: float, clamp_mps: float
) -> None:
    evidence, made = seen(rate_hz, lag_s, clamp_mps)
    assert len(made.result.stops) == 3
    told = made.result.smoothing
    if lag_s == 0.0:
        assert told is None
    else:
        assert told is not None
        assert told.low - 0.03 <= lag_s <= told.high + 0.03
        assert any("smooths its speed over" in remark for remark in made.remarks)
    for stop in made.result.stops:
        true = true_stop(short_stops(), evidence, stop.manoeuvre)
        assert true is not None
        assert stop.mfdd_level is not None
        assert stop.distance is not None
        assert stop.initial_speed is not None
        # Half an interval more: nine figures of three stops are many chances.
        for figure, key in (
            (stop.mfdd_level, "mfdd_level_mps2"),
            (stop.distance, "distance_m"),
            (stop.initial_speed, "initial_mps"),
        ):
            assert abs(figure.value - true.figures[key]) <= 1.5 * figure.u95, key


def test_smoothing_that_a_clamp_hides_is_left_open() -> None:
    evidence, made = seen(10.0, 0.2, 2.0)
    # What is left of the stops looks the same with any filter that fits within 0.4 s of lateness.
    low, high = np.quantile(made.smoothing_s, [0.025, 0.975])
    assert low < 0.1
    assert 0.3 < high < 0.5
    assert made.result.smoothing is None
    for stop in made.result.stops:
        true = true_stop(short_stops(), evidence, stop.manoeuvre)
        assert true is not None and stop.distance is not None
        assert stop.distance.low <= true.figures["distance_m"] <= stop.distance.high


def test_speeds_no_later_than_places_are_not_smoothed_though_a_clamp_hides_the_end() -> None:
    evidence = found_evidence(short_stops(), Receiver(rate_hz=5.0, clamp_mps=2.0), 4)
    assert np.quantile(measure_braking(evidence).smoothing_s, 0.975) < 0.1


def test_the_size_of_a_velocity_with_errors_says_which_speed_is_likeliest() -> None:
    shown, sd = np.array([0.0, 0.06, 0.08, 0.3, 5.0]), 0.05
    speed, variance = unfolded(shown, np.full(5, sd**2))
    tried = np.linspace(0.0, 6.0, 60_001)
    for k, size in enumerate(shown):
        each = np.log(ive(0, size * tried / sd**2)) - 0.5 * ((tried - size) / sd) ** 2
        assert speed[k] == pytest.approx(tried[np.argmax(each)], abs=2e-4)
    assert speed[:2] == pytest.approx(0.0, abs=1e-3)  # below √2 times the error it may stand
    assert variance[[0, 4]] == pytest.approx(sd**2, rel=1e-3)
    assert variance[1] > sd**2


@cache
def snubs() -> Truth:
    """Return three snubs of about two seconds, and two stops."""

    def script(driver: Driver) -> None:
        driver.start_rolling(20.0)
        for speed in (20.0, 22.0, 24.0):
            driver.snub(speed, 0.5 * speed, Pedal(level_mps2=6.0))
            driver.cruise(12.0, 4.0)
        for _ in range(2):
            driver.stop(18.0, Pedal(level_mps2=6.0))
            driver.idle(3.0)

    return simulate(script, seed=6)


def test_a_snub_of_two_mean_speeds_is_not_measured_from_places() -> None:
    evidence = found_evidence(snubs(), Receiver(rate_hz=1.0), 6, with_speed=False)
    assert measure_braking(evidence).result.snubs == ()


def test_a_snub_ends_where_the_pedal_is_let_go_not_where_a_slow_receiver_shows_it() -> None:
    truth = snubs()
    evidence = found_evidence(truth, Receiver(lag_s=0.5, delay_s=0.2), 6)
    found = measure_braking(evidence).result.snubs
    assert len(found) == 3
    for snub, true in zip(found, truth.of_kind("snub"), strict=True):
        ends = truth.distance_at(np.array([true.start_s, true.end_s]))
        assert snub.final_speed is not None and snub.distance is not None
        assert abs(snub.final_speed.value - true.figures["final_mps"]) <= snub.final_speed.u95
        assert abs(snub.distance.value - float(ends[1] - ends[0])) <= snub.distance.u95


def test_a_stop_with_too_few_fixes_is_not_judged_and_says_what_rate_would_do() -> None:
    for late in (0.0, 0.5):
        receiver = Receiver(rate_hz=1.0, late_start_s=late)
        made = measure_braking(found_evidence(short_stops(), receiver, 4))
        assert made.result.stops
        for stop in made.result.stops:
            assert stop.not_judged.startswith("too few fixes: ")
            assert "at least 3 are needed" in stop.not_judged
            assert stop.judged_from_hz == 5.0
        assert made.result.spread is None  # nor compared
    _, quick = seen(5.0, 0.0)
    assert [stop.not_judged for stop in quick.result.stops] == ["", "", ""]


def test_a_receiver_too_slow_for_any_stop_says_so() -> None:
    _, made = seen(10.0, 0.9)
    for stop in made.result.stops:
        assert "the receiver smooths its speed over" in stop.not_judged
        assert stop.judged_from_hz is None


def test_taking_a_first_order_lag_out_gives_back_the_speed() -> None:
    time = np.arange(0.0, 6.0, 0.01)
    true = 20.0 - 3.0 * np.clip(time - 1.0, 0.0, 4.0)
    shown = lagged(true, 0.01, 0.4)
    acceleration = np.gradient(shown, time)
    draws = Draws(time, shown[None], acceleration[None], np.zeros((1, time.size)))
    back = unsmoothed(draws, np.array([0.4]))
    assert np.abs(back.speed_mps[0] - true).max() < 0.05
    assert back.distance_m[0, -1] == pytest.approx(np.trapezoid(true, time), abs=0.1)
    assert unsmoothed(draws, np.array([0.0])) is draws


def test_the_parts_of_a_beginning_are_lagged_as_a_receiver_lags() -> None:
    time = np.arange(0.0, 4.0, 0.001)
    grid = np.array([[1.5], [0.3], [0.4]])
    plain, shown = speed_parts(time, grid)[0], speed_parts(time, grid, 0.5)[0]
    for k in (0, 2, 3, 4, 5):
        assert shown[:, k] == pytest.approx(lagged(plain[:, k], 0.001, 0.5), abs=2e-3)


def test_a_zero_long_after_rest_does_not_look_like_a_glide() -> None:
    """A fix a second that reads zero below a clamp: the car may have stood for most of a second."""
    receiver = Receiver(rate_hz=1.0, lag_s=0.1, delay_s=0.6, clamp_mps=2.0)
    evidence = found_evidence(random_stops(5, count=6, from_mps=20.0), receiver, 5)
    smoothing = smoothed_by_receiver(evidence).time_s
    assert np.quantile(smoothing, 0.05) < 0.2  # it was told as 0.65 ± 0.13 s


def test_speeds_that_are_surely_early_are_hardly_smoothed(monkeypatch: pytest.MonkeyPatch) -> None:
    evidence, _ = seen(5.0, 0.0)
    surely = Lateness(-0.6, 0.01)
    monkeypatch.setattr(smoothing, "lateness", lambda *_: surely)
    assert smoothed_by_receiver(replace(evidence, smoothed=None)).time_s.max() < 0.05


def test_lateness_without_a_fix_near_rest_leaves_smoothing_open() -> None:
    def script(driver: Driver) -> None:
        driver.start_rolling(20.0)
        for speed in (14.0, 20.0, 15.0):
            driver.reach(speed)
        driver.cruise(20.0, 10.0)

    late = Receiver(rate_hz=5.0, lag_s=0.6, delay_s=0.2)
    evidence = found_evidence(simulate(script, seed=6), late, 6)
    told = smoothed_by_receiver(replace(evidence, smoothed=None)).time_s
    assert np.quantile(told, 0.025) < 0.6 < np.quantile(told, 0.975)
