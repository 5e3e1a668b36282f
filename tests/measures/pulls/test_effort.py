"""How hard a pull was driven: only what the drive itself shows counts."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from roadtest.measures.coasting import measure_coasting
from roadtest.measures.pulls import EngineSpeed, PullsMeasured, measure_pulls
from roadtest.measures.pulls.crossing import Path
from roadtest.measures.pulls.effort import Effort, Tried, efforts, peak_power
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import level_road
from tests.simulation.truth import Manoeuvre
from tests.small_sheet import small_sheet

CAR = Car()
QUIET = Receiver(white_mps=0.01, fast_mps=0.0, slow_mps=0.0, altitude_slow_m=0.3)
SHEET = small_sheet(
    CAR,
    'mass = "790 kg"',
    '[tyres]\nrolling_circumference = "1.742 m"\n[engine]\nlimit_rpm = 5500\n',
)


def start(name: str, peak: float, *times: float, rpm_share: float | None = None) -> Tried:
    speeds = (13.4112, 26.8224)
    return Tried(name, True, peak, rpm_share=rpm_share, times=dict(zip(speeds, times, strict=True)))


def pull(name: str, power: float, low: float = 30.0, high: float = 60.0) -> Tried:
    turns = np.linspace(low, high, 20)
    return Tried(name, False, power, turns, np.full(20, power))


def test_power_is_that_of_the_fastest_second_with_what_the_road_and_the_air_take() -> None:
    time = np.linspace(0.0, 10.0, 101)
    path = Path(time, (10.0 + time)[None], np.zeros((1, 101)))
    # Over the last second 1 m/s² at 19.5 m/s, 0.15 m/s² of rolling and 0.0005 · 19.5² of air.
    assert peak_power(path) == pytest.approx(19.5 * (1.0 + 0.15 + 0.190125))
    assert peak_power(Path(time[:9], path.speed_mps[:, :9], path.distance_m[:, :9])) == 0.0


def test_a_start_alone_shows_nothing_unless_the_engine_was_taken_near_its_limit() -> None:
    alone = efforts([start("a", 40.0, 5.0, 12.0)])["a"]
    assert not alone.flat_out and "no second start" in alone.why
    assert not efforts([start("a", 40.0, 5.0, 12.0, rpm_share=0.7)])["a"].flat_out
    assert efforts([start("a", 40.0, 5.0, 12.0, rpm_share=0.9)])["a"].flat_out


def test_a_start_that_another_repeats_at_every_speed_was_flat_out() -> None:
    first = start("a", 40.0, 5.0, 12.0)
    assert efforts([first, start("b", 41.0, 5.1, 12.4)])["a"] == Effort(True, "b repeats it")
    assert not efforts([first, start("b", 41.0, 5.6, 12.1)])["a"].flat_out
    assert not efforts([first, start("b", 34.5, 5.1, 12.1)])["a"].flat_out


def test_a_start_below_the_power_of_the_drive_was_not_flat_out() -> None:
    lazy = efforts([start("a", 25.0, 7.0, 25.0, rpm_share=0.9), pull("b", 45.0)])["a"]
    assert not lazy.flat_out and "56 % of the power" in lazy.why


def test_a_start_as_strong_as_two_pulls_was_flat_out() -> None:
    made = [start("a", 42.0, 5.0, 12.0), pull("b", 44.0), pull("c", 43.0)]
    assert efforts(made)["a"].flat_out
    assert not efforts(made[:2])["a"].flat_out


def test_a_pull_is_held_against_others_at_the_same_engine_speeds() -> None:
    strong, same, weak = pull("a", 40.0), pull("b", 41.0), pull("c", 25.0)
    assert efforts([strong, same])["a"].flat_out
    assert not efforts([strong])["a"].flat_out
    shown = efforts([strong, same, weak])
    assert shown["a"].flat_out and not shown["c"].flat_out
    assert "61 % of the power of b" in shown["c"].why
    elsewhere = pull("d", 41.0, 70.0, 90.0)
    assert not efforts([strong, elsewhere])["a"].flat_out


def script(driver: Driver) -> None:
    driver.start_rolling(12.0)
    driver.pull(3, 11.0, 20.0)
    driver.pull(4, 15.0, 26.0)
    driver.standing(24.5)
    driver.idle(20.0)
    begun = driver.time_s - 0.5
    driver.reach(24.5, 1.9)  # an ordinary drive-off, if a brisk one
    driver.manoeuvres.append(Manoeuvre("standing", begun, driver.time_s, 3, {"to_mps": 24.0}))


@functools.cache
def drive(*, revs: bool) -> PullsMeasured:
    truth = simulate(script, CAR, level_road(), seed=1)
    evidence = evidence_from(truth, QUIET, 1, sheet=SHEET)
    late = evidence.start_unix_s - truth.start_utc_s
    engine = EngineSpeed(truth.t_s - late, truth.engine_rpm) if revs else None
    gears: dict[str, int | None] = {"pull-1": 3, "pull-2": 4}
    return measure_pulls(evidence, gears, measure_coasting(evidence, {}), engine)


def test_a_drive_off_is_told_from_a_start_flat_out() -> None:
    rows = {row.manoeuvre: row for row in drive(revs=True).result.standing}
    assert rows["pull-3"].flat_out and "of its limit" in rows["pull-3"].effort
    assert not rows["pull-4"].flat_out
    by_power = {row.manoeuvre: row for row in drive(revs=False).result.standing}
    assert not by_power["pull-4"].flat_out


def test_pulls_wide_open_in_two_gears_show_each_other_to_be() -> None:
    runs = {run.manoeuvre: run for run in drive(revs=True).result.runs}
    assert runs["pull-1"].flat_out and runs["pull-2"].flat_out
    assert "same engine speeds" in runs["pull-2"].effort


def test_half_throttle_is_told_by_a_pull_wide_open() -> None:
    def half(driver: Driver) -> None:
        driver.start_rolling(12.0)
        driver.pull(4, 15.0, 26.0)
        driver.reach(15.0, gear=4)
        begun = driver.time_s
        while driver.speed_mps < 26.0:
            driver.vehicle.locked(0.6)
        driver.manoeuvres.append(
            Manoeuvre("pull", begun, driver.time_s, 4, {"from_mps": 15.5, "to_mps": 25.5})
        )

    truth = simulate(half, CAR, level_road(), seed=2)
    evidence = evidence_from(truth, QUIET, 2, sheet=SHEET)
    gears: dict[str, int | None] = {"pull-1": 4, "pull-2": 4}
    found = measure_pulls(evidence, gears, measure_coasting(evidence, {}))
    second = next(run for run in found.result.runs if run.manoeuvre == "pull-2")
    assert not second.flat_out
    assert "of the power of pull-1" in second.effort
