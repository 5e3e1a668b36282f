"""GB individual approval: V2 <= V1 <= 1.1 V2 + 6.25 mph for true speeds of 25 to 70 mph.

A press report prints 60 mph true -> at most 72.25 mph shown [read second-hand]; the manual itself
and the range of speeds [value from memory].
"""

import pytest

from roadtest.rules import speedometer_rule
from roadtest.units import from_si, to_si

pytestmark = pytest.mark.source(
    "GB individual vehicle approval, inspection manual for cars, section on the speedometer",
    "one figure read second-hand, the manual from memory",
)

RULE = speedometer_rule("gb-iva")


@pytest.mark.parametrize(
    ("true_mph", "most_mph"),
    [(25, 33.75), (30, 39.25), (40, 50.25), (50, 61.25), (60, 72.25), (70, 83.25)],
)
def test_most_shown_speed(true_mph: float, most_mph: float) -> None:
    true_mps = to_si(true_mph, "mph")
    limit = RULE.error_limits(true_mps)
    assert limit is not None
    assert limit.high is not None
    assert limit.low == 0.0
    assert from_si(true_mps + limit.high, "mph") == pytest.approx(most_mph, abs=1e-9)


def test_allowance_in_kmh_is_not_that_of_un_r39() -> None:
    limit = RULE.error_limits(to_si(50.0, "km/h"))
    assert limit is not None
    assert limit.high is not None
    assert from_si(limit.high, "km/h") == pytest.approx(5.0 + 10.06, abs=0.005)


@pytest.mark.parametrize(
    ("true_mph", "judged"),
    [(0, False), (24.99, False), (25, True), (70, True), (70.01, False), (100, False)],
)
def test_only_25_to_70_mph_is_judged(true_mph: float, judged: bool) -> None:
    assert (RULE.error_limits(to_si(true_mph, "mph")) is not None) is judged


def test_a_shown_speed_does_not_widen_a_range_of_true_speeds() -> None:
    assert RULE.error_limits(to_si(24.0, "mph"), to_si(26.0, "mph")) is None


@pytest.mark.parametrize(
    ("shown_mph", "within"), [(59.99, False), (60.01, True), (72.24, True), (72.26, False)]
)
def test_just_inside_and_just_outside_at_60(shown_mph: float, within: bool) -> None:
    true_mps = to_si(60.0, "mph")
    limit = RULE.error_limits(true_mps)
    assert limit is not None
    assert limit.low is not None
    assert limit.high is not None
    assert (limit.low <= to_si(shown_mph, "mph") - true_mps <= limit.high) is within


def test_any_speed_in_range_will_do_for_the_test() -> None:
    assert RULE.test_speeds(to_si(110.0, "mph")) == ()


def test_basis_says_that_the_manual_was_not_read() -> None:
    assert "read second-hand" in str(RULE.basis)
    assert "the manual itself from memory" in str(RULE.basis)
