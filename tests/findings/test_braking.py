"""Brakes against their targets."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roadtest.results import BrakingResult, Manoeuvre, Results, StopResult
from tests.findings.cases import case, mph, only, q, stops

A = "m/s²"


def test_every_stop_must_pass() -> None:
    good = only(case('mfdd = "5.8 m/s^2"', stops(q(6.5, 0.2, A), q(6.2, 0.3, A))))
    assert (good.verdict, good.basis) == ("pass", "own target")
    assert good.measured == q(6.2, 0.3, A)  # the one nearest the limit
    weak = only(case('mfdd = "5.8 m/s^2"', stops(q(6.5, 0.2, A), q(5.0, 0.3, A))))
    assert weak.verdict == "fail"
    assert "stop-2: even the better end of its interval, 5.30 m/s², is 0.50 m/s² outside" in (
        weak.reason
    )


def test_a_stop_in_doubt_asks_for_a_faster_log_where_that_helps() -> None:
    # u95 0.9 at 1 Hz is 0.28 at 10 Hz; 0.5 from the limit: the same stop at 10 Hz tells.
    slow = only(case('mfdd = "5.8 m/s^2"', stops(q(6.3, 0.9, A)), rate_hz=1.0))
    assert slow.to_settle == (
        "The same stop again with a 10 Hz log, hard from 60 mph to rest, in both directions of the "
        "same level road."
    )
    # At 10 Hz already: (0.9 / 0.5)² = 3.24, four stops.
    fast = only(case('mfdd = "5.8 m/s^2"', stops(q(6.3, 0.9, A)), rate_hz=10.0))
    assert (fast.to_settle or "").startswith("4 stops or more, hard from 60 mph")


def test_a_figure_on_the_limit_is_not_worth_more_stops() -> None:
    finding = only(case('mfdd = "5.8 m/s^2"', stops(q(5.81, 0.3, A))))
    assert "no sensible number of repeats" in (finding.to_settle or "")


def test_a_stop_not_measured_leaves_it_open() -> None:
    finding = only(case('mfdd = "5.8 m/s^2"', stops(q(6.5, 0.2, A), None)))
    assert finding.verdict == "not proven"
    assert "stop-2 could not be measured" in finding.reason


def test_stops_that_are_not_used_are_not_judged() -> None:
    results = stops(q(6.5, 0.2, A), q(3.0, 0.2, A))
    unused = replace(results.manoeuvres[1], used=False, why_not="no fixes from 3 s to 9 s")
    results = replace(results, manoeuvres=(results.manoeuvres[0], unused))
    assert only(case('mfdd = "5.8 m/s^2"', results)).verdict == "pass"


def test_no_usable_stop_counts_the_reasons() -> None:
    made = tuple(
        Manoeuvre(f"stop-{k}", "stop", 0.0, 1.0, None, False, why)
        for k, why in enumerate(("too slow: a", "too slow: b", "no fixes from 1 s to 2 s"))
    )
    finding = only(case('mfdd = "5.8 m/s^2"', Results(manoeuvres=made)))
    assert finding.reason == "None of 3 stops could be used (2 too slow, 1 no fixes)."


@pytest.mark.parametrize(
    ("first_used", "least"), [("", 4.903325), ("first_used = 2015-01-01\n", 5.687857)]
)
def test_a_rule_that_asks_more_of_newer_cars(first_used: str, least: float) -> None:
    made = case('mfdd = "gb-roadworthiness"', stops(q(6.5, 0.2, A)), sheet=f"[car]\n{first_used}")
    finding = only(made)
    assert finding.limit is not None
    assert finding.limit.low == pytest.approx(least)
    assert "pedal force, and whether the wheels were about to lock" in finding.not_shown


def test_a_rule_that_judges_distance_says_where_its_deceleration_comes_from() -> None:
    finding = only(case('mfdd = "fmvss-135"', stops(q(6.6, 0.1, A))))
    assert finding.verdict == "pass"
    assert "squared term" in finding.basis


def test_stops_slower_than_the_rule_prescribes_are_told() -> None:
    finding = only(case('mfdd = "un-r13h"', stops(q(6.6, 0.1, A), initial=50.0)))
    assert "a stop from 62.1 mph, as the rule prescribes (50 mph driven)" in finding.not_shown


def stopped(*made: StopResult) -> Results:
    return Results(braking=BrakingResult(stops=made))


def test_stopping_distance_is_judged_as_brought_to_the_nominal_speed() -> None:
    stop = StopResult(
        "stop-1",
        initial_speed=mph(58.0, 0.2),
        distance=q(50.0, 0.5, "m"),
        distance_nominal=q(53.5, 0.6, "m"),
        nominal_speed=mph(60.0),
    )
    target = 'stopping_distance = {from = "60 mph", at_most = "52 m"}'
    finding = only(case(target, stopped(stop)))
    assert (finding.verdict, finding.measured) == ("fail", q(53.5, 0.6, "m"))


def test_a_rule_for_every_speed_judges_a_stop_from_another_speed_as_driven() -> None:
    # R13-H: 0.1 v + 0.0060 v² = 27.6 m from 60 km/h.
    stop = StopResult(
        "stop-1", initial_speed=q(60.0 / 3.6, 0.05, "m/s"), distance=q(26.0, 0.5, "m")
    )
    finding = only(case('stopping_distance = "un-r13h"', stopped(stop)))
    assert finding.verdict == "pass"
    assert finding.limit is not None
    assert finding.limit.high == pytest.approx(27.6)


def test_an_own_distance_leaves_a_stop_from_another_speed_out() -> None:
    stop = StopResult("stop-1", initial_speed=mph(40.0, 0.2), distance=q(26.0, 0.5, "m"))
    target = 'stopping_distance = {from = "60 mph", at_most = "52 m"}'
    finding = only(case(target, stopped(stop)))
    assert (finding.verdict, finding.items) == ("not proven", ())
    assert "Too far from 60 mph to be judged: stop-1 from 40.00 ± 0.20 mph" in finding.reason


def test_drift_counts_to_either_side_and_says_which_way() -> None:
    made = tuple(StopResult(f"stop-{k}", drift=q(-1.5 - 0.1 * k, 0.2, "m")) for k in range(3))
    finding = only(case('drift = "1.0 m"', stopped(*made)))
    assert finding.verdict == "fail"
    assert "It pulls to the left" in finding.reason


@pytest.mark.parametrize(
    ("target", "result", "verdict"),
    [
        ('fade = "75 %"', BrakingResult(fade=q(0.76, 0.03)), "not proven"),
        ('fade = "75 %"', BrakingResult(fade=q(0.90, 0.03)), "pass"),
        ('fade = "75 %"', BrakingResult(fade=q(0.60, 0.03)), "fail"),
        ('fade = "75 %"', BrakingResult(), "not proven"),
        ('spread = "10 %"', BrakingResult(spread=q(0.05, 0.02)), "pass"),
        ('spread = "10 %"', BrakingResult(), "not proven"),
    ],
)
def test_fade_and_spread(target: str, result: BrakingResult, verdict: str) -> None:
    finding = only(case(target, Results(braking=result)))
    assert finding.verdict == verdict
    assert finding.to_settle is None or verdict == "not proven"
