"""What to do next."""

from __future__ import annotations

from dataclasses import replace

from roadtest.build_sheet.model import UNLISTED
from roadtest.findings import Case, Doubt, cautions, judge_all, next_steps
from roadtest.findings.steps import step_that_settles
from roadtest.results import (
    Correction,
    CruiseRow,
    GearingResult,
    Inspection,
    Manoeuvre,
    Reading,
    Remark,
    Results,
    Shown,
    Step,
)
from tests.findings.cases import case, mph, q, readings, stops


def steps_of(made: Case) -> tuple[str, ...]:
    return next_steps(made, judge_all(made))


def test_what_failed_comes_first_brakes_before_dials() -> None:
    weak = stops(q(5.0, 0.2, "m/s²"))
    results = replace(weak, speedometer=readings((50.0, 53.0)).speedometer)
    made = case('speedometer = "un-r39"\nmfdd = "5.8 m/s^2"\nodometer = "4 %"', results)
    steps = steps_of(made)
    assert steps[0].startswith("Look at the brakes")
    assert steps[1].startswith("Correct the speedometer")
    assert steps[2].startswith("Odometer: ")


def test_a_dial_is_corrected_as_the_measure_advises() -> None:
    results = readings((50.0, 53.0))
    correction = Correction("driven_teeth", 21, 20, note="fit the 20-tooth gear in place of 21")
    dial = replace(results.speedometer, corrections=(correction,))
    made = case('speedometer = "un-r39"', replace(results, speedometer=dial))
    assert steps_of(made)[0] == "Fit the 20-tooth gear in place of 21."
    advised = replace(dial, advice="Fit 20 teeth, then check")
    made = case('speedometer = "un-r39"', replace(results, speedometer=advised))
    assert steps_of(made)[0] == "Fit 20 teeth, then check."


def test_targets_that_one_drive_settles_are_told_together() -> None:
    made = case('clutch_slip = "2 %"\ntach = "3 %"\naxle = "1 %"', Results(), "[axle]\nratio = 4\n")
    (together,) = [step for step in steps_of(made) if "Axle" in step]
    assert together.startswith("Axle ratio and tachometer: log the engine speed")


def test_inspections_not_done_are_asked_for_in_one_step() -> None:
    results = Results(inspections=(Inspection("lamps", "not done"), Inspection("horn", "not done")))
    assert steps_of(case("", results)) == ("Look at by hand, before the next drive: lamps; horn.",)


def test_hand_checks_after_several_kinds_of_work_are_asked_for_together() -> None:
    made = case('tach = "3 %"', Results(), '[work]\ndone = ["gearbox", "axle"]\n')
    step = next(step for step in steps_of(made) if step.startswith("Look at by hand"))
    assert "hand checks after work on gearbox, axle" in step
    assert step.count("hand checks") == 1


def test_what_settles_a_finding_is_found_again_among_the_steps() -> None:
    made = case('odometer = "4 %"\ntach = "3 %"', Results())
    findings = judge_all(made)
    steps = next_steps(made, findings)
    for finding in findings:
        number = step_that_settles(finding, findings, steps)
        assert number is not None
        assert finding.title.lower() in steps[number - 1].lower()
    assert step_that_settles(findings[0], findings, ()) is None


def test_a_look_by_hand_comes_before_another_drive() -> None:
    results = Results(inspections=(Inspection("brake hoses", "not done"),))
    steps = steps_of(case('odometer = "4 %"', results))
    assert [step.partition(":")[0] for step in steps] == [
        "Look at by hand, before the next drive",
        "Odometer",
    ]


def test_another_gearbox_is_named() -> None:
    steps = (Step(1, 2, q(1.67, 0.005, "1"), 1.64),)
    gearing = GearingResult(steps=steps, gearbox_shown=Shown("four-speed", 0.99))
    sheet = '[gearbox]\nlabel = "five-speed"\nratios = [3.41, 2.08, 1.40, 1.00, 0.82]\n'
    (step, *_) = steps_of(case('gearbox = "1 %"', Results(gearing=gearing), sheet))
    assert step.startswith('The road shows the "four-speed" gearbox')


def test_what_is_amiss_in_the_files_comes_first() -> None:
    made = replace(case('odometer = "4 %"', Results()), doubts=(Doubt("notes.csv: an hour off"),))
    steps = steps_of(made)
    assert steps[0] == "notes.csv: an hour off."
    assert steps[1].startswith("Odometer: ")


def test_a_figure_that_rests_on_doubtful_readings_says_so() -> None:
    doubts = (Doubt("notes.csv: an hour off"), Doubt("Were km/h and mph mixed up", "speedometer"))
    made = replace(case('speedometer = "un-r39"', readings((80.0, 50.0))), doubts=doubts)
    (finding,) = judge_all(made)
    assert finding.reason.startswith("What was read is in doubt: step 2 of what to do next. ")
    assert steps_of(made)[1] == "Were km/h and mph mixed up."


def test_a_gearbox_without_a_label_is_spoken_of_as_the_sheet_s() -> None:
    steps = (Step(1, 2, q(1.67, 0.005, "1"), 1.64),)
    gearing = GearingResult(steps=steps, gearbox_shown=Shown(UNLISTED, 0.99))
    made = case('gearbox = "1 %"', Results(gearing=gearing), "[gearbox]\nratios = [3.41, 2.08]\n")
    step = steps_of(made)[0]
    assert step.startswith("The road shows another gearbox than any that is named, not the one on")
    (finding,) = judge_all(made)
    assert finding.items[0].what == "that it is the one on the build sheet"


def test_missing_readings_are_asked_for_where_the_hold_is_used() -> None:
    results = readings((50.0, 48.0))
    held = (
        Manoeuvre("hold-8", "hold", 0.0, 9.0),
        Manoeuvre("hold-9", "hold", 0.0, 2.0, used=False),
    )
    more = tuple(Reading(made.id, None, mph(40.0, 0.2)) for made in held)
    dial = replace(results.speedometer, readings=(*results.speedometer.readings, *more))
    made = case('speedometer = "un-r39"', replace(results, speedometer=dial, manoeuvres=held))
    assert steps_of(made)[-1] == (
        "Fill in what the dial showed, if anyone remembers: hold-8 (40 mph true)."
    )


def test_all_well_leaves_nothing_to_do() -> None:
    made = case('mfdd = "5.8 m/s^2"', stops(q(6.5, 0.2, "m/s²")))
    assert steps_of(made) == ()


AXLES = """[gearbox]
ratios = [3.41, 0.82]
[axle]
ratio = 4.22
[[alternatives.axle]]
label = "3.90 axle"
ratio = 3.90
"""
CRUISE = 'cruise_rpm = {speed = "70 mph", at_most = 3450}'


def cruising(shown: str) -> Results:
    rows = (CruiseRow(2, mph(70.0), q(3672.0, 8.0, "r/min")),)
    return Results(gearing=GearingResult(cruise=rows, axle_shown=Shown(shown, 0.98)))


def test_a_busy_engine_is_told_the_axle_it_takes() -> None:
    # 4.22 * 3450 / 3680 = 3.956; 3672 * 3.90 / 4.22 = 3393.6.
    (step,) = steps_of(case(CRUISE, cruising("build sheet"), AXLES))
    assert "it takes an axle of 3.96 or less" in step
    assert 'the "3.90 axle" would give 3394 rpm' in step


def test_an_axle_that_is_not_the_sheets_is_no_ground_for_advice() -> None:
    (step,) = steps_of(case(CRUISE, cruising("3.90 axle"), AXLES))
    assert "it takes an axle" not in step


def test_what_the_log_cannot_tell_apart_is_to_be_measured_by_hand() -> None:
    said = "Engine and road speed alone leave open which it is: a or b. A roll-out would tell."
    told = Remark("gearing", said)
    results = Results(gearing=GearingResult(axle=q(4.22, 0.08)), remarks=(told,))
    made = replace(case('axle = "1 %"', results, AXLES), left_open=frozenset({said}))
    assert told.text in steps_of(made)
    assert told.text not in judge_all(made)[0].reason  # once


def test_cautions_come_with_whatever_asks_for_hard_driving_and_with_nothing_else() -> None:
    doubtful = judge_all(case('mfdd = "5.8 m/s^2"', stops(q(6.0, 0.5, "m/s²"))))
    said = " ".join(cautions(doubtful))
    assert "closed road or private ground" in said
    assert "its limit and its law hold" in said
    assert "pedal goes long or soft" in said
    start = judge_all(case('standing = {to = "60 mph", at_most = "12 s"}', Results()))
    assert "closed road or private ground" in " ".join(cautions(start))
    assert cautions(judge_all(case('mfdd = "5.8 m/s^2"', stops(q(7.0, 0.2, "m/s²"))))) == ()
    assert cautions(judge_all(case('speedometer = "un-r39"', readings((50.0, 53.0))))) == ()
