"""Which hand checks the work asks for, and which of them the notes or a channel show."""

from __future__ import annotations

import pytest

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.build_sheet.schema import KNOWN_WORK
from roadtest.findings.inspections import unseen_work_findings
from roadtest.missing_checks import missing_checks
from roadtest.results import ChannelResult, Inspection
from roadtest.work_checks import WORK_CHECKS, checks_for


def sheet(*work: str, targets: str = 'odometer = "4 %"') -> BuildSheet:
    done = ", ".join(f'"{name}"' for name in work)
    return read_build_sheet(f"[work]\ndone = [{done}]\n[targets]\n{targets}\n".encode(), "b.toml")


def passed(*what: str) -> list[Inspection]:
    return [Inspection(text, "pass") for text in what]


def missing(work: str, *notes: str) -> list[str]:
    found = missing_checks(sheet(work), passed(*notes), ())
    return [check.what for group in found for check in group.checks]


def test_every_kind_of_work_known_to_the_sheet_has_checks() -> None:
    assert set(WORK_CHECKS) == set(KNOWN_WORK)
    assert all(checks.drive and checks.by_hand for checks in WORK_CHECKS.values())


def test_without_a_note_every_check_is_missing() -> None:
    for name, checks in checks_for(KNOWN_WORK):
        assert len(missing(name)) == len(checks.by_hand)


@pytest.mark.parametrize("name", KNOWN_WORK)
def test_a_note_in_the_words_of_the_check_is_evidence(name: str) -> None:
    assert missing(name, *(check.what for check in WORK_CHECKS[name].by_hand)) == []


def test_other_words_for_the_same_thing_are_evidence() -> None:
    left = missing("wheels and tyres", "Wheel nuts re-torqued at 30 miles", "TYRE PRESSURES 24/26")
    assert left == ["clearance of tyres to body and hoses at full lock and full travel"]


def test_a_note_of_something_else_is_no_evidence() -> None:
    assert len(missing("charging", "lamps and horn", "no fluid leaks after the drive")) == 2
    assert len(missing("clutch", "brake pedal free play")) == 2


def test_words_inside_other_words_do_not_count() -> None:
    assert "no fumes in the car with the hood up and windows shut" in missing("exhaust", "perfumed")


def test_a_logged_channel_is_evidence() -> None:
    volts = ChannelResult("battery_volts", "V")
    assert missing_checks(sheet("charging"), (), (volts,)) == ()


def test_a_shared_check_is_asked_for_once() -> None:
    found = missing_checks(sheet("front brakes", "rear brakes"), (), ())
    asked = [check for group in found for check in group.checks]
    assert len(asked) == len(set(asked))
    assert [check.what for check in found[1].checks] == [
        "parking brake holds on a slope, both ways"
    ]


def test_a_check_noted_as_not_done_has_its_own_finding_only() -> None:
    noted = [Inspection("timing and advance by lamp", "not done")]
    (group,) = missing_checks(sheet("ignition"), noted, ())
    assert [check.when for check in group.checks] == ["during"]


def test_a_finding_says_what_nobody_noted_and_on_what_basis() -> None:
    (finding,) = unseen_work_findings(sheet("tach"), (), ())
    assert (finding.id, finding.verdict) == ("inspection", "not proven")
    assert "idle speed" in finding.reason and "common practice" in finding.basis


def test_a_sheet_without_targets_is_asked_for_nothing() -> None:
    assert unseen_work_findings(sheet("tach", targets=""), (), ()) == ()
