"""Distance along the road between two moments."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import binom

from roadtest.motion.distance import distance_driven, least_top_speed
from roadtest.motion.estimate import Motion, Span
from roadtest.motion.gaps import LONG_GAP_S, Gaps, over_gap
from roadtest.motion.ground import Ground, ground_under
from tests.motion.conftest import Case, make_case
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.ensembles import random_drive
from tests.simulation.receiver import Receiver
from tests.simulation.road import rolling_road
from tests.simulation.truth import Truth

_Whole = TypeVar("_Whole", Motion, Ground)


def road_way(case: Case, start_s: float, end_s: float) -> float:
    at = case.truth.distance_at(np.array([start_s, end_s]) + case.late_s)
    return float(at[1] - at[0])


def ground_of(case: Case) -> Ground:
    return ground_under(case.screened, case.motion)


@pytest.fixture(scope="module")
def drives() -> list[tuple[Case, Ground]]:
    cases = [make_case(random_drive(k), Receiver(rate_hz=5.0), k) for k in range(2)]
    return [(case, ground_of(case)) for case in cases]


def test_interval_holds_the_true_distance(drives: list[tuple[Case, Ground]]) -> None:
    """Over stretches of half a minute: the slow receiver error is another in each."""
    held, error, width = [], [], []
    for case, ground in drives:
        for start in np.arange(5.0, case.motion.time_s[-1] - 35.0, 35.0):
            found = distance_driven(case.motion, ground, start, start + 30.0)
            true = road_way(case, start, start + 30.0)
            if true > 1.0:
                held.append(found.low <= true <= found.high)
                error.append(found.value - true)
                width.append(found.u95)
    assert sum(held) >= binom.ppf(0.001, len(held), 0.95)
    assert np.median(np.abs(error)) > 0.2 * np.median(width) > 0.0  # 0.34 where errors are normal


def test_whole_drive_is_held(drives: list[tuple[Case, Ground]]) -> None:
    for case, ground in drives:
        start, end = 0.0, float(case.motion.time_s[-1])
        found = distance_driven(case.motion, ground, start, end)
        true = road_way(case, start, end)
        assert abs(found.value - true) < 1.5 * found.u95  # two drives: no chance of a miss by luck
        assert found.u95 < 2e-3 * true
        assert found.unit == "m"


def test_distance_adds_up_and_does_not_depend_on_where_it_is_cut(
    drives: list[tuple[Case, Ground]],
) -> None:
    case, ground = drives[0]
    a, b, c = 50.03, 137.412, 301.9
    parts = [distance_driven(case.motion, ground, *pair) for pair in ((a, b), (b, c))]
    whole = distance_driven(case.motion, ground, a, c)
    assert sum(part.value for part in parts) == pytest.approx(whole.value, abs=1e-6)
    assert whole.u95 < sum(part.u95 for part in parts) + 1e-9
    assert distance_driven(case.motion, ground, a, a).value == pytest.approx(0.0, abs=1e-9)


def test_uncertainty_is_that_of_joint_draws(stops_at_5_hz: Case) -> None:
    """The same integral over draws has the same spread, but for the grade's small part."""
    case = stops_at_5_hz
    time = case.motion.time_s
    start, end = float(time[20]), float(time[170])
    found = distance_driven(case.motion, ground_of(case), start, end)
    (drawn,) = case.motion.draws([Span(start, end)], 400, np.random.default_rng(2))
    first, last = (int(np.flatnonzero(np.isclose(drawn.time_s, t))[0]) for t in (start, end))
    way = drawn.distance_m[:, last] - drawn.distance_m[:, first]
    assert found.u95 == pytest.approx(1.96 * way.std(), rel=0.25)
    assert found.value == pytest.approx(way.mean(), abs=0.3 * found.u95)


@pytest.mark.parametrize("gap_s", [2.0, 40.0])
def test_over_a_gap_the_places_at_its_ends_tell_the_way(gap_s: float) -> None:
    held = []
    for seed in range(2):
        truth = random_drive(seed)
        starts = [120.0, 200.0, 280.0, 360.0]
        gaps = tuple((start, start + gap_s) for start in starts)
        case = make_case(truth, Receiver(rate_hz=2.0, gaps=gaps), seed)
        ground = ground_of(case)
        for start in starts:
            ends = start - case.late_s - 5.0, start - case.late_s + gap_s + 5.0
            found = distance_driven(case.motion, ground, *ends)
            true = road_way(case, *ends)
            # A gap with a turn in it is not told by its chord, nor one with a stop by its ends.
            east = np.interp(np.array(ends) + case.late_s, truth.t_s, truth.east_m)
            north = np.interp(np.array(ends) + case.late_s, truth.t_s, truth.north_m)
            straight = np.hypot(east[1] - east[0], north[1] - north[0]) > 0.985 * true
            slowest = truth.speed_at(np.linspace(*ends, 200) + case.late_s).min()
            if straight and slowest > 1.0:
                held.append(found.low <= true <= found.high)
                assert gap_s > LONG_GAP_S or found.u95 < 1.0
                assert found.u95 < 7.0 + 0.02 * true  # two places, and a road that bends
    assert len(held) >= 3
    assert sum(held) >= binom.ppf(0.001, len(held), 0.95)


def test_ways_over_gaps_are_held_and_not_too_long(drives: list[tuple[Case, Ground]]) -> None:
    """Whatever was driven in them: gaps are cut out of motions that are known throughout."""
    held, off = [], []
    for number, (case, ground) in enumerate(drives):
        time = case.motion.time_s
        rng = np.random.default_rng(number)
        for start in rng.uniform(0.05 * time[-1], 0.85 * time[-1], 60):
            kept = (time < start) | (time > start + rng.uniform(4.0, 60.0))
            gaps = Gaps(_thinned(case.motion, kept), _thinned(ground, kept))
            (k,) = gaps.after
            ways = over_gap(gaps, k)
            way = float(np.median(ways))
            u95 = float(np.quantile(np.abs(ways - way), 0.95))
            true = road_way(case, *gaps.motion.time_s[k : k + 2].tolist())
            held.append(abs(way - true) <= u95)
            off.append((way - true) / u95)
    assert sum(held) >= binom.ppf(0.001, len(held), 0.95)
    assert np.median(np.abs(off)) > 0.1
    assert abs(np.mean(off)) < 0.1


def _thinned(whole: _Whole, kept: NDArray[np.bool_]) -> _Whole:
    names = ("time_s", "speed_mps", "distance_m", "east_m", "north_m", "heading_rad")
    parts = {name: getattr(whole, name)[kept] for name in names if hasattr(whole, name)}
    return replace(whole, **parts)


def test_a_car_that_turned_round_in_a_gap_went_further_than_the_chord() -> None:
    """There and back: the places at its ends are near one another, the way is long."""

    def script(driver: Driver) -> None:
        driver.start_rolling(15.0)
        driver.cruise(18.0, 25.0)
        driver.turn_round()
        driver.cruise(18.0, 40.0)

    truth = simulate(script, seed=4)
    (turn,) = truth.of_kind("turn")
    gap = (turn.start_s - 15.0, turn.end_s + 20.0)
    case = make_case(truth, Receiver(rate_hz=5.0, gaps=(gap,)), 4)
    found = distance_driven(case.motion, ground_of(case), 0.0, float(case.motion.time_s[-1]))
    true = road_way(case, 0.0, float(case.motion.time_s[-1]))
    assert found.low < true < found.high
    assert 0.03 * true < found.u95 < 0.5 * true


@pytest.mark.parametrize(("seed", "bendiness"), [(3, 0.0), (1, 5.0), (7, 5.0)])
def test_over_minutes_without_fixes_the_road_may_be_any(seed: int, bendiness: float) -> None:
    """Straight, a little or nearly twice as long as the chord, though it ends along it."""
    driver = Driver(Car(), rolling_road(seed, bendiness=bendiness), seed)
    driver.start_rolling(20.0)
    driver.cruise(20.0, 360.0)
    receiver = Receiver(rate_hz=1.0, gaps=((20.0, 330.0),))
    case = make_case(driver.finish(), receiver, seed)
    ground = ground_of(case)
    found = distance_driven(case.motion, ground, 0.0, float(case.motion.time_s[-1]))
    true = road_way(case, 0.0, float(case.motion.time_s[-1]))
    assert found.low < true < found.high
    # To get from place to place in time it was at least so fast, by the straight line.
    assert 8.0 < least_top_speed(case.motion, ground) < 20.05


def test_a_turn_in_a_gap_is_as_long_as_others_of_the_log() -> None:
    """The car stands at both ends, so that their speeds tell nothing; it turned in between."""

    def script(driver: Driver) -> None:
        for _ in range(4):
            driver.turn_round()
            driver.stop(20.0)

    truth = simulate(script, seed=6)
    turns = truth.of_kind("turn")
    gap = (turns[2].start_s - 1.0, truth.of_kind("stop")[2].end_s)
    case = make_case(truth, Receiver(rate_hz=5.0, gaps=(gap,)), 6)
    found = distance_driven(case.motion, ground_of(case), 0.0, float(case.motion.time_s[-1]))
    true = road_way(case, 0.0, float(case.motion.time_s[-1]))
    chord = np.diff([np.interp(gap, truth.t_s, row) for row in (truth.east_m, truth.north_m)])
    lost = np.diff(truth.distance_at(np.array(gap)))[0]
    assert lost > np.hypot(*chord[:, 0]) + 20.0
    assert found.low < true < found.high
    assert found.u95 < 0.5 * lost


def test_without_places_speeds_tell_the_way_to_its_end(stops_at_5_hz: Case) -> None:
    case = stops_at_5_hz
    none = np.full(case.motion.time_s.size, np.nan)
    ground = replace(ground_of(case), east_m=none, north_m=none)
    found = distance_driven(case.motion, ground, 0.0, float(case.motion.time_s[-1]))
    assert np.isfinite(found.value)
    assert found.u95 > 0.0


def test_part_of_a_gap_counts_by_its_share() -> None:
    truth = random_drive(1)
    case = make_case(truth, Receiver(rate_hz=2.0, gaps=((300.0, 320.0),)), 1)
    ground = ground_of(case)
    a, m, b = (t - case.late_s for t in (295.0, 310.0, 325.0))
    parts = [distance_driven(case.motion, ground, *pair).value for pair in ((a, m), (m, b))]
    assert sum(parts) == pytest.approx(distance_driven(case.motion, ground, a, b).value, abs=1e-6)


def test_positions_alone_give_distance_with_an_honest_interval(
    stops_truth: Callable[[int], Truth],
) -> None:
    held, whole = [], []
    for seed in range(5):
        receiver = Receiver(rate_hz=1.0, position_slow_m=2.0, position_tau_s=120.0)
        case = make_case(stops_truth(seed), receiver, seed, with_speed=False)
        ground = ground_of(case)
        ends = 0.0, float(case.motion.time_s[-1])
        of_all = distance_driven(case.motion, ground, *ends)
        whole.append((of_all.value - road_way(case, *ends)) / of_all.u95)
        for drive in case.truth.of_kind("stop"):
            start = max(drive.start_s - case.late_s - 4.0, 0.0)
            end = drive.start_s - case.late_s + 1.0
            found = distance_driven(case.motion, ground, start, end)
            true = road_way(case, start, end)
            held.append(found.low <= true <= found.high)
    assert abs(np.mean(whole)) < 0.3  # nor does a car go on while it stands
    assert sum(held) >= binom.ppf(0.001, len(held), 0.95)


def test_times_outside_the_log_are_refused(stops_at_5_hz: Case) -> None:
    ground = ground_of(stops_at_5_hz)
    end = float(stops_at_5_hz.motion.time_s[-1])
    for pair in ((-1.0, 5.0), (5.0, end + 0.1), (9.0, 8.0)):
        with pytest.raises(ValueError, match="no motion from"):
            distance_driven(stops_at_5_hz.motion, ground, *pair)


@pytest.mark.parametrize("ahead_m", [0.0, 1.5])
def test_an_antenna_off_the_axle_goes_wider_round_tight_turns(ahead_m: float) -> None:
    def script(driver: Driver) -> None:
        driver.start_rolling(8.0)
        for _ in range(12):
            driver.cruise(8.0, 8.0)
            driver.turn_round()

    receiver = Receiver(rate_hz=10.0, ahead_m=ahead_m)
    case = make_case(simulate(script, seed=8), receiver, 8)
    start, end = 0.0, float(case.motion.time_s[-1])
    found = distance_driven(case.motion, ground_of(case), start, end)
    wider = 12 * np.pi * (np.hypot(8.0, ahead_m) - 8.0)  # up to 5.3 m, of turns of 8 m
    off = found.value - road_way(case, start, end)
    assert abs(off) < 1.2 * found.u95
    assert found.u95 < 6.0
    if wider:
        assert off < 0.5 * wider  # most of it is taken off
