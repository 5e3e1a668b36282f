"""What to change on a speedometer, and what it would come to."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.measures.speedometer.advice import advice, as_corrections
from roadtest.measures.speedometer.corrections import Advised, Before, advise
from roadtest.measures.speedometer.dial_law import DialPoints, fit_dial
from roadtest.measures.speedometer.target import dial_target
from roadtest.quantity import Quantity
from roadtest.results import Limit

MPH = 0.44704
HELD = np.array([13.4, 17.9, 22.4, 26.8, 31.3])
CABLE = """
[speedometer]
drive = "cable"
graduation = "2 mph"
driven_teeth = 21
available_driven_teeth = [18, 19, 20, 21, 22, 23]
"""
R39 = '[targets]\nspeedometer = "un-r39"\n'


def sheet_of(text: str) -> BuildSheet:
    return read_build_sheet(text.encode(), "build.toml")


def advised(
    text: str,
    scale: float,
    offset: float = 0.0,
    u: float = 0.05,
    odometer: float | None = None,
    *,
    needle: bool = False,
) -> Advised:
    sheet = sheet_of(text)
    spread = np.full(HELD.size, u)
    fit = fit_dial(DialPoints(HELD, scale * HELD + offset, spread, spread), 2.0 * MPH)
    assert fit is not None
    before = Before(
        fit.law,
        fit.scale,
        dial_target(sheet),
        tuple(HELD.tolist()),
        None if odometer is None else Quantity(odometer, 0.005, "1"),
        None if odometer is None else Limit(0.96, 1.04, "1"),
    )
    return advise(before, sheet.speedometer, np.random.default_rng(3), needle=needle)


def test_a_dial_that_under_reads_gets_the_gear_that_errs_least_and_never_low() -> None:
    found = advised(CABLE + R39, 0.9815, 0.13, odometer=0.966)
    best = as_corrections(found, "mph")[0]
    assert (best.kind, best.present, best.advised) == ("driven_teeth", 21, 20)
    assert best.scale_after is not None
    assert best.scale_after.value == pytest.approx(0.9815 * 21 / 20)
    assert best.findings_after == {"speedometer": "pass", "odometer": "pass"}
    assert best.probability is not None and best.probability > 0.95
    assert "driven gear of 20 teeth in place of 21" in advice(found, "UN R39", "mph")


def test_errors_after_are_those_of_the_dial_at_the_new_cable_speed() -> None:
    best = advised(CABLE + R39, 0.9815, 0.13).changes[0]
    for at in best.errors:
        true = at.speed.value
        assert at.error.value == pytest.approx(0.9815 * 1.05 * true + 0.13 - true, abs=0.03)
        assert at.error.u95 > 0.0
    # The held speeds, and the rule's 40, 80 and 120 km/h.
    assert [at.speed.value for at in best.errors][5:] == pytest.approx(
        [40 / 3.6, 80 / 3.6, 120 / 3.6]
    )
    assert [at.extrapolated for at in best.errors] == [False] * 4 + [True, True, False, True]


def test_a_dial_that_is_inside_is_left_alone() -> None:
    found = advised(CABLE + R39, 1.05, 0.3)
    assert as_corrections(found, "mph") == ()
    assert advice(found, "UN R39", "mph").startswith("Leave it as it is")


def test_when_nothing_brings_it_inside_it_says_so() -> None:
    text = '[speedometer]\ndrive="cable"\ndriven_teeth=21\navailable_driven_teeth=[21, 22]\n' + R39
    found = advised(text, 0.90)
    told = as_corrections(found, "mph")
    assert {c.findings_after["speedometer"] for c in told} == {"fail"}
    said = advice(found, "UN R39", "mph")
    assert "Nothing that can be had" in said
    assert "leaving it as it is comes nearest" in said


def test_when_the_sheet_names_nothing_to_change_it_says_so() -> None:
    found = advised('[speedometer]\ndrive = "cable"\n' + R39, 0.95)
    assert as_corrections(found, "mph") == ()
    assert "names nothing" in advice(found, "UN R39", "mph")


def test_two_changes_together_are_tried_only_when_one_will_not_do() -> None:
    text = (
        '[speedometer]\ndrive="cable"\ndriven_teeth=20\navailable_driven_teeth=[19]\n'
        "available_ratio_adapters=[1.06]\n" + R39
    )
    one = advised(text, 0.97)
    assert all(len(change.option.parts) == 1 for change in one.changes)
    both = advised(text, 0.93)
    best = as_corrections(both, "mph")[0]
    assert best.also is not None
    assert {best.kind, best.also.kind} == {"driven_teeth", "ratio_adapter"}
    assert best.scale_after is not None
    assert best.scale_after.value == pytest.approx(0.93 * 20 / 19 * 1.06)
    assert best.findings_after["speedometer"] == "pass"


def test_an_electronic_head_gets_a_whole_number_of_pulses() -> None:
    text = (
        '[speedometer]\ndrive="electronic"\npulses_per_km=4000\n'
        '[targets]\nspeedometer = {under = "0 mph", over = "3 mph"}\n'
    )
    best = as_corrections(advised(text, 1.15), "mph")[0]
    assert best.kind == "pulses_per_km"
    assert isinstance(best.advised, int)
    # The dial goes as one over the setting: 4600 would make it right, and it may not read low.
    assert 4000 < best.advised < 4600
    assert best.findings_after["speedometer"] == "pass"


def test_a_needle_out_by_a_constant_is_set_down() -> None:
    text = (
        '[speedometer]\ngraduation="2 mph"\n[targets]\nspeedometer={under="1 mph",over="1 mph"}\n'
    )
    assert advised(text, 1.0, 1.6).changes == ()
    best = as_corrections(advised(text, 1.0, 1.6, needle=True), "mph")[0]
    assert best.kind == "needle"
    assert best.advised == pytest.approx(-1.6, abs=0.25)
    assert "down" in best.note


def test_a_needle_that_cannot_be_set_is_left_out_and_a_gps_dial_has_no_gears() -> None:
    fixed = CABLE + "needle_reset = false\n" + R39
    kinds = {k for o in advised(fixed, 0.95, needle=True).changes for k in o.option.kinds}
    assert kinds == {"driven_teeth"}
    gps = CABLE.replace('"cable"', '"gps"') + R39
    assert advised(gps, 0.95, needle=True).changes == ()


def test_without_a_target_what_makes_the_error_smaller_is_told() -> None:
    found = advised(CABLE, 0.95)
    best = as_corrections(found, "mph")[0]
    assert best.advised == 20
    assert best.probability is None
    assert advice(found, "", "mph").startswith("To bring the error down")
    assert as_corrections(advised(CABLE, 1.0), "mph") == ()


def test_a_gear_that_would_spoil_the_odometer_comes_after_one_that_does_not() -> None:
    # Speedometer 3 % low, odometer right: 20 teeth put the odometer 5 % over.
    text = CABLE.replace("driven_teeth = 21\n", "driven_teeth = 21\nturns_per_mile = 1000\n") + R39
    best = as_corrections(advised(text, 0.97, 0.3, odometer=1.0), "mph")[0]
    assert best.kind == "turns_per_mile"
    assert best.findings_after["odometer"] == "pass"


def test_a_head_for_more_turns_a_mile_is_advised_where_the_dial_shows_too_much() -> None:
    cable = '[speedometer]\ndrive = "cable"\ngraduation = "2 mph"\nturns_per_mile = 1000\n'
    band = '[targets]\nspeedometer = {under = "1 mph", over = "1 mph"}\n'
    found = as_corrections(advised(cable + band, 1.08), "mph")
    turns = next(each for each in found if each.kind == "turns_per_mile")
    assert turns.advised is not None and turns.scale_after is not None
    assert 1060 <= turns.advised <= 1100
    assert turns.scale_after.value == pytest.approx(1.08 * 1000 / turns.advised, rel=2e-3)
