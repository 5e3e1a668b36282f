"""The motion estimate on simulated drives with known truth, and what must not change it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom

from roadtest.motion.estimate import SPEED_MODEL, Draws, Motion, Span, estimate, travelled
from roadtest.motion.noise import Noise
from roadtest.motion.posterior import summarise
from roadtest.motion.sampler import Observed, Sampler
from roadtest.motion.screening import screen
from tests.evidence_from_truth import gps_log
from tests.motion.conftest import Case, make_case
from tests.simulation.ensembles import random_drive
from tests.simulation.receiver import KNOT_MPS, Receiver
from tests.simulation.truth import Truth

Cases = Callable[[float], tuple[Case, ...]]
Truths = Callable[[int], Truth]
RATES = pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
PROMISE = (0.93, 0.97)


def holds(draws: np.ndarray, true: np.ndarray | float) -> np.ndarray:
    low, high = np.quantile(draws, [0.025, 0.975], axis=0)
    return np.asarray((low <= true) & (true <= high))


def check_share(shares: Iterable[float]) -> None:
    """Check that the mean share is no less than promised, but for chance.

    `shares` are those of independent drives. Three standard errors of their mean either way: by
    chance one test in some hundreds would fail. More than promised is not a fault of honesty; that
    intervals are no wider than they must be is checked by their widths.
    """
    share = np.array(list(shares))
    assert share.mean() > PROMISE[0] - 3.0 * share.std(ddof=1) / np.sqrt(share.size)


def check_trials(held: Iterable[bool]) -> None:
    """Check independent 95 % intervals: fewer hold by chance once in a thousand."""
    each = np.array(list(held), dtype=bool)
    assert each.sum() >= binom.ppf(0.001, each.size, 0.95)


def moving_errors(case: Case) -> tuple[np.ndarray, np.ndarray]:
    """Return errors and standard uncertainties [2, n] of speed and acceleration while moving."""
    motion = case.motion
    true = np.array(case.true_rates(motion.time_s))
    found = np.array([motion.speed_mps, motion.acceleration_mps2])
    u = np.array([motion.u_speed_mps, motion.u_acceleration_mps2])
    rolls = true[0] > 0.0
    return (found - true)[:, rolls], u[:, rolls]


# --- simulated truth ---


@RATES
def test_intervals_of_speed_and_acceleration_hold_the_truth(
    stop_cases: Cases, rate_hz: float
) -> None:
    held = []
    for case in stop_cases(rate_hz):
        error, u = moving_errors(case)
        held.append((np.abs(error) < 1.96 * u).mean(axis=1))
    for share in np.array(held).T:
        check_share(share)


@RATES
def test_intervals_are_no_wider_than_they_must_be(stop_cases: Cases, rate_hz: float) -> None:
    """A normal error is less than its standard uncertainty in 68 of 100 cases."""
    within = []
    for case in stop_cases(rate_hz):
        error, u = moving_errors(case)
        within.append((np.abs(error) < u).mean(axis=1))
    share = np.mean(within, axis=0)
    assert share[0] < 0.78  # 0.78: intervals a quarter too wide
    assert share[1] < 0.87  # most of a drive is calmer than its liveliest moments


@RATES
def test_draws_of_stops_hold_speed_acceleration_and_distance(
    stop_cases: Cases, rate_hz: float
) -> None:
    shares, way = [], []
    for case in stop_cases(rate_hz):
        each = []
        for drawn in case.stop_draws():
            speed, rate = case.true_rates(drawn.time_s)
            rolls = speed > 0.0
            each.append(
                (
                    holds(drawn.speed_mps, speed)[rolls].mean(),
                    holds(drawn.acceleration_mps2, rate)[rolls].mean(),
                )
            )
            true = case.level_way(float(drawn.time_s[0]), float(drawn.time_s[-1]))
            way.append(bool(holds(drawn.distance_m[:, -1], true)))
        shares.append(np.mean(each, axis=0))
    for share in np.array(shares).T:
        check_share(share)
    check_trials(way)


@pytest.mark.parametrize("rate_hz", [5.0, 10.0])
def test_speed_is_better_than_reported(stop_cases: Cases, rate_hz: float) -> None:
    found, raw = [], []
    for case in stop_cases(rate_hz):
        observed = case.motion.observed
        true = case.true_rates(case.motion.time_s)[0]
        seen = observed.seen & (true > 1.0)
        found.append((case.motion.speed_mps - true)[seen])
        raw.append((observed.values[0] - true)[seen])
    assert np.std(np.concatenate(found)) < 0.75 * np.std(np.concatenate(raw))


def test_noise_is_found(stops_truth: Truths) -> None:
    """At 10 Hz the white part stands out; the slow parts are taken as known."""
    for white in (0.03, 0.1):
        case = make_case(stops_truth(2), Receiver(rate_hz=10.0, white_mps=white), 2)
        assert case.motion.noise.sd == pytest.approx(white, rel=0.2)


def test_gaps_widen_the_interval_and_keep_it_true() -> None:
    lengths = (3.0, 6.0, 12.0, 20.0, 30.0, 45.0, 80.0)
    speeds, ways, widths = [], [], []
    for seed in range(2):
        truth = random_drive(seed)
        starts = np.linspace(40.0, truth.t_s[-1] - 120.0, len(lengths))
        gaps = tuple(zip(starts, starts + lengths, strict=True))
        case = make_case(truth, Receiver(rate_hz=5.0, gaps=gaps), seed)
        spans = [Span(a - case.late_s - 0.5, b - case.late_s + 0.5) for a, b in gaps]
        drawn = case.motion.draws(spans, 200, np.random.default_rng(1))
        for each in drawn:
            true = case.level_way(float(each.time_s[0]), float(each.time_s[-1]))
            ways.append(bool(holds(each.distance_m[:, -1], true)))
            speeds.append(holds(each.speed_mps, case.true_rates(each.time_s)[0]).mean())
        widths.append([each.distance_m[:, -1].std() for each in drawn])
    check_trials(ways)
    check_share(speeds)
    width = np.array(widths)
    assert np.all(width[:, [0, 2, 4, 6]][:, 1:] > 2.0 * width[:, [0, 2, 4, 6]][:, :-1])


def test_a_receiver_that_writes_zero_below_2_mps_does_not_show_hard_braking(
    stops_truth: Truths,
) -> None:
    peaks, ways = [], []
    for seed in range(6):
        case = make_case(stops_truth(seed), Receiver(rate_hz=10.0, clamp_mps=2.0), seed)
        ends = [m.end_s - case.late_s for m in case.truth.of_kind("stop")]
        for end, drawn in zip(ends, case.stop_draws(), strict=True):
            last = (drawn.time_s > end - 2.0) & (drawn.time_s < end)
            peak = drawn.acceleration_mps2[:, last].min(axis=1)
            true = float(case.true_rates(drawn.time_s[last])[1].min())
            peaks.append(bool(holds(peak, true)))
            way = case.level_way(float(drawn.time_s[0]), float(drawn.time_s[-1]))
            ways.append(bool(holds(drawn.distance_m[:, -1], way)))
    check_trials(peaks)
    check_trials(ways)


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_mean_of_a_hold_is_held_though_speeds_are_whole_knots(
    holds_truth: Truths, rate_hz: float
) -> None:
    held, error, u = [], [], []
    for seed in range(6):
        receiver = Receiver(rate_hz=rate_hz, speed_step_mps=KNOT_MPS)
        case = make_case(holds_truth(seed), receiver, seed)
        assert case.screened.speed_step_mps == pytest.approx(KNOT_MPS)
        spans = [
            Span(m.start_s - case.late_s, m.end_s - case.late_s) for m in case.truth.of_kind("hold")
        ]
        for drawn in case.motion.draws(spans, 200, np.random.default_rng(1)):
            start, end = float(drawn.time_s[0]), float(drawn.time_s[-1])
            mean = drawn.distance_m[:, -1] / (end - start)
            true = case.level_way(start, end) / (end - start)
            held.append(bool(holds(mean, true)))
            error.append(mean.mean() - true)
            u.append(mean.std())
    check_trials(held)
    assert np.sqrt(np.mean(np.square(u))) < KNOT_MPS / np.sqrt(12.0)  # better than one reading
    assert abs(np.mean(error)) < 3.0 * np.std(error) / np.sqrt(len(error))


def test_a_metre_per_second_off_in_one_fix_of_a_hundred_costs_little(stops_truth: Truths) -> None:
    error: dict[float, list[np.ndarray]] = {0.0: [], 0.01: []}
    shares = []
    for seed in range(3):
        for share, errors in error.items():
            receiver = Receiver(rate_hz=5.0, outlier_share=share, outlier_mps=1.0)
            case = make_case(stops_truth(seed), receiver, seed)
            off, u = moving_errors(case)
            errors.append(off[0])
            if share:
                shares.append(np.mean(np.abs(off[0]) < 1.96 * u[0]))
    clean, spoiled = (np.sqrt(np.mean(np.concatenate(errors) ** 2)) for errors in error.values())
    assert spoiled < 1.15 * clean
    check_share(shares)


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_positions_alone_give_speed_with_an_honest_interval(
    stops_truth: Truths, rate_hz: float
) -> None:
    receiver = Receiver(
        rate_hz=rate_hz, position_slow_m=2.0, position_tau_s=120.0, position_white_m=0.3
    )
    shares, errors = [], []
    for seed in range(5):
        case = make_case(stops_truth(seed), receiver, seed, with_speed=False)
        assert case.motion.source == "position"
        error, u = moving_errors(case)
        shares.append(np.mean(np.abs(error[0]) < 1.96 * u[0]))
        errors.append(error[0])
    check_share(shares)
    assert np.sqrt(np.mean(np.concatenate(errors) ** 2)) < 0.6
    assert min(float(case.motion.speed_mps.min()), 0.0) == 0.0


# --- what must not change it ---


def motion_of(observed: Observed, seed: int = 3) -> Motion:
    return estimate(observed, np.random.default_rng(seed))


def same(one: Motion, other: Motion, atol: float) -> None:
    for name in ("speed_mps", "acceleration_mps2", "u_speed_mps", "u_acceleration_mps2"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), atol=atol)


def test_same_seed_same_result_and_nothing_written_to_the_input(stops_at_5_hz: Case) -> None:
    observed = stops_at_5_hz.screened.observed
    kept = observed.values.copy(), observed.rounding.copy(), observed.knots.time_s.copy()
    one, other = motion_of(observed), motion_of(observed)
    same(one, other, 0.0)
    np.testing.assert_array_equal(one.distance_m, other.distance_m)
    span = [Span(3.0, 12.0)]
    drawn = [m.draws(span, 5, np.random.default_rng(8))[0] for m in (one, other)]
    np.testing.assert_array_equal(drawn[0].speed_mps, drawn[1].speed_mps)
    for array, before in zip(
        (observed.values, observed.rounding, observed.knots.time_s), kept, strict=True
    ):
        np.testing.assert_array_equal(array, before)


def test_another_seed_gives_much_the_same(stops_at_5_hz: Case) -> None:
    one = stops_at_5_hz.motion
    other = motion_of(stops_at_5_hz.screened.observed, 4)
    off = (one.speed_mps - other.speed_mps) / np.maximum(one.u_speed_mps, 1e-3)
    assert np.sqrt(np.mean(off**2)) < 0.3
    assert np.median(one.u_speed_mps / np.maximum(other.u_speed_mps, 1e-9)) == pytest.approx(
        1.0, abs=0.1
    )


def test_time_of_day_does_not_matter(stops_truth: Truths) -> None:
    log = gps_log(stops_truth(0), Receiver(rate_hz=5.0), 0)
    moved = dataclasses.replace(log, time_s=log.time_s + 86_400.0 * 123.0 + 4321.0)
    one, other = (motion_of(screen(each).observed) for each in (log, moved))
    same(one, other, 1e-4)


def test_unit_the_log_was_written_in_does_not_matter(stops_truth: Truths) -> None:
    log = gps_log(stops_truth(0), Receiver(rate_hz=5.0, speed_step_mps=0.0), 0)
    found = []
    for unit in (KNOT_MPS, 1.0 / 3.6, 1.0):
        written = np.array([float(f"{v / unit:.6f}") for v in log.speed_mps]) * unit
        found.append(motion_of(screen(dataclasses.replace(log, speed_mps=written)).observed))
    same(found[0], found[1], 1e-3)
    same(found[0], found[2], 1e-3)


def test_half_a_log_gives_the_same_motion_as_the_whole(stops_at_5_hz: Case) -> None:
    whole = stops_at_5_hz.motion
    observed = stops_at_5_hz.screened.observed
    middle = observed.seen.size // 2
    half = motion_of(observed.part(np.arange(middle)))
    inside = slice(0, middle - 25)  # five seconds from the end
    off = (half.speed_mps - whole.speed_mps[:middle])[inside]
    u = np.maximum(whole.u_speed_mps[:middle][inside], 3e-3)
    assert np.sqrt(np.mean((off / u) ** 2)) < 0.4
    ratio = half.u_speed_mps[inside] / np.maximum(whole.u_speed_mps[:middle][inside], 1e-9)
    assert np.median(ratio) == pytest.approx(1.0, abs=0.15)


@RATES
def test_long_logs_summarised_by_formula_agree_with_short_ones_by_draws(
    stops_truth: Truths, rate_hz: float
) -> None:
    """Below 60 sweeps mean and spread are those for middling intensities."""
    observed = screen(gps_log(stops_truth(1), Receiver(rate_hz=rate_hz), 1)).observed
    found = []
    for sweeps in (59, 300):
        sampler = Sampler(observed, SPEED_MODEL, Noise(0.03, 50.0), np.random.default_rng(5))
        for _ in range(60):
            sampler.step(with_noise=False)
        found.append(summarise(sampler, sweeps))
    moving = found[1].speed_mps > 1.0
    u = found[1].u_speed_mps[moving]
    off = (found[0].speed_mps - found[1].speed_mps)[moving] / u
    assert np.sqrt(np.mean(off**2)) < 0.35
    assert np.median(found[0].u_speed_mps[moving] / u) == pytest.approx(1.0, abs=0.12)
    ratio = found[0].u_acceleration_mps2[moving] / found[1].u_acceleration_mps2[moving]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.25)


# --- draws and distance ---


def test_draws_come_in_the_order_asked_for_and_cover_their_spans(stops_at_5_hz: Case) -> None:
    motion = stops_at_5_hz.motion
    spans = [Span(30.0, 36.0), Span(5.0, 9.0), Span(8.0, 12.0)]
    drawn = motion.draws(spans, 7, np.random.default_rng(1))
    assert motion.draws([], 7, np.random.default_rng(1)) == ()
    for span, each in zip(spans, drawn, strict=True):
        assert each.speed_mps.shape == (7, each.time_s.size)
        assert each.time_s[0] <= span.start_s < each.time_s[1]
        assert each.time_s[-2] < span.end_s <= each.time_s[-1]
        assert np.all(each.distance_m[:, 0] == 0.0)
    shared = np.intersect1d(drawn[1].time_s, drawn[2].time_s)
    assert shared.size > 3
    columns = [np.isin(each.time_s, shared) for each in drawn[1:]]
    np.testing.assert_array_equal(
        drawn[1].speed_mps[:, columns[0]], drawn[2].speed_mps[:, columns[1]]
    )


@pytest.mark.parametrize("rate_hz", [1.0, 3.0])
def test_draws_are_never_coarser_than_a_fifth_of_a_second_but_in_long_gaps(rate_hz: float) -> None:
    truth = random_drive(0)
    case = make_case(truth, Receiver(rate_hz=rate_hz, gaps=((100.0, 140.0),)), 0)
    (drawn,) = case.motion.draws([Span(80.0, 99.0)], 3, np.random.default_rng(1))
    assert np.diff(drawn.time_s).max() <= 0.2 + 1e-6
    (over,) = case.motion.draws([Span(95.0, 145.0)], 3, np.random.default_rng(1))
    gap = over.time_s[(over.time_s > 100.5) & (over.time_s < 139.0)]
    assert 40 <= gap.size <= 50


def test_draws_have_the_spread_of_the_estimate(stops_at_5_hz: Case) -> None:
    motion = stops_at_5_hz.motion
    drawn: Draws = motion.draws([Span(2.0, 40.0)], 300, np.random.default_rng(1))[0]
    inside = np.isin(drawn.time_s, motion.time_s)
    at = np.isin(motion.time_s, drawn.time_s)
    moving = motion.speed_mps[at] > 1.0
    ratio = drawn.speed_mps[:, inside].std(axis=0)[moving] / motion.u_speed_mps[at][moving]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.1)
    off = drawn.speed_mps[:, inside].mean(axis=0) - motion.speed_mps[at]
    assert np.sqrt(np.mean((off[moving] / motion.u_speed_mps[at][moving]) ** 2)) < 0.3


@RATES
def test_the_car_stands_where_it_stands_and_never_rolls_back(
    stop_cases: Cases, rate_hz: float
) -> None:
    for case in stop_cases(rate_hz)[:3]:
        motion = case.motion
        still = motion.observed.knots.still
        assert still.any()
        assert np.all(motion.speed_mps[still] < 0.02)
        assert motion.speed_mps.min() >= 0.0
        for drawn in case.stop_draws(20):
            assert drawn.speed_mps.min() >= 0.0
            assert np.all(np.diff(drawn.distance_m, axis=1) > -0.05)


def test_way_of_a_steady_acceleration_is_exact_however_uneven_the_times() -> None:
    time = np.cumsum(np.random.default_rng(1).uniform(0.05, 2.0, 30))
    speed, acceleration = 3.0 + 0.7 * time, np.full(30, 0.7)
    way = travelled(time, speed, acceleration)
    np.testing.assert_allclose(way, np.cumsum(np.r_[0.0, np.diff(3.0 * time + 0.35 * time**2)]))
    cubic = travelled(time, time**3 / 100.0, 3.0 * time**2 / 100.0)
    np.testing.assert_allclose(cubic, (time**4 - time[0] ** 4) / 400.0, rtol=1e-9, atol=1e-9)
    both = travelled(time, np.array([speed, 2.0 * speed]), np.array([acceleration] * 2))
    assert both.shape == (2, 30)


def test_steps_of_two_fixes_and_of_a_gap_of_hours_do_not_break_it() -> None:
    time = np.concatenate([np.arange(20.0), 30_000.0 + np.arange(20.0)])
    truth_log = gps_log(random_drive(0), Receiver(rate_hz=1.0), 0)
    columns = ("latitude_deg", "longitude_deg", "altitude_m", "speed_mps", "course_deg", "hdop")
    part: dict[str, Any] = {
        name: getattr(truth_log, name)[100:140] for name in (*columns, "u_position_m", "segment")
    }
    log = dataclasses.replace(truth_log, time_s=truth_log.time_s[0] + time, **part)
    motion = motion_of(screen(log).observed)
    assert np.isfinite(motion.u_speed_mps).all()
    off = motion.speed_mps - log.speed_mps
    assert np.sqrt(np.nanmean(off[log.speed_mps > 1.0] ** 2)) < 0.1


def test_speeds_and_ways_of_a_steady_motion_are_those_drawn_in_full() -> None:
    case = make_case(random_drive(0), Receiver(rate_hz=10.0), 0)
    motion, count = case.motion, 400
    spans = [Span(start, start + 10.0) for start in (20.0, 60.0)]
    full, steady = (
        motion.draws(spans, count, np.random.default_rng(2), steady=k) for k in (False, True)
    )
    for a, b in zip(full, steady, strict=True):
        at = np.searchsorted(a.time_s, b.time_s)
        np.testing.assert_array_equal(a.time_s[at], b.time_s)
        assert np.diff(b.time_s).max() <= 0.2 + 1e-6
        for found, other in ((a.speed_mps, b.speed_mps), (a.distance_m, b.distance_m)):
            from_start = found[:, at] - found[:, at[:1]] if found is a.distance_m else found[:, at]
            sd = np.maximum(from_start.std(axis=0), 1e-3)
            off = (from_start.mean(axis=0) - other.mean(axis=0)) / sd
            assert np.sqrt(np.mean(off**2)) < 0.25
            assert np.median(other.std(axis=0) / sd) == pytest.approx(1.0, abs=0.1)
    assert len(motion.draws(spans, 7, np.random.default_rng(1), steady=True)[0].speed_mps) == 7
