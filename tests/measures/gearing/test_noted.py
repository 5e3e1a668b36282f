"""Tach readings noted by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.evidence import Evidence
from roadtest.logs.model import Note, Notes
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.gearing.creep import LINEAR, U_LINEAR
from roadtest.measures.gearing.noted import drive_time, noted_readings, seen_by_hand
from roadtest.measures.gearing.road import Road
from tests.measures.gearing.drives import evidence_of, truth_of

HOLD = 2  # the third one, in fourth gear


def noted(*rows: Note, graduation: str = "100 rpm") -> Evidence:
    evidence = evidence_of("right")
    sheet = replace(
        evidence.sheet,
        tach=read_build_sheet(f"[tach]\ngraduation = '{graduation}'\n".encode(), "b").tach,
    )
    return replace(evidence, tach=(), sheet=sheet, notes=Notes("notes.csv", rows))


def row(item: str, value: float, after_s: float = 5.0, remark: str = "") -> Note:
    truth = truth_of("right")
    time = truth.start_utc_s + truth.of_kind("hold")[HOLD].start_s + after_s
    return Note(2, item, "utc", time, value, str(value), 1.0, remark)  # type: ignore[arg-type]


def true_rpm() -> float:
    return float(truth_of("right").of_kind("hold")[HOLD].figures["mean_rpm"])


@pytest.mark.parametrize("remark", ["in 4th", "4th gear", "gear 4", "held in fourth, level"])
def test_the_gear_may_stand_in_the_remark(remark: str) -> None:
    evidence = noted(row("tach", round(true_rpm(), -2), remark=remark))
    (reading,) = noted_readings(evidence, Road.of(evidence))
    assert reading.gear == 4


def test_the_gear_may_be_a_row_of_its_own_nearby() -> None:
    evidence = noted(row("tach", 2500.0), row("gear", 4.0, 9.0), row("gear", 3.0, 30.0))
    assert noted_readings(evidence, Road.of(evidence))[0].gear == 4


def test_of_two_gears_noted_nearby_the_nearer_counts() -> None:
    evidence = noted(row("tach", 2500.0), row("gear", 4.0, 9.0), row("gear", 3.0, -3.0))
    assert noted_readings(evidence, Road.of(evidence))[0].gear == 4
    evidence = noted(row("tach", 2500.0), row("gear", 4.0, 13.0), row("gear", 3.0, 1.0))
    assert noted_readings(evidence, Road.of(evidence))[0].gear == 3


def test_a_reading_is_turns_a_metre_free_of_creep_known_to_half_a_division() -> None:
    at = SimpleNamespace(
        known=np.ones(41), speed_mps=np.full(41, 20.0), u_speed_mps=np.full(41, 0.1),
        push_mps2=np.full(41, 0.5),
    )  # fmt: skip
    road = cast(Road, SimpleNamespace(at=lambda _times: at))
    (reading,) = noted_readings(noted(row("tach", 2500.0), graduation="200 rpm"), road)
    assert reading.log_turns == pytest.approx(np.log(2500.0 / 60.0 / 20.0) - LINEAR * 0.5)
    # Half of 200 r/min either way, all of it as likely; the speed's; the creep's.
    parts = (100.0 / np.sqrt(3.0) / 2500.0, 0.1 / 20.0, U_LINEAR * 0.5)
    assert reading.u == pytest.approx(np.sqrt(sum(part**2 for part in parts)))


def test_one_reading_gives_a_usable_overall_ratio() -> None:
    evidence = noted(row("tach", round(true_rpm(), -2), remark="in 4th"))
    (gear,) = measure_gearing(evidence).result.gears
    assert gear.gear == 4 and gear.overall is not None
    assert abs(gear.overall.value - 4.22) < 1.2 * gear.overall.u95
    assert gear.overall.u95 < 0.06 * gear.overall.value


def test_a_coarser_dial_is_known_less_well() -> None:
    widths = []
    for graduation in ("50 rpm", "100 rpm", "250 rpm", "500 rpm"):
        evidence = noted(row("tach", 2500.0), graduation=graduation)
        widths.append(noted_readings(evidence, Road.of(evidence))[0].u)
    assert widths == sorted(widths)
    assert widths[-1] > 2.0 * widths[0]


def test_readings_of_one_gear_are_averaged() -> None:
    evidence = noted(row("tach", 2450.0, 4.0), row("tach", 2500.0, 6.0), row("tach", 2550.0, 8.0))
    readings = noted_readings(evidence, Road.of(evidence))
    together = seen_by_hand(readings)
    assert together.count == 1
    assert np.sqrt(together.covariance[0, 0]) < min(r.u for r in readings)


def test_clock_faces_and_local_times_are_understood() -> None:
    evidence = noted()
    evidence = replace(evidence, sheet=replace(evidence.sheet, utc_offset_s=3600.0))
    start = evidence.start_unix_s
    utc = replace(row("tach", 2500.0), time_s=start + 60.0)
    local = replace(utc, clock="local", time_s=start + 3600.0 + 60.0)
    face = replace(utc, clock="face", time_s=(start + 3600.0 + 60.0) % 86400.0)
    for note in (utc, local, face):
        assert drive_time(note, evidence) == pytest.approx(60.0, abs=1e-6)
    assert drive_time(replace(utc, clock=None, time_s=None), evidence) is None


def test_a_reading_at_rest_or_without_a_time_says_nothing() -> None:
    at_rest = replace(row("tach", 900.0), time_s=truth_of("right").start_utc_s + 2.0)
    timeless = replace(row("tach", 2500.0), clock=None, time_s=None)
    evidence = noted(at_rest, timeless)
    assert noted_readings(evidence, Road.of(evidence)) == ()
    assert measure_gearing(evidence).result.gears == ()


def test_readings_by_hand_give_engine_speeds_at_a_cruise() -> None:
    evidence = noted(row("tach", round(true_rpm(), -2), remark="in 4th"))
    rows = measure_gearing(evidence).result.cruise
    car = truth_of("right").car
    assert {one.gear for one in rows} == {4}
    for one in rows:
        assert one.speed is not None and one.rpm is not None
        force = car.rolling_force_n + car.drag_factor * one.speed.value**2
        true = car.locked_rpm(one.speed.value, 4) * (1.0 + car.creep(force))
        assert one.rpm.low < true < one.rpm.high
        assert one.rpm.u95 < 0.06 * true
