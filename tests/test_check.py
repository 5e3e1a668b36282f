"""The whole road, from a folder to results, on the sample drives and on real recordings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from roadtest.check import check_folder, conclude, stretch_to_draw, survey
from roadtest.console import render
from roadtest.drive import read_drive
from roadtest.errors import InputError
from roadtest.logs.nmea.accounts import SENTENCE_REASONS
from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import Span
from roadtest.results import Results, from_json, to_json
from tests.checked_samples import SAMPLES, checked_sample, silent
from tests.simulation.ensembles import random_stops
from tests.simulation.receiver import Receiver, receive
from tests.simulation.writers import Nmea, nmea_text
from tests.test_drive import folder_with, nmea

NAMES = sorted(path.name for path in SAMPLES.iterdir() if path.is_dir())


def checked(name: str) -> Results:
    return checked_sample(name).results


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_runs_from_end_to_end(name: str) -> None:
    results = checked(name)
    targets = read_drive(SAMPLES / name).sheet.targets
    judged = [finding.id for finding in results.findings if finding.id != "inspection"]
    assert judged == [target.id for target in targets]
    assert all(finding.reason and finding.basis for finding in results.findings)
    assert results.drive.distance is not None
    assert results.drive.top_speed is not None
    assert any(made.used for made in results.manoeuvres)


@pytest.mark.parametrize("name", NAMES)
def test_results_come_back_from_their_file(name: str) -> None:
    results = checked(name)
    text = to_json(results)
    assert to_json(from_json(text)) == text


@pytest.mark.parametrize("name", NAMES)
def test_every_fix_and_file_is_accounted_for(name: str) -> None:
    results = checked(name)
    assert {file.name for file in results.files} == {p.name for p in (SAMPLES / name).iterdir()}
    for log in results.logs:
        if log.kind in ("nmea", "gpx"):
            lost = sum(n for why, n in log.rejected.items() if why not in SENTENCE_REASONS)
            assert log.fixes_read == log.fixes_used + lost
    for made in results.manoeuvres:
        assert made.used or made.why_not


@pytest.mark.parametrize("name", NAMES)
def test_a_finding_that_is_not_proven_says_what_would_settle_it(name: str) -> None:
    for finding in checked(name).findings:
        assert bool(finding.to_settle) == (finding.verdict == "not proven")


@pytest.mark.parametrize("name", NAMES)
def test_the_console_keeps_to_its_width(name: str) -> None:
    for units in ("mph", "km/h"):
        text = render(checked(name), units, colour=False, width=80)
        assert max(map(len, text.splitlines())) <= 80


# What sample_logs/README.md says hides in each drive, as verdicts. Where the truth is nearer its
# limit than the instruments can tell, the drive may say "not proven", but not the opposite.
PROVEN = {
    ("wrong-gearbox", "gearbox"): "fail",
    ("wrong-gearbox", "axle"): "pass",
    ("wrong-gearbox", "tach"): "fail",
    ("wrong-gearbox", "mfdd"): "pass",
    ("before-axle-change", "speedometer"): "pass",
    ("before-axle-change", "gearbox"): "pass",
    ("before-axle-change", "cruise_rpm"): "fail",
    ("before-axle-change", "mfdd"): "pass",
    ("after-axle-change", "gearbox"): "pass",
    ("after-axle-change", "axle"): "pass",
    ("after-axle-change", "tach"): "pass",
    ("after-axle-change", "mfdd"): "pass",
    ("after-axle-change", "stopping_distance"): "pass",
    ("after-axle-change", "fade"): "pass",
    ("after-axle-change", "rolling_coefficient"): "pass",
    ("after-axle-change", "standing"): "pass",
    ("after-axle-change", "channel.coolant_temperature"): "pass",
    ("messy-log", "gearbox"): "pass",
    ("messy-log", "axle"): "pass",
    ("messy-log", "clutch_slip"): "fail",
    ("messy-log", "mfdd"): "fail",
    ("messy-log", "drift"): "fail",
}
NEVER = {
    ("before-axle-change", "odometer"): "pass",  # 4.5 % over, 4 % allowed
    ("after-axle-change", "speedometer"): "pass",  # under-reads
    ("after-axle-change", "odometer"): "fail",  # 3.4 % under
    ("after-axle-change", "clutch_slip"): "fail",
    ("phone-gpx", "speedometer"): "fail",
    ("phone-gpx", "odometer"): "fail",
    ("phone-gpx", "rolling_coefficient"): "fail",
    ("messy-log", "speedometer"): "fail",
}


def verdict_of(name: str, target: str) -> str:
    (verdict,) = [f.verdict for f in checked(name).findings if f.id == target]
    return verdict


@pytest.mark.parametrize(("name", "target"), PROVEN)
def test_what_hides_in_a_sample_is_found(name: str, target: str) -> None:
    assert verdict_of(name, target) == PROVEN[name, target]


@pytest.mark.parametrize(("name", "target"), NEVER)
def test_the_opposite_of_the_truth_is_never_claimed(name: str, target: str) -> None:
    assert verdict_of(name, target) != NEVER[name, target]


def test_the_messy_log_keeps_its_accounts_by_file() -> None:
    logs = [log for log in checked("messy-log").logs if log.kind == "nmea"]
    assert [log.name for log in logs] == [f"gps-00{k}.nmea.gz" for k in (1, 2, 3)]
    assert [log.rejected["bad checksum"] for log in logs] == [5, 2, 5]
    (gap,) = [gap for gap in logs[0].gaps if gap.end_s - gap.start_s > 15.0]
    assert gap.end_s - gap.start_s == pytest.approx(18.0, abs=0.5)
    assert checked("messy-log").drive.start_utc == "2026-05-22T23:53:21Z"


def test_a_bare_log_and_an_empty_sheet_give_figures_and_no_findings(tmp_path: Path) -> None:
    results = check_folder(
        folder_with(tmp_path, build__toml="", gps__nmea=nmea(0, 60)), None, silent
    )
    assert results.findings == ()
    assert results.next_steps == ()
    assert results.drive.duration_s == 59.0
    assert results.drive.distance is not None
    assert results.drive.distance.value == pytest.approx(59.0 * 20.0 * 1852 / 3600, rel=0.01)
    assert to_json(from_json(to_json(results))) == to_json(results)


def test_too_few_fixes_are_told(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, build__toml="", gps__nmea=nmea(0, 4))
    with pytest.raises(InputError, match="only 4 usable fixes"):
        check_folder(folder, None, silent)


def test_a_second_receiver_is_compared_and_not_used(tmp_path: Path) -> None:
    truth = random_stops(3)
    logs = {
        "fast__nmea": nmea_text(receive(truth, Receiver(), 1), Nmea()),
        "slow__nmea": nmea_text(receive(truth, Receiver(rate_hz=1.0), 2), Nmea()),
    }
    folder = folder_with(tmp_path, build__toml="", **logs)
    results = check_folder(folder, None, silent)
    used, other = (log for log in results.logs if log.kind == "nmea")
    assert (used.name, used.speed_source) == ("fast.nmea", "doppler")
    assert (other.name, other.speed_source) == ("slow.nmea", None)
    assert other.remarks[0].startswith("a second receiver, for cross-check only: its speed less")


def test_a_tach_log_that_goes_with_nothing_driven_is_the_first_step(tmp_path: Path) -> None:
    rpm = np.random.default_rng(7).uniform(900.0, 5000.0, 400)
    tach = "elapsed_s,rpm\n" + "".join(f"{0.2 * k:.1f},{n:.0f}\n" for k, n in enumerate(rpm))
    log = nmea_text(receive(random_stops(3), Receiver(rate_hz=2.0), 1), Nmea())
    folder = folder_with(tmp_path, build__toml="", gps__nmea=log, tach__csv=tach)
    (step, *_) = check_folder(folder, None, silent).next_steps
    assert step.startswith("tach.csv: its engine speed keeps to no ratio with the road speed")


def test_the_same_drive_gives_the_same_bytes_in_one_go_or_in_two() -> None:
    surveyed = survey(read_drive(SAMPLES / "phone-gpx"), silent)
    in_one_go = check_folder(SAMPLES / "phone-gpx", None, silent)
    assert to_json(conclude(surveyed, silent)) == to_json(in_one_go)


def test_splitting_a_log_changes_no_figure(tmp_path: Path) -> None:
    log = nmea(0, 120)
    lines = log.splitlines(keepends=True)
    one, two = tmp_path / "one", tmp_path / "two"
    one.mkdir()
    two.mkdir()
    whole = folder_with(one, build__toml="", gps__nmea=log)
    split = folder_with(
        two, build__toml="", a__nmea=b"".join(lines[:50]), b__nmea=b"".join(lines[50:])
    )
    first, second = (check_folder(folder, None, silent) for folder in (whole, split))
    assert first.drive == second.drive
    assert first.manoeuvres == second.manoeuvres


def test_of_a_long_hold_the_part_where_the_dial_was_read_is_drawn() -> None:
    hold = Manoeuvre("hold-1", "hold", 100.0, 1000.0)
    assert stretch_to_draw(hold, []) == Span(533.0, 567.0)
    assert stretch_to_draw(hold, [110.0]) == Span(98.0, 132.0)
    assert stretch_to_draw(hold, [700.0]) == Span(683.0, 717.0)
    assert stretch_to_draw(hold, [995.0, 20.0]) == Span(968.0, 1002.0)
    assert stretch_to_draw(Manoeuvre("hold-1", "hold", 100.0, 130.0), []) == Span(98.0, 132.0)
    assert stretch_to_draw(Manoeuvre("coast-1", "coast", 100.0, 300.0), []) == Span(98.0, 302.0)
