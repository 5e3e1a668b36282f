"""Pulls and standing starts: drives with known truth, spans, power, what is said beside."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.evidence import Evidence
from roadtest.measures.braking import measure_braking
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.pulls import EngineSpeed, PullsMeasured, measure_pulls
from roadtest.measures.pulls.repeats import Timed, repeats_of
from roadtest.quantity import Quantity
from roadtest.results import PullRun
from tests.evidence_from_truth import evidence_from
from tests.measures.pulls.drives import pull_errors, pulls, true_pulls
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import level_road
from tests.simulation.truth import Truth
from tests.small_sheet import small_sheet

CAR = Car()
QUIET = Receiver(white_mps=0.01, fast_mps=0.0, slow_mps=0.0, altitude_slow_m=0.3)
MPH = 0.44704
SHEET = small_sheet(
    CAR,
    'mass = "790 kg ± 0.1 %"\nrotating_mass = "3 % ± 0 %"',
    """[tyres]
rolling_circumference = "1.742 m"
[conditions]
temperature = "20 degC ± 0 degC"
pressure = "1013.25 hPa ± 0 hPa"
[targets]
through = {gear = 4, from = "45 mph", to = "55 mph", at_most = "9 s"}
standing = {to = "40 mph", at_most = "12 s"}
""",
)


def script(driver: Driver) -> None:
    driver.start_rolling(12.0)
    driver.pull(3, 11.0, 20.0)
    driver.pull(4, 15.0, 26.0)
    driver.pull(4, 15.0, 26.0)
    driver.standing(27.5)


@functools.cache
def quiet_drive() -> tuple[Truth, Evidence]:
    truth = simulate(script, CAR, level_road(), seed=1)
    return truth, evidence_from(truth, QUIET, 1, sheet=SHEET)


GEARS = {"pull-1": 3, "pull-2": 4, "pull-3": 4}


def measured(sheet: str = SHEET, gears: dict[str, int | None] | None = None) -> PullsMeasured:
    _, evidence = quiet_drive()
    evidence = dataclasses.replace(evidence, sheet=read_build_sheet(sheet.encode(), "build.toml"))
    chosen = dict(GEARS) if gears is None else gears
    return measure_pulls(evidence, chosen, measure_coasting(evidence, {}))


def span(run: PullRun) -> tuple[float, float]:
    assert run.from_ is not None and run.to is not None
    return round(run.from_.value / MPH, 6), round(run.to.value / MPH, 6)


def close(quantity: Quantity | None, true: float, least: float) -> bool:
    return quantity is not None and abs(quantity.value - true) < max(quantity.u95, least)


def test_times_between_speeds_are_the_true_ones() -> None:
    truth, _ = quiet_drive()
    true = true_pulls(truth)
    runs = [run for run in measured().result.runs if run.time]
    assert len(runs) == 5  # one in third, two in each of two in fourth
    for run in runs:
        assert run.time is not None
        low, high = (speed * MPH for speed in span(run))
        end = truth.rises_through(high, true[run.manoeuvre].start_s)
        assert close(run.time, end - truth.last_rise_through(low, end), 0.01)
        assert run.time.u95 < 0.1


def test_a_pull_is_timed_over_whole_steps_and_what_targets_ask_for() -> None:
    runs = [run for run in measured().result.runs if run.manoeuvre == "pull-2"]
    assert [span(run) for run in runs] == [(40.0, 50.0), (45.0, 55.0)]
    assert all(run.gear == 4 for run in runs)
    third = [span(run) for run in measured().result.runs if run.manoeuvre == "pull-1"]
    assert third == [(30.0, 40.0)]  # the target is for another gear


def test_metric_sheets_are_timed_in_steps_of_20_kmh() -> None:
    runs = [r for r in measured('units = "km/h"\n' + SHEET).result.runs if r.manoeuvre == "pull-2"]
    kmh = [tuple(round(end * MPH * 3.6, 3) for end in span(run)) for run in runs]
    assert kmh[0] == (60.0, 80.0)


def test_peak_power_and_force_are_those_of_the_engine_at_the_wheels() -> None:
    truth, _ = quiet_drive()
    true = true_pulls(truth)
    firsts = [run for run in measured().result.runs if run.peak_power]
    assert [run.manoeuvre for run in firsts] == ["pull-1", "pull-2", "pull-3"]
    for run in firsts:
        made = true[run.manoeuvre]
        assert close(run.peak_power, made.figures["peak_power_w"], 0.0)
        inside = (truth.t_s >= made.start_s + 0.5) & (truth.t_s <= made.end_s)
        assert close(run.peak_force, float(truth.drive_force_n[inside].max()), 0.0)
        assert close(run.peak_acceleration, float(truth.accel_mps2[inside].max()), 0.02)
        assert run.peak_power is not None
        assert run.peak_power.u95 < 0.2 * run.peak_power.value


def test_the_curve_holds_the_true_power_at_every_speed() -> None:
    truth, _ = quiet_drive()
    made = true_pulls(truth)["pull-2"]
    run = next(r for r in measured().result.runs if r.manoeuvre == "pull-2")
    assert len(run.curve) >= 20
    rpm_per_mps = 60.0 * 4.22 / 1.742
    for point in run.curve:
        when = truth.rises_through(point.speed_mps, made.start_s)
        power = float(np.interp(when, truth.t_s, truth.drive_force_n * truth.speed_mps))
        assert close(point.power, power, 200.0)
        assert point.rpm == pytest.approx(rpm_per_mps * point.speed_mps, rel=1e-9)


def test_standing_starts_are_timed_from_first_motion_and_from_a_foot_on() -> None:
    truth, _ = quiet_drive()
    start = truth.rises_through(1e-9, true_pulls(truth)["pull-4"].start_s)
    rows = measured().result.standing
    assert [round(row.to.value / MPH) for row in rows if row.to] == [30, 40, 50, 60]
    for row in rows:
        assert row.to is not None and row.time is not None and row.after_rollout is not None
        assert close(row.time, truth.rises_through(row.to.value, start) - start, 0.0)
        assert row.time.u95 < 0.2
        # At 4 m/s² a foot takes 0.39 s, and somewhat more while the drive builds up.
        assert 0.35 < row.time.value - row.after_rollout.value < 0.6


def test_what_the_receiver_smooths_is_taken_out_of_starts_and_pulls() -> None:
    def both(driver: Driver) -> None:
        driver.start_rolling(12.0)
        driver.pull(3, 11.0, 20.0)
        driver.standing(27.5)
        for speed in (14.0, 15.0, 16.0):
            driver.stop(speed)

    truth = simulate(both, CAR, level_road(), seed=1)
    smooths = dataclasses.replace(QUIET, lag_s=0.5, delay_s=0.3)
    evidence = evidence_from(truth, smooths, 1, sheet=SHEET)
    smoothing_s = measure_braking(evidence).smoothing_s
    coasting = measure_coasting(evidence, {})
    plain, mended = (
        measure_pulls(evidence, {"pull-1": 3}, coasting, None, known)
        for known in (None, smoothing_s)
    )
    misses = [
        [error for error in pull_errors(truth, found) if error.name == "time from rest, s"]
        for found in (plain, mended)
    ]
    assert len(misses[1]) == 4
    assert all(error.held for error in misses[1])
    assert max(abs(e.error) for e in misses[1]) < 0.5 * min(abs(e.error) for e in misses[0])
    gear = [error for error in pull_errors(truth, mended) if error.name == "time in gear, s"]
    assert gear and all(error.held for error in gear)


def test_a_quarter_mile_is_given_where_it_was_driven() -> None:
    def long_script(driver: Driver) -> None:
        driver.start_rolling(8.0)
        driver.standing(38.0)

    truth = simulate(long_script, dataclasses.replace(CAR, torque_peak_nm=170.0), level_road())
    evidence = evidence_from(truth, QUIET, 1, sheet=SHEET)
    result = measure_pulls(evidence, {}, measure_coasting(evidence, {})).result
    (row,) = result.distances
    start = truth.rises_through(1e-9, true_pulls(truth)["pull-1"].start_s)
    goal = float(truth.distance_at(start)) + 402.336
    seconds = float(np.interp(goal, truth.distance_m, truth.t_s)) - start
    assert close(row.time, seconds, 0.0)
    assert close(row.speed, float(truth.speed_at(seconds + start)), 0.05)
    assert measured().result.distances == ()  # to 60 mph it was shorter


def test_repeated_runs_have_a_best_and_a_mean() -> None:
    result = measured().result
    repeat = next(r for r in result.repeats if r.from_ and round(r.from_.value / MPH) == 40)
    assert repeat.gear == 4
    assert repeat.manoeuvres == ("pull-2", "pull-3")
    assert repeat.best is not None and repeat.mean is not None
    times = [r.time for r in result.runs if r.time and r.gear == 4 and span(r) == (40.0, 50.0)]
    assert len(times) == 2
    assert repeat.best == min(times, key=lambda time: time.value)
    assert repeat.mean.value == pytest.approx(0.5 * (times[0].value + times[1].value), rel=1e-12)
    assert repeat.mean.u95 == pytest.approx(0.5 * np.hypot(times[0].u95, times[1].u95), rel=1e-12)


def test_pulls_in_unknown_gears_repeat_nothing() -> None:
    ends = Quantity(10.0, 0.0, "m/s"), Quantity(20.0, 0.0, "m/s")
    times = [Quantity(seconds, 0.1, "s") for seconds in (4.0, 4.2)]
    assert repeats_of([Timed(None, *ends, time, "pull-1") for time in times]) == ()
    assert len(repeats_of([Timed(4, *ends, time, "pull-1") for time in times])) == 1
    assert len(repeats_of([Timed(None, None, ends[1], time, "pull-1") for time in times])) == 1


def test_a_pull_on_part_throttle_does_not_repeat_one_flat_out() -> None:
    ends = Quantity(10.0, 0.0, "m/s"), Quantity(20.0, 0.0, "m/s")
    flat, again, part = (Quantity(seconds, 0.1, "s") for seconds in (4.0, 4.2, 6.0))
    one, two = Timed(4, *ends, flat, "pull-1", True), Timed(4, *ends, again, "pull-2", True)
    slow = Timed(4, *ends, part, "pull-3")
    assert repeats_of([one, slow]) == ()
    (repeat,) = repeats_of([one, slow, two])
    assert repeat.manoeuvres == ("pull-1", "pull-2")


def test_power_is_brought_to_standard_air_only_for_engines_that_breathe_by_themselves() -> None:
    run = next(r for r in measured().result.runs if r.peak_power)
    assert run.power_standard_air is not None and run.peak_power is not None
    # 101.325 kPa less half of saturated vapour (1.17 kPa) at 293.15 K: factor 0.976.
    factor = (99.0 / (101.325 - 1.17)) ** 1.2 * (293.15 / 298.0) ** 0.6
    assert run.power_standard_air.value == pytest.approx(factor * run.peak_power.value, rel=3e-3)
    work = '[work]\ndone = ["forced induction"]\n'
    for said in (work, "[engine]\nboosted = true\n"):
        boosted = measured(SHEET + said)
        assert all(r.power_standard_air is None for r in boosted.result.runs)
        assert any("boosted" in remark for remark in boosted.remarks)
    removed = measured(SHEET + work + "[engine]\nboosted = false\n")  # the sheet's word counts
    assert any(r.power_standard_air for r in removed.result.runs)
    cold = measured(SHEET.replace("20 degC", "5 degC"))
    assert all(r.power_standard_air is None for r in cold.result.runs)
    assert any("outside the limits" in remark for remark in cold.remarks)


def test_without_mass_times_but_no_power() -> None:
    bare = measured(SHEET.replace('mass = "790 kg ± 0.1 %"\n', ""))
    assert any(run.time for run in bare.result.runs)
    assert all(run.peak_power is None and run.curve == () for run in bare.result.runs)
    assert any("no mass" in remark for remark in bare.remarks)


def test_an_unknown_gear_widens_the_power_and_is_said() -> None:
    known, unknown = measured(), measured(gears={})
    powers = [
        next(r.peak_power for r in m.result.runs if r.manoeuvre == "pull-2")
        for m in (known, unknown)
    ]
    assert powers[0] is not None and powers[1] is not None
    assert powers[1].u95 > 1.3 * powers[0].u95
    assert any("gear of a pull not known" in remark for remark in unknown.remarks)


def test_a_pull_that_the_tach_shows_in_no_one_gear_has_no_power() -> None:
    _, evidence = quiet_drive()
    evidence = dataclasses.replace(evidence, sheet=read_build_sheet(SHEET.encode(), "build.toml"))
    time = evidence.motion.time_s
    engine = EngineSpeed(time, np.full(time.size, 3000.0))
    gears = {"pull-1": 3, "pull-3": 4}
    made = measure_pulls(evidence, gears, measure_coasting(evidence, {}), engine)
    power = {r.manoeuvre: r.peak_power for r in made.result.runs if r.peak_power is not None}
    assert "pull-1" in power
    assert "pull-2" not in power
    assert any("no wheel power of pull-2" in remark for remark in made.remarks)


def test_measured_resistance_replaces_the_typical_one() -> None:
    def both(driver: Driver) -> None:
        driver.start_rolling(25.0)
        for _ in range(2):
            driver.coast(27.0, 8.0)
            driver.turn_round()
        driver.pull(4, 15.0, 26.0)

    truth = simulate(both, CAR, level_road(), seed=1)
    evidence = evidence_from(truth, QUIET, 1, sheet=SHEET)
    typical = measure_pulls(evidence, {"pull-1": 4}, measure_coasting(evidence, {"x": 1}))
    assert not any("no coast-down" in remark for remark in typical.remarks)
    run = typical.result.runs[0]
    assert close(run.peak_power, truth.of_kind("pull")[0].figures["peak_power_w"], 0.0)
    assert any("no coast-down" in remark for remark in measured().remarks)


def test_pulls_set_aside_are_not_measured_and_no_pulls_give_nothing() -> None:
    _, evidence = quiet_drive()
    aside = tuple(dataclasses.replace(m, used=False, why_not="x") for m in evidence.manoeuvres)
    coasting = measure_coasting(evidence, {})
    empty = measure_pulls(dataclasses.replace(evidence, manoeuvres=aside), GEARS, coasting)
    assert empty.result.runs == () and empty.result.standing == () and empty.remarks == ()


def test_positions_alone_give_times_in_gear_but_none_from_rest() -> None:
    truth, _, found = pulls(3, 1.0, with_speed=False)
    assert found.result.standing == () and found.result.distances == ()
    assert any("first moves" in remark for remark in found.remarks)
    assert any(error.name == "time in gear, s" for error in pull_errors(truth, found))


def test_a_slow_log_knows_times_from_rest_less_well() -> None:
    """What happens between fixes a second apart is open, and the draws hold it."""
    slow, quick = (
        [e for e in pull_errors(truth, found) if e.name == "time from rest, s"]
        for truth, _, found in (pulls(4, 1.0), pulls(4, 10.0))
    )
    assert slow[0].u95 > 1.5 * quick[0].u95
    assert all(error.held for error in slow + quick)


def test_same_evidence_same_figures() -> None:
    assert measured().result == measured().result


SEEDS = 8


def test_intervals_hold_the_truth() -> None:
    """8 drives at 5 Hz, some 80 figures that hang together in threes: 85 % is a wide margin."""
    errors = []
    for seed in range(500, 500 + SEEDS):
        truth, _, found = pulls(seed, 5.0)
        errors += pull_errors(truth, found)
    for name in ("time in gear, s", "peak power, of true", "time from rest, s"):
        these = [error for error in errors if error.name == name]
        assert len(these) >= 2 * SEEDS
        assert np.mean([error.held for error in these]) >= 0.85
        shares = np.median([abs(error.error) / error.u95 for error in these])
        assert shares < 0.55
