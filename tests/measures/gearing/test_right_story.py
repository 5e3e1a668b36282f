"""Every story driven on the simulated road: the right one has the highest probability."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from roadtest.logs.model import Note, Notes
from roadtest.measures.gearing import GearingMeasured, measure_gearing
from roadtest.motion.estimate import Span
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import FIVE, ROLL_OUT_M, SHEET, shakedown_of
from tests.measures.gearing.drives import OFFSET_S, SMALLER, evidence_of, truth_of
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Tach

THREE_SIGMA = 1.5  # in half-widths of 95 % intervals


@cache
def measured(case: str) -> GearingMeasured:
    return measure_gearing(evidence_of(case))


@pytest.mark.parametrize(
    ("case", "box", "axle", "tach", "tyre"),
    [
        ("right", "five-speed", "build sheet", "tach right", "tyre as given"),
        ("wrong axle", "five-speed", "3.90 axle", "tach right", "tyre as given"),
        ("wrong gearbox", "four-speed", "build sheet", "tach right", "tyre as given"),
        ("wrong tyre", "five-speed", "build sheet", "tach right", "old set"),
        (
            "six cylinders",
            "five-speed",
            "build sheet",
            "tach set for 6 cylinders",
            "tyre as given",
        ),
        ("slipping clutch", "five-speed", "build sheet", "tach right", "tyre as given"),
    ],
)
def test_the_right_story_is_the_most_probable(
    case: str, box: str, axle: str, tach: str, tyre: str
) -> None:
    found = measured(case).result.stories
    assert (found[0].gearbox, found[0].axle, found[0].tach, found[0].tyre) == (
        box,
        axle,
        tach,
        tyre,
    )
    assert found[0].probability > 0.5


@pytest.mark.parametrize("case", ["right", "wrong axle", "six cylinders", "slipping clutch"])
def test_figures_hold_under_the_story(case: str) -> None:
    """A tach set for six cylinders does not make a right axle look wrong, and so on."""
    result, car = measured(case).result, truth_of(case).car
    assert result.axle is not None
    assert abs(result.axle.value - car.axle) < THREE_SIGMA * result.axle.u95
    for row in result.gears:
        assert row.ratio is not None and row.overall is not None
        assert abs(row.ratio.value - FIVE[row.gear - 1]) < THREE_SIGMA * row.ratio.u95
        assert abs(row.overall.value - car.reduction(row.gear)) < THREE_SIGMA * row.overall.u95


def test_wrong_tyre_shows_as_another_circumference() -> None:
    circumference = measured("wrong tyre").result.circumference
    assert circumference is not None
    assert abs(circumference.value - SMALLER * ROLL_OUT_M) < THREE_SIGMA * circumference.u95
    assert abs(circumference.value - ROLL_OUT_M) > 5.0 * circumference.u95


@pytest.mark.parametrize(("case", "scale"), [("right", 1.0), ("six cylinders", 2.0 / 3.0)])
def test_the_tach_is_checked_against_the_gearing(case: str, scale: float) -> None:
    tach = measured(case).tach
    assert tach.scale is not None and tach.offset_s is not None
    assert tach.scale.low < scale < tach.scale.high
    assert tach.scale.u95 < 0.01
    true_offset = Tach(offset_s=OFFSET_S).apparent_offset_s()
    assert abs(tach.offset_s.value - true_offset) < THREE_SIGMA * tach.offset_s.u95


def test_a_slipping_clutch_is_found_and_a_sound_one_is_not() -> None:
    truth, slipping = truth_of("slipping clutch"), measured("slipping clutch").result
    sound = measured("right").result
    assert slipping.clutch_slip is not None and sound.clutch_slip is not None
    pull = truth.of_kind("pull")[-1]
    inside = (truth.t_s > pull.start_s) & (truth.t_s < pull.end_s)
    locked = np.array([truth.car.locked_rpm(v, pull.gear) for v in truth.speed_mps[inside]])
    crept = locked * (1.0 + np.array([truth.car.creep(f) for f in truth.tyre_force_n[inside]]))
    slip = 1.0 - crept / truth.engine_rpm[inside]
    worst = np.convolve(slip, np.ones(100) / 100, "valid").max()
    top = next(row for row in slipping.slips if row.gear == pull.gear)
    assert top.slip is not None and top.speed is not None
    assert abs(top.slip.value - worst) < THREE_SIGMA * top.slip.u95
    assert slipping.clutch_slip.low > 0.02
    assert sound.clutch_slip.low < 0.005


def test_every_manoeuvre_carries_its_gear() -> None:
    gearing, evidence = measured("right"), evidence_of("right")
    true = {(m.kind, round(m.start_s, 3)): m.gear for m in truth_of("right").manoeuvres}
    start_s = evidence.start_unix_s - truth_of("right").start_utc_s
    for made in evidence.manoeuvres:
        gear = true[made.kind, round(made.start_s + start_s, 3)]
        assert gearing.gear_of[made.id] == gear, made.id
    coast = next(m for m in evidence.manoeuvres if m.kind == "coast")
    hold = next(m for m in evidence.manoeuvres if m.kind == "hold")
    assert gearing.is_neutral(Span(coast.start_s, coast.end_s)) is True
    assert gearing.is_neutral(Span(hold.start_s, hold.end_s)) is False
    assert gearing.is_neutral(Span(-100.0, -50.0)) is None


def test_cruise_is_what_the_engine_does_on_the_road() -> None:
    result, truth = measured("right").result, truth_of("right")
    hold = truth.of_kind("hold")[4]
    row = next(r for r in result.cruise if r.gear == hold.gear and r.speed and r.rpm)
    assert row.speed is not None and row.rpm is not None
    seen = hold.figures["mean_rpm"] / hold.figures["mean_mps"]
    assert row.rpm.value / row.speed.value == pytest.approx(seen, rel=0.006)
    told = [(r.gear, round(r.speed.value / 0.44704)) for r in result.cruise if r.speed]
    assert {(5, 50), (5, 60), (5, 70), (4, 60)} <= set(told)
    assert (1, 50) not in told
    per_1000 = result.gears[-1].speed_per_1000_rpm
    assert per_1000 is not None
    assert (
        abs(per_1000.value - 1000.0 / 60.0 / truth.car.revs_per_metre(5))
        < THREE_SIGMA * per_1000.u95
    )


def test_hand_readings_alone_give_ratios_with_wide_honest_intervals() -> None:
    truth = truth_of("right")
    rows = []
    for k, hold in enumerate(truth.of_kind("hold")[:4]):
        time = 0.5 * (hold.start_s + hold.end_s) + 2.0
        rpm = 50.0 * round(float(np.interp(time, truth.t_s, truth.engine_rpm)) / 50.0)
        remark = f"in {hold.gear}th"
        rows.append(
            Note(k + 2, "tach", "utc", truth.start_utc_s + time, rpm, str(rpm), 1.0, remark)
        )
    evidence = replace(evidence_of("right"), tach=(), notes=Notes("notes.csv", tuple(rows)))
    found = measure_gearing(evidence)
    assert found.result.stories[0].gearbox == "five-speed"
    assert found.result.stories[0].axle == "build sheet"
    assert found.result.stories[0].tach == "tach right"
    assert [row.gear for row in found.result.gears] == [2, 3, 4, 5]
    for row in found.result.gears:
        assert row.overall is not None
        assert abs(row.overall.value - truth.car.reduction(row.gear)) < 1.2 * row.overall.u95
        assert 0.01 < row.overall.u95 / row.overall.value < 0.06
    assert "noted by hand" in found.remarks[0]
    assert found.gear_s is None


def test_no_tach_gives_nothing() -> None:
    found = measure_gearing(replace(evidence_of("right"), tach=()))
    assert found.result.gears == ()
    assert found.result.stories == ()
    assert found.tach.offset_s is None
    assert found.is_neutral(Span(0.0, 100.0)) is None
    assert not found.gear_of


def test_a_drive_without_neutral_is_no_harder() -> None:
    def rolling(driver: Driver) -> None:
        driver.start_rolling(14.0)
        for speed in (14.0, 19.0, 24.0, 16.0, 22.0):
            driver.hold(speed, 14.0)
        driver.pull(4, 14.0, 26.0)

    truth = simulate(rolling, shakedown_of().car, seed=4)
    log = tach_log(truth, Tach(offset_s=-12.0), 4)
    evidence = evidence_from(truth, Receiver(rate_hz=5.0), 4, sheet=SHEET, tach=[log], draws=50)
    found = measure_gearing(evidence)
    story = found.result.stories[0]
    assert (story.gearbox, story.axle, story.tach) == ("five-speed", "build sheet", "tach right")


@pytest.mark.parametrize("case", ["right", "six cylinders"])
def test_the_cruise_is_the_true_engine_s(case: str) -> None:
    """At a steady speed the tyre creeps by some thousandths; the tach's setting is taken out."""
    result, car = measured(case).result, truth_of(case).car
    assert result.cruise
    for row in result.cruise:
        assert row.speed is not None and row.rpm is not None
        locked = car.locked_rpm(row.speed.value, row.gear)
        assert abs(row.rpm.value - locked) < THREE_SIGMA * row.rpm.u95 + 0.008 * locked
        assert row.rpm.value > locked - THREE_SIGMA * row.rpm.u95


@pytest.mark.parametrize("case", ["right", "six cylinders"])
def test_the_roll_out_is_the_true_one_whatever_the_tach_shows(case: str) -> None:
    result, car = measured(case).result, truth_of(case).car
    assert result.circumference is not None
    off = abs(result.circumference.value - car.circumference_m)
    assert off < THREE_SIGMA * result.circumference.u95 < 0.02 * car.circumference_m
