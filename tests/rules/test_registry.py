"""Rules are found by the names targets use, and nothing else is."""

import dataclasses
import math

import pytest

from roadtest.rules import BRAKING_RULES, SPEEDOMETER_RULES, braking_rule, speedometer_rule
from roadtest.rules.model import Basis, Status
from roadtest.rules.odometer import ODOMETER_TARGET_BASIS, ODOMETER_TOLERANCES
from roadtest.rules.own_band import own_band
from roadtest.units import to_si


def test_names_are_those_of_the_targets() -> None:
    assert SPEEDOMETER_RULES == ("un-r39", "gb-iva", "us-393.82")
    assert BRAKING_RULES == ("un-r13h", "un-r13-m1", "fmvss-135", "us-393.52", "gb-roadworthiness")


def test_a_rule_is_found_under_its_own_name() -> None:
    assert [speedometer_rule(name).name for name in SPEEDOMETER_RULES] == list(SPEEDOMETER_RULES)
    assert [braking_rule(name).name for name in BRAKING_RULES] == list(BRAKING_RULES)


def test_unknown_name_lists_those_there_are() -> None:
    with pytest.raises(ValueError, match='unknown speedometer rule "un-r13h"; expected one of '):
        speedometer_rule("un-r13h")
    with pytest.raises(ValueError, match='"un-r13h", "un-r13-m1", "fmvss-135"'):
        braking_rule("R13H")


def test_rules_are_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        speedometer_rule("un-r39").name = "other"  # type: ignore[misc]


@pytest.mark.parametrize("speed", [-0.1, math.nan, math.inf])
def test_what_is_no_speed_is_refused(speed: float) -> None:
    for name in SPEEDOMETER_RULES:
        with pytest.raises(ValueError, match="not a speed"):
            speedometer_rule(name).error_limits(speed)
        with pytest.raises(ValueError, match="not a speed"):
            speedometer_rule(name).error_limits(20.0, speed)
        with pytest.raises(ValueError, match="not a speed"):
            speedometer_rule(name).test_speeds(speed)
    for name in BRAKING_RULES:
        with pytest.raises(ValueError, match="not a speed"):
            braking_rule(name).most_stopping_distance_m(speed)


@pytest.mark.parametrize(
    ("shown_mph", "within"), [(59.99, False), (60.01, True), (62.99, True), (63.01, False)]
)
def test_own_band_just_inside_and_just_outside(shown_mph: float, within: bool) -> None:
    limit = own_band(to_si(0.0, "mph"), to_si(3.0, "mph")).error_limits(to_si(60.0, "mph"))
    assert limit is not None
    assert limit.low is not None
    assert limit.high is not None
    error = to_si(shown_mph, "mph") - to_si(60.0, "mph")
    assert (limit.low <= error <= limit.high) is within


def test_own_band_holds_at_every_speed_and_says_whose_it_is() -> None:
    rule = own_band(1.0, 2.0)
    first, last = rule.error_limits(0.0), rule.error_limits(70.0)
    assert first == last
    assert first is not None
    assert (first.low, first.high) == (-1.0, 2.0)
    assert str(rule.basis) == "own target"
    assert rule.test_speeds(40.0) == ()


def test_own_band_may_leave_one_side_open() -> None:
    under, over = own_band(1.0, None).error_limits(20.0), own_band(None, 2.0).error_limits(20.0)
    assert under is not None
    assert over is not None
    assert (under.low, under.high) == (-1.0, None)
    assert (over.low, over.high) == (None, 2.0)


def test_a_band_with_no_tolerance_has_no_minus_zero() -> None:
    limit = own_band(0.0, 0.0).error_limits(20.0)
    assert limit is not None
    assert math.copysign(1.0, limit.low if limit.low is not None else -1.0) == 1.0


@pytest.mark.parametrize("band", [(None, None), (-1.0, 2.0), (1.0, math.nan), (math.inf, 1.0)])
def test_what_is_no_band_is_refused(band: tuple[float | None, float | None]) -> None:
    with pytest.raises(ValueError, match="not a band"):
        own_band(*band)


def test_odometer_tolerances_are_for_comparison_only() -> None:
    assert str(ODOMETER_TARGET_BASIS) == "own target"
    assert [figure.value for figure in ODOMETER_TOLERANCES] == [0.04, 0.04, 0.02, 0.04]
    assert str(ODOMETER_TOLERANCES[0].basis).startswith("StVZO, § 57(3) (read in a stored copy")


def test_every_figure_of_every_rule_tells_its_basis() -> None:
    rules = [speedometer_rule(name) for name in SPEEDOMETER_RULES]
    brakes = [braking_rule(name) for name in BRAKING_RULES]
    figures = [figure for rule in rules for figure in rule.figures]
    figures += [figure for brake in brakes for figure in brake.figures]
    for figure in figures:
        assert figure.basis.document
        assert (figure.value is None) == (figure.unit == "")
    for brake in brakes:
        assert all(step.basis.document for step in brake.decelerations)


def test_basis_without_a_paragraph_has_no_stray_comma() -> None:
    assert str(Basis("49 CFR 393.82", "", Status.READ)) == "49 CFR 393.82 (read in a stored copy)"
