"""The speedometer over simulated drives with known dials."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.logs.model import Channel, ChannelsLog, Notes
from roadtest.measures.speedometer import measure_speedometer
from roadtest.results import SpeedometerResult
from tests.evidence_from_truth import evidence_from
from tests.measures.speedometer.crew import (
    MPH,
    SHEET,
    SPEEDS_MPS,
    look,
    noted,
    read_drive,
    speed_note,
)
from tests.simulation.ensembles import random_holds, random_receiver
from tests.simulation.truth import Truth

SCALE, OFFSET = 1.062, 0.13


def dial(true_mps: float) -> float:
    return SCALE * true_mps + OFFSET


@pytest.fixture(scope="module")
def drive() -> tuple[Truth, Evidence]:
    truth, _, evidence = read_drive(2, dial)
    return truth, evidence


def measured(evidence: Evidence, sheet: str = SHEET, **changes: object) -> SpeedometerResult:
    from roadtest.build_sheet import read_build_sheet

    read = read_build_sheet(sheet.encode(), "build.toml")
    changed = dataclasses.replace(evidence, sheet=read, **changes)  # type: ignore[arg-type]
    return measure_speedometer(changed).result


def test_readings_by_time_give_scale_offset_and_meaning(drive: tuple[Truth, Evidence]) -> None:
    result = measured(drive[1])
    assert len(result.readings) == len(SPEEDS_MPS)
    assert all(reading.source == "notes" for reading in result.readings)
    assert result.scale is not None and result.offset is not None
    assert abs(result.scale.value - SCALE) <= result.scale.u95
    assert abs(result.offset.value - OFFSET) <= result.offset.u95
    assert result.curvature is not None
    assert result.meanings[0].probability <= 1.0
    assert result.meaning


def test_error_is_indicated_less_true_with_both_intervals(drive: tuple[Truth, Evidence]) -> None:
    for reading in measured(drive[1]).readings:
        assert reading.indicated is not None and reading.true is not None
        assert reading.error is not None
        assert reading.error.value == pytest.approx(reading.indicated.value - reading.true.value)
        both = np.hypot(reading.indicated.u95, reading.true.u95)
        # Neither part is normal: the sum reaches further than its parts' squares say.
        assert max(reading.indicated.u95, reading.true.u95) <= reading.error.u95 <= 1.3 * both
        # Half a graduation (1 mph) either side, all as likely: 95 % of it.
        assert reading.indicated.u95 == pytest.approx(0.95 * MPH, rel=0.03)


def test_a_list_without_times_is_matched_in_the_order_driven(
    drive: tuple[Truth, Evidence],
) -> None:
    shown = [f"{round(dial(v) / MPH)} mph" for v in SPEEDS_MPS]
    listed = f"{SHEET}[indicated]\nspeeds = {shown}\n"
    result = measured(drive[1], listed, notes=None)
    assert [reading.source for reading in result.readings] == ["build sheet"] * 5
    assert result.scale is not None
    assert abs(result.scale.value - SCALE) <= result.scale.u95
    # One of them was never held as far as the log shows: the others stay where they are.
    fewer = measured(
        drive[1], f"{SHEET}[indicated]\nspeeds = {shown[:2] + shown[3:]}\n", notes=None
    )
    assert [r.indicated is not None for r in fewer.readings] == [True, True, False, True, True]


def test_holds_without_any_reading_are_listed_with_their_true_speed(
    drive: tuple[Truth, Evidence],
) -> None:
    result = measured(drive[1], notes=None)
    assert len(result.readings) == 5
    assert all(r.true is not None and r.error is None for r in result.readings)
    assert result.scale is None
    assert result.corrections == ()


def test_a_note_beside_every_hold_is_told_and_not_used(drive: tuple[Truth, Evidence]) -> None:
    truth, evidence = drive
    stray = truth.of_kind("hold")[-1].end_s + 60.0
    notes = Notes("notes.csv", (speed_note(9, 22.0, truth.start_utc_s + stray),))
    result = measured(evidence, notes=notes)
    assert all(reading.error is None for reading in result.readings)
    assert any("line 9" in note and "no hold" in note for note in result.notes)


def test_a_note_without_a_time_is_matched_like_a_list(drive: tuple[Truth, Evidence]) -> None:
    notes = Notes(
        "notes.csv",
        tuple(
            speed_note(k, 2.0 * MPH * round(dial(v) / 2.0 / MPH), None)
            for k, v in enumerate(SPEEDS_MPS)
        ),
    )
    assert all(r.error is not None for r in measured(drive[1], notes=notes).readings)


def test_a_continuous_log_of_the_dial_serves_as_well(drive: tuple[Truth, Evidence]) -> None:
    truth, evidence = drive
    time = np.arange(1.0, float(truth.t_s[-1]), 0.5)
    shown = np.round(np.vectorize(dial)(truth.speed_at(time)) / MPH, 1)
    channel = (Channel("indicated_speed", "mph", shown),)
    utc = ChannelsLog("channels.csv", "utc", truth.start_utc_s + time, channel, time.size)
    own_clock = ChannelsLog("channels.csv", "elapsed", time + 417.3, channel, time.size)
    for log in (utc, own_clock):
        result = measured(evidence, notes=None, channels=(log,))
        assert [reading.source for reading in result.readings] == ["channel"] * 5
        assert result.scale is not None
        assert abs(result.scale.value - SCALE) <= result.scale.u95
        assert result.scale.u95 < 0.012


def test_a_channel_in_a_unit_that_is_no_speed_is_told(drive: tuple[Truth, Evidence]) -> None:
    channel = (Channel("indicated_speed", "degC", np.full(50, 20.0)),)
    log = ChannelsLog("channels.csv", "elapsed", np.arange(50.0), channel, 50)
    result = measured(drive[1], notes=None, channels=(log,))
    assert any("not one of speed" in note for note in result.notes)


def test_a_gps_dial_is_no_independent_evidence(drive: tuple[Truth, Evidence]) -> None:
    result = measured(drive[1], SHEET + 'drive = "gps"\n')
    assert any("no independent check" in note for note in result.notes)


def test_a_dial_read_in_the_wrong_unit_is_questioned(drive: tuple[Truth, Evidence]) -> None:
    truth, evidence = drive
    hold = truth.of_kind("hold")[1]
    middle = truth.start_utc_s + 0.5 * (hold.start_s + hold.end_s)
    notes = Notes("notes.csv", (speed_note(3, 1.609 * 17.9, middle),))
    changed = dataclasses.replace(evidence, notes=notes)
    found = measure_speedometer(changed)
    assert found.doubt.startswith("Look at the dial readings before anything is changed: 1.6")
    assert "(notes.csv line 3, hold-2): were km/h and mph mixed up" in found.doubt
    assert found.doubt in found.result.notes
    assert measure_speedometer(evidence).doubt == ""


def test_readings_beside_every_hold_are_told_together(drive: tuple[Truth, Evidence]) -> None:
    truth, evidence = drive
    stray = max(hold.end_s for hold in truth.of_kind("hold")) + 60.0
    rows = tuple(speed_note(line, 22.0, truth.start_utc_s + stray) for line in (8, 9))
    (told,) = (
        n for n in measured(evidence, notes=Notes("notes.csv", rows)).notes if "no hold" in n
    )
    assert told.startswith("notes.csv line 8: ") and "; notes.csv line 9: " in told
    assert told.endswith("these belong to no hold that was found; they are not used")


def test_the_rules_own_test_speeds_are_told_and_widen_beyond_what_was_held(
    drive: tuple[Truth, Evidence],
) -> None:
    result = measured(drive[1], SHEET + '[targets]\nspeedometer = "un-r39"\n')
    assert [at.extrapolated for at in result.test_speeds] == [True, False, True]
    low, middle, high = (at.error.u95 for at in result.test_speeds)
    assert middle < low
    assert middle < high


def test_the_same_evidence_gives_the_same_figures(drive: tuple[Truth, Evidence]) -> None:
    assert measured(drive[1]) == measured(drive[1])


def test_a_drive_without_holds_has_nothing_to_say() -> None:
    truth = random_holds(4, SPEEDS_MPS[:1])
    result = measure_speedometer(evidence_from(truth, seed=4, sheet=SHEET, manoeuvres=())).result
    assert result == SpeedometerResult(head=result.head, notes=result.notes)


def test_errors_hold_the_truth_95_times_in_100() -> None:
    """60 readings: the share covered has a standard deviation of 0.028; 0.88 is 2.5 of it below."""
    inside = []
    for seed in range(6):
        rng = np.random.default_rng([seed, 5])
        rate = (1.0, 5.0, 10.0)[seed % 3]
        truth, _, evidence = read_drive(seed + 100, float, random_receiver(seed, rate))
        for _ in range(2):  # cars with other dials on the same drive
            scale, offset = rng.uniform(0.92, 1.1), rng.normal(0.0, 0.5)
            looks = look(truth, lambda v, s=scale, o=offset: s * v + o, 2.0 * MPH, rng)
            other = dataclasses.replace(evidence, notes=noted(truth, looks))
            readings = measure_speedometer(other).result.readings
            for reading, seen in zip(readings, looks, strict=True):
                if reading.error is not None:
                    true_error = (scale - 1.0) * seen.true_mps + offset
                    inside.append(abs(reading.error.value - true_error) <= reading.error.u95)
    assert len(inside) >= 55
    assert np.mean(inside) >= 0.88
