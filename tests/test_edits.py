"""What somebody enters by hand: a drive is what its notes make of it, saved or not."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from roadtest import edits
from roadtest.check import Checked, _dial_read_at, conclude_again, conclude_with_traces
from roadtest.console import render
from roadtest.drive import read_drive
from roadtest.edits import Edits, edited_notes, standing, with_edits
from roadtest.errors import InputError, InputErrors
from roadtest.logs.notes_file import NewRow
from roadtest.report.small_print import small_print
from roadtest.results import MovedTarget, Reading, from_json, to_json
from roadtest.units import to_si
from tests.checked_samples import SAMPLES, checked_sample, silent

SAMPLE = "before-axle-change"
NASTY = "=cmd|' /C calc'!A0, \"quoted\"\r\nsecond line; # <img src=x>\x1b[31m\ud800"
ONE_LINE = "=cmd|' /C calc'!A0, \"quoted\" second line; # <img src=x> [31m"


@pytest.fixture(scope="module")
def plain() -> Checked:
    return checked_sample(SAMPLE)


def with_readings(checked: Checked, typed: dict[str, str]) -> Checked:
    entered = Edits()
    for hold, text in typed.items():
        entered = entered.put(("reading", hold), edits.reading(checked, hold, text))
    return with_edits(checked, entered)


def without(checked: Checked, *manoeuvres: str, why: str = "wet road") -> Edits:
    entered = Edits()
    for name in manoeuvres:
        entered = entered.put(("left out", name), edits.left_out(checked, name, why))
    return entered


def moved(name: str, text: str, why: str = "as agreed") -> Edits:
    return Edits().put(("target", name), edits.target(name, text, why))


def reading_of(checked: Checked, hold: str) -> Reading:
    return next(r for r in checked.results.speedometer.readings if r.manoeuvre == hold)


def verdicts(checked: Checked) -> dict[str, str]:
    return {f.id: f.verdict for f in checked.results.findings if f.id != "inspection"}


def test_a_typed_reading_stands_in_for_the_noted_one(plain: Checked) -> None:
    typed = with_readings(plain, {"hold-4": "60"})
    indicated = reading_of(typed, "hold-4").indicated
    assert indicated is not None
    assert indicated.value == pytest.approx(to_si(60.0, "mph"))
    assert reading_of(typed, "hold-4").note == "typed in beside hold-4"
    assert replace(reading_of(typed, "hold-3"), note="") == replace(
        reading_of(plain, "hold-3"), note=""
    )
    assert reading_of(plain, "hold-4").note != "typed in beside hold-4"


def test_findings_follow_a_reading_that_is_far_too_low(plain: Checked) -> None:
    before, now = verdicts(plain), verdicts(with_readings(plain, {"hold-5": "41"}))
    assert (before.pop("speedometer"), now.pop("speedometer")) == ("pass", "fail")  # true: 56 mph
    assert before == now


def test_nothing_entered_is_the_drive_as_it_was(plain: Checked) -> None:
    assert with_readings(plain, {"hold-2": " "}) is plain
    assert with_edits(plain, Edits({("left out", "stop-3"): None})) is plain


def test_another_unit_may_be_typed(plain: Checked) -> None:
    indicated = reading_of(with_readings(plain, {"hold-4": "80 km/h"}), "hold-4").indicated
    assert indicated is not None
    assert indicated.value == pytest.approx(to_si(80.0, "km/h"))


@pytest.mark.parametrize("text", ["fast", "50,5", "12 kg", "<b>5</b>", "nan", "=1+1"])
def test_what_is_no_speed_is_said_with_its_hold(plain: Checked, text: str) -> None:
    with pytest.raises(InputError, match=r"^hold-4, dial reading: "):
        edits.reading(plain, "hold-4", text)


def test_what_is_not_there_is_refused(plain: Checked) -> None:
    with pytest.raises(InputError, match="no such hold"):
        edits.reading(plain, "hold-99", "50")
    with pytest.raises(InputError, match="no such manoeuvre"):
        edits.left_out(plain, "stop-99", "why")


def test_a_manoeuvre_left_out_is_listed_and_used_for_nothing(plain: Checked) -> None:
    out = ("stop-3", "hold-5", "pull-6", "coast-1")
    assert all(m.used for m in plain.results.manoeuvres if m.id in out)
    results = with_edits(plain, without(plain, *out)).results
    for made in results.manoeuvres:
        if made.id in out:
            assert (made.used, made.why_not) == (False, "left out by hand: wet road")
    braking, speedometer = results.braking, results.speedometer
    named = {row.manoeuvre for row in (*braking.stops, *speedometer.readings, *results.pulls.runs)}
    named |= {row.manoeuvre for row in (*results.coasting.runs, *results.gearing.slips)}
    named |= {item.manoeuvre for finding in results.findings for item in finding.items}
    named |= set(braking.like_stops)
    assert named.isdisjoint(out)
    assert {"stop-4", "hold-6"} <= named
    assert {one.manoeuvre: one.reason for one in results.by_hand.left_out} == dict.fromkeys(
        out, "wet road"
    )


def test_a_reading_in_a_hold_left_out_goes_nowhere_else(plain: Checked) -> None:
    left = with_edits(plain, without(plain, "hold-5"))
    others = [r for r in plain.results.speedometer.readings if r.manoeuvre != "hold-5"]
    shown = [(r.manoeuvre, r.indicated) for r in left.results.speedometer.readings]
    assert shown == [(r.manoeuvre, r.indicated) for r in others]
    assert left.results.speedometer.notes == plain.results.speedometer.notes


def test_a_moved_target_is_judged_and_told(plain: Checked) -> None:
    entered = moved("mfdd", "9.5 m/s^2", "a softer surface")
    results = with_edits(plain, entered).results
    (finding,) = (f for f in results.findings if f.id == "mfdd")
    assert finding.limit is not None and finding.limit.low == pytest.approx(9.5)
    assert finding.verdict == "fail"
    expected = MovedTarget("mfdd", '"5.8 m/s^2"', '"9.5 m/s^2"', "a softer surface")
    assert results.by_hand.targets == (expected,)


def test_a_target_the_sheet_does_not_have_is_added(plain: Checked) -> None:
    assert not plain.survey.drive.sheet.targets.named("fade")
    results = with_edits(plain, moved("fade", '"75 %"')).results
    assert any(f.id == "fade" for f in results.findings)
    assert results.by_hand.targets[0].was is None


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("mfdd", "5.0 kg", '^targets, mfdd: "5.0 kg" is a mass; expected an acceleration'),
        ("mfdd", '{over = "1 mph"}', "^targets, mfdd: a table"),
        ("brakes", "5", "^targets, brakes: unknown key"),
        ("mfdd", '"5 m/s^2" fade = "75 %"', "^targets, line 1"),
        ("mfdd", "", "nothing; expected a value"),
        ("standing", '{to = "60 mph", at_most = "12 kg"}', "standing.*at_most"),
    ],
)
def test_a_target_is_refused_as_the_build_sheet_refuses_it(name: str, text: str, said: str) -> None:
    with pytest.raises((InputError, InputErrors), match=said):
        edits.target(name, text, "why")


def test_a_reason_is_asked_for(plain: Checked) -> None:
    with pytest.raises(InputError, match="left out without a reason"):
        edits.left_out(plain, "stop-3", " \n ")
    with pytest.raises(InputError, match="moved without a reason"):
        edits.target("mfdd", "5 m/s^2", "")
    with pytest.raises(InputError, match="301 letters; expected at most 300"):
        edits.left_out(plain, "stop-3", "x" * 301)


def test_odometer_and_inspection_are_entered(plain: Checked) -> None:
    row = edits.odometer(plain, "41216.9", "end")
    entered = Edits().put(("odometer", row.time), row)
    entered = entered.put(("inspection", "horn"), edits.inspection("horn", "fail"))
    results = with_edits(plain, entered).results
    assert len(results.odometer.readings) == len(plain.results.odometer.readings) + 1
    assert ("horn", "fail") in [(i.what, i.verdict) for i in results.inspections]
    assert ("Inspection: horn", "fail") in [(f.title, f.verdict) for f in results.findings]
    for text, when in (("many", "end"), ("41216.9", "noon"), ("41216.9", "25:00")):
        with pytest.raises(InputError, match=r"^odometer"):
            edits.odometer(plain, text, when)
    for what, outcome in (("", "pass"), ("horn", "maybe")):
        with pytest.raises(InputError, match=r"^inspection"):
            edits.inspection(what, outcome)


def everything(checked: Checked) -> Edits:
    entered = without(checked, "stop-3", "coast-1", why=NASTY)
    for name, text in (("mfdd", "9.5 m/s^2"), ("speedometer", '{under = "1 mph", over = "3 mph"}')):
        entered = entered.put(("target", name), edits.target(name, text, NASTY))
    entered = entered.put(("reading", "hold-5"), edits.reading(checked, "hold-5", "57"))
    row = edits.odometer(checked, "41216.9", "end")
    entered = entered.put(("odometer", row.time), row)
    return entered.put(("inspection", "x"), edits.inspection(NASTY, "not done"))


def test_what_is_not_found_is_said(plain: Checked) -> None:
    row = NewRow("left out", "stop-3", time="2026-05-02T07:00:00Z", remark="why")
    changed = with_edits(plain, Edits({("left out", "stop-3"): row}))
    assert changed.results.braking == plain.results.braking
    (said,) = changed.results.by_hand.not_found
    assert said == "line 14 leaves out stop-3 at 2026-05-02T07:00:00Z: none there"
    assert said in " ".join(render(changed.results, "mph", colour=False).split())


def test_the_quick_way_gives_what_concluding_anew_gives(plain: Checked) -> None:
    quick = with_edits(plain, everything(plain))
    assert quick.results == conclude_with_traces(quick.found, silent).results
    back = with_edits(plain, Edits({("left out", "stop-3"): None}), quick)
    assert back is plain


def test_saved_and_checked_anew_it_is_the_same(plain: Checked, tmp_path: Path) -> None:
    entered = everything(plain)
    folder = tmp_path / SAMPLE
    shutil.copytree(SAMPLES / SAMPLE, folder)
    before = (folder / "notes.csv").read_bytes()
    after = edited_notes(plain, entered)
    assert after.startswith(before)
    (folder / "notes.csv").write_bytes(after)
    drive = read_drive(folder)
    anew = replace(plain, found=replace(plain.found, drive=drive))
    saved = conclude_again(anew, drive)
    quick = with_edits(plain, entered)
    assert saved.results == quick.results
    assert {one.reason for one in saved.results.by_hand.left_out} == {ONE_LINE}
    assert from_json(to_json(saved.results)) == saved.results
    rows = standing(saved, Edits())
    assert {("left out", "stop-3"), ("target", "mfdd"), ("reading", "hold-5")} <= set(rows)
    mine = [key for key in rows if key not in standing(plain, Edits())]
    assert sorted(kind for kind, _ in mine) == sorted(kind for kind, _ in entered.rows)
    undone = Edits(dict.fromkeys(mine))
    kept = edited_notes(saved, undone)
    assert kept.startswith(before)
    assert b"left out" not in kept and b"target" not in kept and b"typed in" not in kept
    assert with_edits(saved, undone).results.by_hand == type(saved.results.by_hand)()


def test_the_search_for_manoeuvres_does_not_look_at_what_was_typed(plain: Checked) -> None:
    notes = with_readings(plain, {"hold-5": "57"}).found.drive.notes
    start_s = plain.found.evidence.start_unix_s
    assert notes is not None and any(row.typed for row in notes.rows)
    assert _dial_read_at(notes, start_s) == _dial_read_at(plain.found.drive.notes, start_s)


def test_console_and_report_say_what_was_left_out_and_why(plain: Checked) -> None:
    entered = without(plain, "stop-3", why="a dog ran out").put(
        ("target", "mfdd"), edits.target("mfdd", "5.0 m/s^2", "drum brakes")
    )
    changed = with_edits(plain, entered)
    said = " ".join(render(changed.results, "mph", colour=False).split())
    assert "stop-3 left out by hand: a dog ran out" in said
    assert 'moved by hand to "5.0 m/s^2" (was "5.8 m/s^2"): drum brakes' in said
    printed = str(small_print(changed.results, changed.survey.drive.sheet, "mph", "0"))
    assert "stop-3: left out by hand: a dog ran out" in printed
    assert "drum brakes" in printed
    assert "left out by hand" not in render(plain.results, "mph", colour=False)
