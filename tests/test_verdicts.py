"""Verdicts: the edges of the rule, and several as one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import Limit, Verdict
from roadtest.verdicts import combine, judge

LOW, HIGH, BOTH = Limit(5.8, None, "m"), Limit(None, 10.0, "m"), Limit(5.8, 10.0, "m")


@pytest.mark.parametrize(
    ("value", "u95", "limit", "verdict"),
    [
        (6.0, 0.1, LOW, "pass"),
        (5.9, 0.25, LOW, "not proven"),
        (5.7, 0.25, LOW, "not proven"),
        (5.0, 0.1, LOW, "fail"),
        (9.0, 0.5, HIGH, "pass"),
        (10.2, 0.5, HIGH, "not proven"),
        (11.0, 0.5, HIGH, "fail"),
        (7.0, 0.5, BOTH, "pass"),
        (5.0, 0.5, BOTH, "fail"),
        (11.0, 0.5, BOTH, "fail"),
        (7.9, 5.0, BOTH, "not proven"),  # an interval wider than the limit proves nothing
    ],
)
def test_whole_interval_inside_passes_wholly_outside_fails(
    value: float, u95: float, limit: Limit, verdict: Verdict
) -> None:
    assert judge(Quantity(value, u95, "m"), limit).verdict == verdict


@pytest.mark.parametrize(
    ("value", "verdict", "probability"),
    [
        (5.8, "pass", 1.0),
        (10.0, "pass", 1.0),
        (math.nextafter(5.8, 0.0), "fail", 0.0),
        (math.nextafter(10.0, 11.0), "fail", 0.0),
    ],
)
def test_an_exact_value_at_the_end_of_the_limit_still_conforms(
    value: float, verdict: Verdict, probability: float
) -> None:
    judgement = judge(Quantity(value, 0.0, "m"), BOTH)
    assert (judgement.verdict, judgement.probability) == (verdict, probability)


def test_an_interval_that_just_touches_the_limit_from_inside_passes_from_outside_does_not() -> None:
    limit = Limit(2.0, 4.0, "m")
    assert judge(Quantity(3.0, 1.0, "m"), limit).verdict == "pass"
    assert judge(Quantity(5.0, 1.0, "m"), limit).verdict == "not proven"  # 4.0 conforms
    assert judge(Quantity(1.0, 1.0, "m"), limit).verdict == "not proven"


@pytest.mark.parametrize("limit", [LOW, Limit(None, 5.8, "m")])
def test_a_value_at_a_one_sided_limit_is_as_likely_inside_as_outside(limit: Limit) -> None:
    judgement = judge(Quantity(5.8, 0.3, "m"), limit)
    assert judgement.verdict == "not proven"
    assert judgement.probability == pytest.approx(0.5, abs=1e-12)


def test_an_interval_that_ends_at_a_one_sided_limit_has_97_5_percent() -> None:
    judgement = judge(Quantity(3.0, 1.0, "m"), Limit(2.0, None, "m"))
    assert judgement.probability == pytest.approx(0.975, abs=1e-7)


def test_an_uncertainty_too_small_to_divide_by_is_taken_as_none() -> None:
    assert judge(Quantity(7.0, 5e-324, "m"), BOTH).probability == 1.0


def test_different_units_are_not_compared() -> None:
    with pytest.raises(ValueError, match=r"m/s.*mph"):
        judge(Quantity(1.0, 0.1, "m/s"), Limit(0.0, 1.0, "mph"))


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    value=st.floats(-100, 100),
    u95=st.floats(1e-4, 50),
    ends=st.tuples(st.floats(-100, 100), st.floats(-100, 100)).map(sorted),
)
def test_probability_and_verdict_agree(value: float, u95: float, ends: list[float]) -> None:
    judgement = judge(Quantity(value, u95, "m"), Limit(ends[0], ends[1], "m"))
    assert 0.0 <= judgement.probability <= 1.0
    if judgement.verdict == "pass":
        assert judgement.probability >= 0.95 - 1e-9  # both ends at the edge
    if judgement.verdict == "fail":
        assert judgement.probability <= 0.025 + 1e-9


def test_probability_against_the_error_function_written_out() -> None:
    u = 0.7 / COVERAGE_FACTOR_95
    wanted = 0.5 * (math.erf((10.0 - 9.6) / u / 2**0.5) - math.erf((5.8 - 9.6) / u / 2**0.5))
    assert judge(Quantity(9.6, 0.7, "m"), BOTH).probability == pytest.approx(wanted, abs=1e-14)


@pytest.mark.parametrize(
    ("verdicts", "together"),
    [
        ([], "not proven"),
        (["pass", "pass"], "pass"),
        (["pass", "not proven"], "not proven"),
        (["not proven"], "not proven"),
        (["not proven", "fail", "pass"], "fail"),
    ],
)
def test_several_verdicts_as_one(verdicts: list[Verdict], together: Verdict) -> None:
    assert combine(verdicts) == together
    assert combine(iter(verdicts)) == together
