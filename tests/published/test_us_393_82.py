"""49 CFR 393.82: within 5 mph (8 km/h) at 50 mph (80 km/h) [read in a stored copy]."""

import pytest

from roadtest.rules import speedometer_rule
from roadtest.units import from_si, to_si

pytestmark = pytest.mark.source("49 CFR 393.82: within 5 mph at 50 mph", "read in a stored copy")

RULE = speedometer_rule("us-393.82")


def test_five_mph_to_both_sides_at_50_mph() -> None:
    limit = RULE.error_limits(to_si(50.0, "mph"))
    assert limit is not None
    assert limit.low is not None
    assert limit.high is not None
    assert from_si(limit.low, "mph") == pytest.approx(-5.0, abs=1e-12)
    assert from_si(limit.high, "mph") == pytest.approx(5.0, abs=1e-12)
    # The metric figures beside it are rounded: 8 km/h at 80 km/h.
    assert round(from_si(limit.high, "km/h")) == 8
    assert round(from_si(RULE.test_speeds()[0], "km/h")) == 80


@pytest.mark.parametrize(
    ("shown_mph", "within"), [(44.99, False), (45.01, True), (54.99, True), (55.01, False)]
)
def test_just_inside_and_just_outside(shown_mph: float, within: bool) -> None:
    true_mps, shown_mps = to_si(50.0, "mph"), to_si(shown_mph, "mph")
    limit = RULE.error_limits(true_mps, shown_mps)
    assert limit is not None
    assert limit.low is not None
    assert limit.high is not None
    assert (limit.low <= shown_mps - true_mps <= limit.high) is within


@pytest.mark.parametrize(
    ("true_mph", "judged"),
    [(30, False), (47.49, False), (47.5, True), (52.5, True), (52.51, False)],
)
def test_other_speeds_are_not_judged(true_mph: float, judged: bool) -> None:
    assert (RULE.error_limits(to_si(true_mph, "mph")) is not None) is judged


def test_a_dial_far_out_at_50_shown_is_still_judged() -> None:
    true_mps, shown_mps = to_si(38.0, "mph"), to_si(50.0, "mph")
    limit = RULE.error_limits(true_mps, shown_mps)
    assert limit is not None
    assert limit.high is not None
    assert shown_mps - true_mps > limit.high


def test_stated_speed_is_the_only_test_speed() -> None:
    assert [from_si(speed, "mph") for speed in RULE.test_speeds(None)] == pytest.approx([50.0])
