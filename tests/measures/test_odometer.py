"""The odometer against the distance driven, on simulated drives with known counters."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.evidence import Evidence
from roadtest.logs.model import Note, Notes
from roadtest.measures.odometer import measure_odometer
from roadtest.results import OdometerResult
from tests.evidence_from_truth import evidence_from
from tests.simulation.dials import Odometer
from tests.simulation.driver import Driver, simulate
from tests.simulation.ensembles import random_receiver
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

MILE_M = 1609.344
TARGET = '[targets]\nodometer = "4 %"\n'


def there_and_back(driver: Driver) -> None:
    """Stand, drive some two miles with a rest half way, stand."""
    driver.idle(12.0)
    driver.cruise(20.0, 70.0)
    driver.idle(40.0)
    driver.cruise(24.0, 60.0)
    driver.idle(40.0)


@pytest.fixture(scope="module")
def drive() -> tuple[Truth, Evidence]:
    truth = simulate(there_and_back, seed=3)
    return truth, evidence_from(truth, Receiver(rate_hz=5.0), 3, manoeuvres=())


def note(truth: Truth, at_s: float | None, mile: float, line: int = 2, decimals: int = 1) -> Note:
    time_s = None if at_s is None else truth.start_utc_s + at_s
    clock = None if at_s is None else "utc"
    step = 10.0**-decimals * MILE_M
    return Note(line, "odometer", clock, time_s, mile * MILE_M, f"{mile}", step, "")  # type: ignore[arg-type]


def measured(drive: tuple[Truth, Evidence], *notes: Note, sheet: str = TARGET) -> OdometerResult:
    changed = dataclasses.replace(
        drive[1],
        sheet=read_build_sheet(sheet.encode(), "build.toml"),
        notes=Notes("notes.csv", notes) if notes else None,
    )
    return measure_odometer(changed).result


def end_s(truth: Truth) -> float:
    return float(truth.t_s[-1]) - 8.0  # standing


def rest_s(truth: Truth) -> float:
    return truth.of_kind("idle")[1].end_s - 10.0


def test_scale_is_shown_over_driven_with_the_last_digit_in_it(
    drive: tuple[Truth, Evidence],
) -> None:
    truth, _ = drive
    way = float(truth.distance_m[-1]) / MILE_M
    found = measured(drive, note(truth, 4.0, 100.0), note(truth, end_s(truth), 102.3))
    assert found.indicated is not None and found.true is not None and found.scale is not None
    assert found.indicated.value == pytest.approx(2.3 * MILE_M)
    assert found.scale.value == pytest.approx(2.3 / way, rel=2e-3)
    # Two last digits, each ± half of 0.1 mile, all as likely: a triangle.
    triangle = 0.1 * MILE_M * (1.0 - math.sqrt(0.05))
    assert found.indicated.u95 == pytest.approx(triangle, rel=0.04)
    assert found.scale.u95 == pytest.approx(triangle / found.true.value, rel=0.05)
    assert abs(found.true.value - way * MILE_M) <= found.true.u95


def test_a_single_reading_is_known_to_95_per_cent_of_half_a_step(
    drive: tuple[Truth, Evidence],
) -> None:
    (row,) = measured(drive, note(drive[0], 4.0, 100.0)).readings
    assert row.shown.u95 == pytest.approx(0.95 * 0.05 * MILE_M)


def test_the_time_of_a_note_matters_only_on_the_move(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    start = note(truth, 4.0, 100.0, decimals=3)
    standing = measured(drive, start, note(truth, end_s(truth), 102.0, decimals=3))
    moving = measured(drive, start, note(truth, 60.0, 100.6, decimals=3))
    assert standing.true is not None and moving.true is not None
    assert standing.true.u95 < 6.0
    # ±5 s at about 20 m/s.
    assert moving.true.u95 == pytest.approx(100.0, rel=0.12)


def test_more_readings_make_it_surer(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    at = [4.0, 50.0, 80.0, rest_s(truth), 190.0, 210.0, end_s(truth)]
    odometer = Odometer(100.0, 1.03)
    notes = [note(truth, t, odometer.shows_mile(truth, t), k) for k, t in enumerate(at)]
    two, all_of = measured(drive, notes[0], notes[-1]), measured(drive, *notes)
    assert two.scale is not None and all_of.scale is not None
    assert all_of.scale.u95 < two.scale.u95
    assert abs(all_of.scale.value - 1.03) <= all_of.scale.u95
    assert len(all_of.readings) == len(at)


def test_a_short_drive_says_how_many_more_miles(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    found = measured(drive, note(truth, 4.0, 100.0), note(truth, end_s(truth), 102.2))
    assert found.scale is not None and found.more is not None
    margin = min(abs(found.scale.value - end) for end in (0.96, 1.04))
    assert found.true is not None
    # Over that much more the last digit would weigh less than the margin.
    later = found.scale.u95 * found.true.value / (found.true.value + found.more)
    assert 0.7 * margin < later < margin  # nor is more asked than that takes
    assert "more between the first and the last reading" in found.advice


def test_a_counter_on_its_limit_is_no_matter_of_miles(drive: tuple[Truth, Evidence]) -> None:
    truth, evidence = drive
    notes = (note(truth, 4.0, 100.0), note(truth, end_s(truth), 102.2))
    scale = measured((truth, evidence), *notes).scale
    assert scale is not None
    share = f"{100.0 * abs(scale.value - 1.0):.5f} %"
    found = measured((truth, evidence), *notes, sheet=f'[targets]\nodometer = "{share}"\n')
    assert found.more is None
    assert "no drive of a sensible length" in found.advice


def test_without_readings_it_says_what_to_note(drive: tuple[Truth, Evidence]) -> None:
    found = measured(drive)
    assert found.scale is None
    # 0.1 mile · 0.776 against half of 4 %: 3.9 miles.
    assert "4 miles or more apart" in found.advice


def test_readings_that_give_no_distance_are_told(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    lone = note(truth, end_s(truth), 41212.2)
    one = measured(drive, lone, sheet="units = 'mph'\n")
    assert one.notes == (
        "only one reading (notes.csv line 2): it takes one at each end of a drive",
    )
    beside = note(truth, end_s(truth) + 2.0, 41212.2, line=3)
    two = measured(drive, lone, beside, sheet="units = 'mph'\n")
    assert "too close" in two.notes[0]
    assert measured(drive, sheet="units = 'mph'\n").notes == ()


def test_the_sheets_odometer_is_the_reading_at_the_start(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    sheet = '[car]\nodometer = "41210.0 mile"\n' + TARGET
    found = measured(drive, note(truth, end_s(truth), 41212.2), sheet=sheet)
    assert found.indicated is not None
    assert found.indicated.value == pytest.approx(2.2 * MILE_M)


def test_a_counter_set_back_starts_anew(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    half = rest_s(truth)
    found = measured(
        drive,
        note(truth, 4.0, 512.3),
        note(truth, half, 0.0),
        note(truth, end_s(truth), 1.1),
    )
    second = float(truth.distance_m[-1] - truth.distance_at(half))
    assert found.true is not None and found.since_reset is not None
    assert found.true.value == pytest.approx(second, rel=2e-3)
    assert found.since_reset.value == pytest.approx(second, rel=2e-3)


def test_a_counter_gone_round_goes_on(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    found = measured(drive, note(truth, 4.0, 99999.0), note(truth, end_s(truth), 1.2))
    assert found.indicated is not None
    assert found.indicated.value == pytest.approx(2.2 * MILE_M)


def test_a_reading_without_a_time_is_told_and_not_used(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    found = measured(drive, note(truth, None, 100.0, 7), note(truth, end_s(truth), 102.2, 8))
    assert found.scale is None
    assert any("line 7" in said and "no time" in said for said in found.notes)


def test_a_note_before_a_log_that_begins_on_the_move_is_not_used() -> None:
    truth = simulate(lambda driver: (driver.start_rolling(20.0), driver.cruise(20.0, 60.0)), seed=5)
    late = evidence_from(truth, Receiver(rate_hz=5.0), 5, manoeuvres=())
    found = measured((truth, late), note(truth, -30.0, 100.0), note(truth, 50.0, 101.0))
    assert found.scale is None
    assert any("on the move" in said for said in found.notes)


def test_a_reading_noted_an_hour_after_the_log_is_not_compared(
    drive: tuple[Truth, Evidence],
) -> None:
    truth, _ = drive
    late = note(truth, end_s(truth) + 3600.0, 104.0, line=3)
    found = measured(drive, note(truth, 4.0, 102.6), late)
    assert found.scale is None
    assert "notes.csv line 3: its time lies outside the drive" in found.notes


@pytest.mark.parametrize(
    ("mile", "said"),
    [
        (1026.0, "line 3: 923.4 miles more than the reading before it, far beyond the way driven"),
        (2.5, "line 3: 100.1 miles less than the reading before it, so not compared with that"),
    ],
)
def test_a_reading_of_another_counter_is_told(
    drive: tuple[Truth, Evidence], mile: float, said: str
) -> None:
    truth, _ = drive
    found = measured(drive, note(truth, 4.0, 102.6), note(truth, end_s(truth), mile, line=3))
    assert found.scale is None
    assert any(said in one for one in found.notes)


def test_miles_taken_for_km_are_questioned(drive: tuple[Truth, Evidence]) -> None:
    truth, _ = drive
    found = measured(drive, note(truth, 4.0, 100.0), note(truth, end_s(truth), 103.6))
    assert any("mixed up" in said for said in found.notes)


def test_intervals_of_the_scale_hold_the_truth_95_times_in_100() -> None:
    """120 counters on 6 drives: the share covered has a standard deviation of 0.02 or so."""
    inside = []
    for seed in range(6):
        rng = np.random.default_rng([seed, 8])
        truth = simulate(there_and_back, seed=seed)
        rate = float(rng.choice([1.0, 5.0, 10.0]))
        evidence = evidence_from(
            truth, random_receiver(seed, rate), seed, manoeuvres=(), with_speed=seed % 4 > 0
        )
        for _ in range(20):
            scale = float(rng.uniform(0.9, 1.1))
            odometer = Odometer(float(rng.uniform(0.0, 500.0)), scale)
            at = (4.0, float(rng.uniform(60.0, 90.0)), end_s(truth))
            notes = [
                note(truth, t + float(rng.normal(0.0, 5.0 / 1.96)), odometer.shows_mile(truth, t))
                for t in at
            ]
            found = measured((truth, evidence), *notes)
            assert found.scale is not None
            inside.append(abs(found.scale.value - scale) <= found.scale.u95)
    assert 0.90 <= np.mean(inside) <= 1.0
