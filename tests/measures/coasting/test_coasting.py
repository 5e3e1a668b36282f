"""Coast-downs: drives with known truth, what is left out and why, invariants."""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.logs.model import Note, Notes, TachLog
from roadtest.measures.coasting import CoastingMeasured, measure_coasting
from roadtest.measures.coasting.free import RunLoad, not_free
from roadtest.measures.coasting.model import mean_wandering
from roadtest.measures.coasting.runs import coast_runs
from roadtest.measures.windows import read_windows
from roadtest.quantity import Quantity
from tests.evidence_from_truth import evidence_from
from tests.measures.coasting.drives import coasting_errors, coasts, sheet_for
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import Road, level_road
from tests.simulation.truth import Manoeuvre, Truth
from tests.simulation.vehicle import Vehicle

CAR = Car()
SHEET = """
[car]
mass = "790 kg ± 0 kg"
rotating_mass = "3 % ± 0 %"
[conditions]
temperature = "15 degC ± 0 degC"
pressure = "1013.25 hPa ± 0 hPa"
"""
LEVEL = level_road()
QUIET = Receiver(white_mps=0.01, fast_mps=0.0, slow_mps=0.0, altitude_slow_m=0.3)


def coast_script(driver: Driver) -> None:
    driver.start_rolling(25.0)
    for _ in range(2):
        driver.coast(27.0, 8.0)
        driver.turn_round()


@functools.cache
def level_drive(road: Road = LEVEL) -> tuple[Truth, Evidence]:
    truth = simulate(coast_script, CAR, road, seed=1)
    return truth, evidence_from(truth, QUIET, 1, sheet=SHEET)


def measured(**changes: object) -> CoastingMeasured:
    _, evidence = level_drive()
    return measure_coasting(dataclasses.replace(evidence, **changes), {})  # type: ignore[arg-type]


def test_level_road_and_quiet_receiver_give_the_cars_road_load() -> None:
    found = measured()
    result = found.result
    assert result.rolling_coefficient is not None
    assert result.drag_area is not None
    rolling, area = CAR.rolling_coefficient, CAR.drag_area_m2
    assert result.rolling_coefficient.value == pytest.approx(rolling, rel=0.04)
    assert result.drag_area.value == pytest.approx(area, rel=0.04)
    assert result.rolling_coefficient.low < rolling < result.rolling_coefficient.high
    assert result.drag_area.low < area < result.drag_area.high
    assert result.rolling_coefficient.u95 < 0.2 * rolling
    for run in result.runs:
        assert run.f0 is not None and run.f2 is not None and run.f1 is None
        assert abs(run.f0.value - 120.0) < run.f0.u95
        assert abs(run.f2.value - 0.40) < run.f2.u95


def test_both_ways_over_one_road_are_a_pair() -> None:
    found = measured()
    assert [run.paired_with for run in found.result.runs] == ["coast-2", "coast-1"]
    assert not any("other way" in remark for remark in found.remarks)


def test_a_run_on_its_own_says_that_grade_and_wind_do_not_cancel() -> None:
    _, evidence = level_drive()
    alone = measured(manoeuvres=evidence.manoeuvres[:1])
    both = measured()
    assert alone.result.runs[0].paired_with is None
    assert any("coast-1" in remark and "do not cancel" in remark for remark in alone.remarks)
    assert alone.result.rolling_coefficient is not None
    assert both.result.rolling_coefficient is not None
    assert alone.result.rolling_coefficient.u95 > 1.5 * both.result.rolling_coefficient.u95


@pytest.mark.parametrize("slope", [0.008, -0.008])
def test_a_pair_cancels_an_even_slope_and_a_steady_wind(slope: float) -> None:
    road = dataclasses.replace(level_road(), slope_east=slope, wind_east_mps=2.0)
    _, evidence = level_drive(road)
    result = measure_coasting(evidence, {}).result
    assert result.rolling_coefficient is not None and result.drag_area is not None
    # 0.8 % of grade by itself is half of this car's rolling coefficient.
    assert result.rolling_coefficient.value == pytest.approx(CAR.rolling_coefficient, rel=0.12)
    assert abs(result.rolling_coefficient.value - CAR.rolling_coefficient) < (
        result.rolling_coefficient.u95
    )
    assert abs(result.drag_area.value - CAR.drag_area_m2) < result.drag_area.u95


def one_way(slope: float, receiver: Receiver) -> CoastingMeasured:
    def script(driver: Driver) -> None:
        driver.start_rolling(25.0)
        driver.coast(27.0, 8.0)

    road = dataclasses.replace(level_road(), slope_east=slope)
    truth = simulate(script, CAR, road, seed=1)
    return measure_coasting(evidence_from(truth, receiver, 1, sheet=SHEET), {})


@pytest.mark.parametrize("slope", [0.01, -0.01])
def test_one_way_on_a_slope_that_nothing_tells_of_gives_no_figure(slope: float) -> None:
    """1 % of grade is two thirds of this car's rolling coefficient."""
    blind = dataclasses.replace(QUIET, altitude_white_m=math.nan)
    found = one_way(slope, blind)
    assert found.result.rolling_coefficient is None
    assert any("grade and wind: coast the other way" in remark for remark in found.remarks)
    (row,) = found.result.runs
    assert row.f0 is not None
    assert abs(row.f0.value - 120.0) < row.f0.u95  # the doubt about the slope is in it


@pytest.mark.parametrize("slope", [0.01, -0.01])
def test_one_way_on_a_slope_holds_the_truth_where_altitudes_wander_little(slope: float) -> None:
    found = one_way(slope, dataclasses.replace(QUIET, altitude_slow_m=1.0)).result
    assert found.rolling_coefficient is not None
    assert abs(found.rolling_coefficient.value - CAR.rolling_coefficient) < (
        found.rolling_coefficient.u95
    )
    assert found.rolling_coefficient.u95 > 0.002  # 0.2 % of grade: no altitude tells it better


def test_altitudes_are_known_as_badly_as_their_means_over_windows_wander() -> None:
    """Means over neighbouring windows differ by two thirds of what their middles do."""
    _, evidence = level_drive()
    (run, *_), _ = coast_runs(evidence, {})
    reading = read_windows(evidence, run, 2.0)
    covariance = mean_wandering(reading.ends_s)
    inside = slice(1, -2)  # the ends may be of another length
    step = covariance[inside, inside]
    apart = np.diag(step)[:-1] + np.diag(step)[1:] - 2.0 * np.diag(step, 1)
    middles = 2.0 * (1.0 - np.exp(-np.diff(reading.middle_s[inside]) / 120.0))
    np.testing.assert_allclose(apart / middles, 2.0 / 3.0, atol=0.03)


def test_windows_that_overlap_wander_together() -> None:
    """The double integral by the midpoint rule; a covariance has no negative eigenvalue."""
    ends = np.array(
        [[0.0, 1.0], [0.5, 1.5], [1.0, 2.0], [0.2, 0.3], [100.0, 130.0], [110.0, 111.0]]
    )
    middles = np.array(
        [start + (np.arange(200) + 0.5) / 200.0 * (end - start) for start, end in ends]
    )
    apart = np.abs(middles[:, None, :, None] - middles[None, :, None, :])
    covariance = mean_wandering(ends)
    np.testing.assert_allclose(covariance, np.exp(-apart / 120.0).mean(axis=(2, 3)), atol=1e-5)
    assert np.linalg.eigvalsh(covariance).min() > 0.0


def test_deceleration_is_given_where_it_was_driven_and_nowhere_else() -> None:
    rows = measured().result.deceleration
    speeds = [row.speed.value for row in rows if row.speed]
    mph = np.array(speeds) / 0.44704
    np.testing.assert_allclose(mph, [20.0, 30.0, 40.0, 50.0], rtol=1e-12)
    for row in rows:
        assert row.speed is not None and row.value is not None
        true = (120.0 + 0.40 * row.speed.value**2) / (790.0 * 1.03)
        assert abs(row.value.value - true) < max(row.value.u95, 1e-3)


def test_without_mass_there_is_a_rolling_coefficient_but_no_drag_area() -> None:
    _, evidence = level_drive()
    bare = dataclasses.replace(
        evidence.sheet, car=dataclasses.replace(evidence.sheet.car, mass=None)
    )
    found = measured(sheet=bare)
    assert found.result.rolling_coefficient is not None
    assert found.result.drag_area is None
    assert found.result.runs[0].f0 is None
    assert any("no mass" in remark for remark in found.remarks)


def test_not_knowing_the_air_widens_the_drag_area_and_is_said() -> None:
    _, evidence = level_drive()
    bare = dataclasses.replace(evidence.sheet, conditions=type(evidence.sheet.conditions)())
    found, known = measured(sheet=bare), measured()
    assert found.result.drag_area is not None and known.result.drag_area is not None
    # Not knowing the air is worth some 6 % of the area.
    area = known.result.drag_area
    assert found.result.drag_area.u95 > np.hypot(area.u95, 0.045 * area.value)
    assert any("standard atmosphere" in remark for remark in found.remarks)


def test_a_coast_in_gear_by_the_tach_is_left_out() -> None:
    _, evidence = level_drive()
    found = measure_coasting(evidence, {"coast-1": 4, "coast-2": 0})
    assert [run.manoeuvre for run in found.result.runs] == ["coast-2"]
    assert "gear 4" in found.set_aside["coast-1"]


def overrun_drive() -> Evidence:
    def script(driver: Driver) -> None:
        driver.start_rolling(26.0)
        driver.reach(26.0, gear=4)
        start = driver.time_s
        while driver.speed_mps > 10.0:
            driver.vehicle.locked(-9.0)
        driver.manoeuvres.append(Manoeuvre("coast", start, driver.time_s, 4, OVERRUN))

    truth = simulate(script, CAR, level_road(), seed=2)
    return evidence_from(truth, QUIET, 2, sheet=SHEET)


OVERRUN = {"from_mps": 26.0, "to_mps": 10.0}


def test_overrun_is_told_from_free_rolling_by_its_level_without_a_tach() -> None:
    evidence = overrun_drive()
    found = measure_coasting(evidence, {})
    assert found.result.runs == ()
    assert "in gear" in found.set_aside["coast-1"]
    # With a tach that shows neutral the same deceleration is a brake that drags, and is measured.
    tach = TachLog("tach.csv", "utc", np.zeros(0), np.zeros(0), 0)
    dragging = measure_coasting(dataclasses.replace(evidence, tach=(tach,)), {"coast-1": 0})
    assert dragging.result.rolling_coefficient is not None
    assert dragging.result.rolling_coefficient.low > 0.020


def gentle(driver: Driver) -> None:
    """On the overrun in top gear behind a small engine."""
    driver.start_rolling(26.0)
    driver.reach(26.0, gear=5)
    start = driver.time_s
    while driver.speed_mps > 10.0:
        driver.vehicle.locked(-9.0)
    driver.manoeuvres.append(Manoeuvre("coast", start, driver.time_s, 5, OVERRUN))


SMALL = dataclasses.replace(CAR, drag_torque_nm=4.0, drag_torque_nm_per_rpm=0.0016)


def test_a_gentle_engine_on_the_overrun_is_never_shown_to_be_out_of_gear() -> None:
    """Its drag, 0.012 of the weight, lies within what brakes and tyres do."""
    truth = simulate(gentle, SMALL, level_road(), seed=3)
    found = measure_coasting(evidence_from(truth, QUIET, 3, sheet=SHEET), {})
    assert found.result.rolling_coefficient is not None
    assert found.result.rolling_coefficient.value > 0.022  # free rolling: 0.0155
    assert [run.out_of_gear for run in found.result.runs] == [False]
    assert any("shows that these were out of gear: coast-1" in r for r in found.remarks)


def load(coefficient: float, sd: float = 0.001, low: float = 8.0, high: float = 25.0) -> RunLoad:
    around = coefficient + sd * np.random.default_rng(1).normal(size=2000)
    beta = np.stack([around * 9.80665, np.zeros(2000), np.full(2000, 4e-4)], axis=1)
    quantity = Quantity(coefficient, 1.96 * sd, "1")
    return RunLoad(quantity, beta, low, high)


def test_runs_that_no_free_car_makes_are_set_aside_unless_known_to_be_out_of_gear() -> None:
    loads = {"hard": load(0.045), "easy": load(0.001), "free": load(0.015)}
    aside = not_free(loads, frozenset())
    assert aside.keys() == {"hard", "easy"}
    assert "in gear, or a brake on" in aside["hard"] and "freest" in aside["easy"]
    assert not_free(loads, frozenset(loads)) == {}


def test_a_run_that_slows_harder_than_another_for_certain_is_set_aside() -> None:
    free, overrun = load(0.015), load(0.022)
    assert "harder than a" in not_free({"a": free, "b": overrun}, frozenset())["b"]
    assert "harder than a" in not_free({"a": free, "b": overrun}, frozenset("a"))["b"]
    # Of many runs, one that differs from another by just over 95 % does so by chance.
    close = load(0.0182)
    assert "harder than a" in not_free({"a": free, "b": close}, frozenset())["b"]
    many = {"a": free, "b": close} | {name: load(0.0165) for name in "cdef"}
    assert not_free(many, frozenset()) == {}
    # Not where it is known to be free (a brake then drags), in doubt, or at other speeds.
    assert not_free({"a": free, "b": overrun}, frozenset("b")) == {}
    assert not_free({"a": free, "b": load(0.022, sd=0.005)}, frozenset()) == {}
    assert not_free({"a": free, "b": load(0.022, low=26.0, high=30.0)}, frozenset()) == {}


def test_a_tach_or_a_note_shows_that_a_run_was_out_of_gear() -> None:
    _, evidence = level_drive()
    by_tach = measure_coasting(evidence, {"coast-1": 0, "coast-2": None})
    assert [run.out_of_gear for run in by_tach.result.runs] == [True, False]
    middle = [evidence.start_unix_s + 0.5 * (m.start_s + m.end_s) for m in evidence.manoeuvres]
    rows = (
        Note(2, "gear", "utc", middle[0], 0.0, "N", None, ""),
        Note(3, "gear", "utc", middle[1], 4.0, "4", None, ""),
    )
    noted = measure_coasting(dataclasses.replace(evidence, notes=Notes("notes.csv", rows)), {})
    assert [run.out_of_gear for run in noted.result.runs] == [True]
    assert "gear 4" in noted.set_aside["coast-2"]


def test_no_coasts_no_figures() -> None:
    found = measured(manoeuvres=())
    assert found.result.rolling_coefficient is None
    assert found.result.runs == () and found.remarks == ()


def test_too_short_a_coast_is_set_aside_with_its_reason() -> None:
    _, evidence = level_drive()
    first = evidence.manoeuvres[0]
    short = dataclasses.replace(first, end_s=first.start_s + 6.0)
    found = measured(manoeuvres=(short,))
    assert found.result.runs == ()
    assert "shorter" in found.set_aside["coast-1"]


def test_a_narrow_range_of_speed_gives_deceleration_but_not_two_terms() -> None:
    _, evidence = level_drive()
    first = evidence.manoeuvres[0]
    narrow = dataclasses.replace(first, end_s=first.start_s + 10.0)
    found = measured(manoeuvres=(narrow,))
    assert found.result.rolling_coefficient is None
    assert any("can't be told" in remark for remark in found.remarks)


def test_a_linear_term_is_asked_for_only_where_there_is_one() -> None:
    """A car whose resistance grows with plain speed, on a level road with a quiet receiver."""

    def force(vehicle: Vehicle) -> float:
        return 20.0 + 14.0 * vehicle.speed_mps

    def script(driver: Driver) -> None:
        for _ in range(2):
            coast_script(driver)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Vehicle, "_resistance_n", force)
        truth = simulate(script, CAR, level_road(), seed=1)
    evidence = evidence_from(truth, QUIET, 1, sheet=SHEET)
    found = measure_coasting(evidence, {})
    assert any("plain speed" in remark for remark in found.remarks)
    for row in found.result.deceleration:
        assert row.speed is not None and row.value is not None
        v = row.speed.value
        true = (20.0 + 14.0 * v) / (790.0 * 1.03)
        assert row.value.value == pytest.approx(true, rel=0.02)
    assert not any("plain speed" in remark for remark in measured().remarks)


def test_same_evidence_same_figures() -> None:
    assert measured().result == measured().result


def test_inputs_are_left_as_they_were() -> None:
    _, evidence = level_drive()
    before = {name: draws.speed_mps.copy() for name, draws in evidence.draws.items()}
    measure_coasting(evidence, {})
    for name, speed in before.items():
        np.testing.assert_array_equal(evidence.draws[name].speed_mps, speed)


def test_positions_only_give_a_wide_but_true_answer() -> None:
    truth, _, found = coasts(3, 1.0, 1, with_speed=False)
    errors = coasting_errors(truth, found)
    assert errors
    assert all(abs(error.error) < 1.6 * error.u95 for error in errors)


SEEDS = 10


def test_intervals_hold_the_truth() -> None:
    """Rolling coefficient and drag area of a drive go together: 10 drives are 10 chances.

    At 95 % three or more misses of 10 happen about once in a hundred.
    """
    shares = []
    misses = 0
    for seed in range(300, 300 + SEEDS):
        truth, _, found = coasts(seed, 2.0, 1)
        errors = [e for e in coasting_errors(truth, found) if "deceleration" not in e.name]
        misses += not all(error.held for error in errors)
        shares += [abs(error.error) / error.u95 for error in errors]
    assert misses <= 2
    # Not wider than need be: with normal errors half of them lie within 0.34 of the interval.
    assert len(shares) >= 2 * SEEDS - 4
    assert 0.15 < np.median(shares) < 0.55


def test_sheets_figures_are_off_by_as_much_as_they_say() -> None:
    masses = [
        float(sheet_for(CAR, seed).split('mass = "')[1].split(" kg")[0]) for seed in range(200)
    ]
    assert 1.96 * np.std(masses) / 790.0 == pytest.approx(0.02, rel=0.2)
