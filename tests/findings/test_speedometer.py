"""The dial against its target."""

from __future__ import annotations

import math

import numpy as np
import pytest

from roadtest.findings.speedometer import judge_reading
from roadtest.results import Reading, Results
from roadtest.rules import speedometer_rule
from tests.findings.cases import MPH, case, mph, only, readings

R39 = 'speedometer = "un-r39"'


def phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def reading(shown: float, true: float, u: float) -> Reading:
    """Return a reading in mph whose error has standard uncertainty `u`; all of it the dial's."""
    error = mph(shown - true, 1.959964 * u)
    return Reading("hold-1", mph(shown, error.u95 / MPH), mph(true), error)


def test_worked_decision_under_un_r39() -> None:
    # Dial 60 mph, true 59.5 mph, u = 0.6 mph: 0.798, not proven. True 58.2: 0.9987, pass.
    rule = speedometer_rule("un-r39")
    doubtful, good = (judge_reading(reading(60.0, true, 0.6), rule) for true in (59.5, 58.2))
    assert doubtful is not None
    assert good is not None
    assert (doubtful.verdict, round(doubtful.probability or 0.0, 3)) == ("not proven", 0.798)
    assert (good.verdict, round(good.probability or 0.0, 4)) == ("pass", 0.9987)


def test_the_upper_limit_of_un_r39_is_met_from_52_29_mph_on() -> None:
    rule = speedometer_rule("un-r39")
    for true, verdict in ((52.28, "fail"), (52.30, "pass")):
        item = judge_reading(reading(60.0, true, 1e-6), rule)
        assert item is not None
        assert item.verdict == verdict


def test_a_limit_that_grows_with_true_speed_widens_the_interval() -> None:
    # By drawing: shown = 60 exactly, true normal about 52.4 mph; conforming: shown <= 1.1 T + c.
    u_true = 0.5
    made = Reading("hold-1", mph(60.0), mph(52.4, 1.96 * u_true), mph(7.6, 1.96 * u_true))
    item = judge_reading(made, speedometer_rule("un-r39"))
    assert item is not None
    true = np.random.default_rng(1).normal(52.4, u_true, 400_000)
    share = float(np.mean(1.1 * true + 4.0 / 1.609344 >= 60.0))
    assert item.probability == pytest.approx(share, abs=4.0 * math.sqrt(0.25 / 400_000))


def test_all_holds_inside_pass() -> None:
    finding = only(case(R39, readings((30.0, 28.0), (50.0, 47.5), (75.0, 72.0))))
    assert finding.verdict == "pass"
    assert finding.title == "Speedometer: UN R39 (type approval)"
    assert finding.reason.startswith("All 3 holds pass. hold-1: even the end of its interval, 1.0")
    assert finding.to_settle is None
    assert "the speedometer's temperature" in finding.not_shown


def test_one_hold_outside_fails_all() -> None:
    finding = only(case(R39, readings((30.0, 28.0), (50.0, 53.0), (75.0, 72.0))))
    assert finding.verdict == "fail"
    assert finding.measured is not None
    assert finding.measured.value == pytest.approx(-3.0 * MPH)
    assert "Of 3 holds, 1 failed, 2 passed" in finding.reason
    assert "hold-2: even the better end of its interval, -2.0 mph, is 2.0 mph outside" in (
        finding.reason
    )


def test_one_hold_in_doubt_leaves_it_open_and_says_how_to_settle_it() -> None:
    finding = only(case(R39, readings((30.0, 28.0), (50.0, 49.5), (75.0, 72.0))))
    assert finding.verdict == "not proven"
    assert finding.probability == pytest.approx(phi(0.5 * 1.959964), abs=1e-3)
    assert finding.to_settle == (
        "4 holds or more, 50 mph on the dial steady for 20 s, the reading noted to a quarter of a "
        "division."
    )


def test_speeds_that_a_rule_does_not_speak_of_are_named_and_not_judged() -> None:
    results = readings((20.0, 22.0), (50.0, 48.0), (90.0, 80.0))
    finding = only(case('speedometer = "gb-iva"', results))
    assert [item.manoeuvre for item in finding.items] == ["hold-2"]
    assert finding.verdict == "pass"
    assert "hold-1 at 22 mph, hold-3 at 80 mph" in finding.reason


def test_a_rule_for_the_shown_speed_sees_the_shown_speed() -> None:
    finding = only(case('speedometer = "us-393.82"', readings((50.0, 60.0))))
    assert finding.verdict == "fail"


def test_only_speeds_outside_a_rule_are_nothing_to_judge() -> None:
    finding = only(case('speedometer = "gb-iva"', readings((20.0, 20.0))))
    assert (finding.verdict, finding.measured) == ("not proven", None)
    assert "hold-1 at 20 mph" in finding.reason


def test_holds_without_readings_ask_for_them() -> None:
    bare = Results()
    finding = only(case(R39, bare))
    assert finding.verdict == "not proven"
    assert "[indicated]" in (finding.to_settle or "")


def test_an_own_band_is_judged_as_given() -> None:
    target = 'speedometer = {under = "1 mph", over = "3 mph"}'
    finding = only(case(target, readings((50.0, 50.4), u95=0.2)))
    assert (finding.verdict, finding.title) == ("pass", "Speedometer")
    assert finding.limit is not None
    assert (finding.limit.low, finding.limit.high) == pytest.approx((-MPH, 3.0 * MPH))


def test_figures_are_in_the_unit_of_the_build_sheet() -> None:
    made = case(R39, readings((30.0, 28.0)), sheet='units = "km/h"')
    reason = only(made).reason
    assert "km/h" in reason
    assert "mph" not in reason


def test_untried_test_speeds_are_told() -> None:
    made = case(R39, readings((50.0, 48.0)), sheet='[car]\ntop_speed = "160 km/h"')
    assert "test speeds, 24.9 mph and 74.6 mph were not driven." in only(made).reason
