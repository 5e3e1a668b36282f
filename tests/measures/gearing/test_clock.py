"""The tach's clock, found from the drive."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roadtest.logs.model import Clock, TachLog
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.gearing.clock import find_shift
from roadtest.measures.gearing.engine import engine_samples
from roadtest.measures.gearing.road import Road
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import SHEET, shakedown_of
from tests.measures.gearing.drives import evidence_of, truth_of
from tests.measures.gearing.tach_logs import pulse_log, tach_log
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Pulses, Tach

THREE_SIGMA = 1.5  # in half-widths of 95 % intervals


def off_by(log: TachLog, apparent_s: float, widest_s: float = 0.12) -> float:
    """Return the error of the offset found with `log`, in half-widths of its interval."""
    found = measure_gearing(replace(evidence_of("right"), tach=(log,))).tach.offset_s
    assert found is not None
    assert found.u95 < widest_s
    return (found.value - apparent_s) / found.u95


@pytest.mark.parametrize("offset_s", [-200.0, -3.3, 0.0, 55.5, 5000.0])
def test_a_clock_of_unknown_zero(offset_s: float) -> None:
    tach = Tach(offset_s=offset_s)
    log = tach_log(truth_of("right"), tach, 3)
    first = float(log.time_s[0])
    assert abs(off_by(log, tach.apparent_offset_s() + tach.drift * first)) < THREE_SIGMA


@pytest.mark.parametrize(
    ("rate_hz", "step_rpm"), [(1.0, 10.0), (5.0, 50.0), (25.0, 25.0), (100.0, 1.0)]
)
def test_any_rate_and_rounding(rate_hz: float, step_rpm: float) -> None:
    tach = Tach(rate_hz=rate_hz, offset_s=31.0, step_rpm=step_rpm, lag_s=0.2)
    log = tach_log(truth_of("right"), tach, 5)
    assert abs(off_by(log, tach.apparent_offset_s())) < THREE_SIGMA


def test_raw_pulses_with_missed_and_double_ones() -> None:
    pulses = Pulses(missed_share=0.02, doubled_share=0.02)
    log = pulse_log(truth_of("right"), Tach(offset_s=-40.0), pulses, 5)
    assert abs(off_by(log, -40.0)) < THREE_SIGMA


@pytest.mark.parametrize("offset_s", [-4.0, 2.5])
def test_a_calendar_clock_may_be_off_too(offset_s: float) -> None:
    tach = Tach(offset_s=offset_s)
    log = tach_log(truth_of("right"), tach, 6, "utc")
    assert abs(off_by(log, tach.apparent_offset_s())) < THREE_SIGMA


def test_a_tach_that_ran_for_part_of_the_drive() -> None:
    tach = Tach(offset_s=90.0, from_s=120.0, until_s=260.0)
    log = tach_log(truth_of("right"), tach, 7)
    assert abs(off_by(log, tach.apparent_offset_s(), widest_s=0.25)) < THREE_SIGMA


def test_engine_speed_in_the_gps_log_counts() -> None:
    tach = Tach(offset_s=0.0, rate_hz=1.0)
    log = tach_log(truth_of("right"), tach, 8, "utc")
    evidence = evidence_of("right")
    within = replace(evidence, tach=(), gps=replace(evidence.gps, engine=log))
    found = measure_gearing(within)
    assert found.result.gearbox_shown is not None
    assert found.result.gearbox_shown.label == "five-speed"
    assert found.tach.offset_s is not None
    assert abs(found.tach.offset_s.value - tach.apparent_offset_s()) < (
        THREE_SIGMA * found.tach.offset_s.u95
    )


@pytest.mark.parametrize("clock", ["elapsed", "utc"])
def test_one_steady_cruise_does_not_fix_the_clock_and_says_so(clock: Clock) -> None:
    def cruise(driver: Driver) -> None:
        driver.start_rolling(25.0)
        driver.cruise(25.0, 150.0, 0.02)

    truth = simulate(cruise, shakedown_of().car, seed=3)
    log = tach_log(truth, Tach(offset_s=0.5), 3, clock)
    evidence = evidence_from(truth, Receiver(rate_hz=5.0), 3, sheet=SHEET, tach=[log], draws=20)
    found = measure_gearing(evidence)
    assert found.tach.offset_s is None
    assert any("does not fix the tach's clock" in text for text in found.remarks)
    (row,) = found.result.gears
    assert row.ratio is not None
    assert abs(row.ratio.value - 0.82) < THREE_SIGMA * row.ratio.u95


def test_positions_tell_the_clock_no_better_than_they_tell_when_braking_begins() -> None:
    truth, tach = truth_of("right"), Tach(offset_s=20.0, lag_s=0.1)
    log = tach_log(truth, tach, 3)
    receiver = Receiver(rate_hz=1.0)
    evidence = evidence_from(truth, receiver, 3, sheet=SHEET, tach=[log], with_speed=False, draws=2)
    found = measure_gearing(evidence).tach.offset_s
    assert found is not None
    assert found.u95 > 1.96 * 0.29  # of an interval of 1 s
    assert abs(found.value - tach.apparent_offset_s()) < found.u95


def test_a_log_of_another_drive_does_not_fit_anywhere() -> None:
    other = shakedown_of(9)
    log = tach_log(other, Tach(), 9)
    evidence = evidence_of("right")
    samples = engine_samples([log], evidence.sheet, evidence.start_unix_s)[0]
    right = engine_samples(
        [tach_log(truth_of("right"), Tach(), 9)], evidence.sheet, evidence.start_unix_s
    )[0]
    road = Road.of(evidence)
    assert find_shift(right, road)[0].probability > 0.99
    found = measure_gearing(replace(evidence, tach=(log,)))
    assert samples.time_s.size
    assert found.result.gears == () or found.result.gears[0].seconds is not None
