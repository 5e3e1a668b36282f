"""A measured quantity against a limit, and several verdicts as one."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import Limit, Verdict


@dataclass(frozen=True)
class Judgement:
    """A verdict, and the probability that the true value lies within the limit."""

    verdict: Verdict
    probability: float


def judge(measured: Quantity, limit: Limit) -> Judgement:
    """Return the verdict on `measured`, and its probability of conforming to `limit`.

    Pass where the whole 95 % interval lies inside the limit, fail where all of it lies outside,
    else not proven: a guard band of u95 on both sides of each end. An end of the limit itself
    still conforms. The probability is, with y the measured value and u = u95 / 1.96,

        p = Φ((high - y) / u) - Φ((low - y) / u)

    an open end counting as infinite. It takes the knowledge of the true value to be normal about
    y. An interval from draws that is lopsided has a somewhat different p; the verdict does not
    rest on p. With u95 = 0 the value is taken as known: p is 0 or 1.

    Raises ValueError where measured and limit are in different units.

    Reference: JCGM 106:2012, 7.2 to 7.4 (probability of conformity), 8.3 (guarded decisions)
    [clause numbers and formula from memory].
    """
    if measured.unit != limit.unit:
        raise ValueError(f"measured in {measured.unit}, limit in {limit.unit}")
    low = -math.inf if limit.low is None else limit.low
    high = math.inf if limit.high is None else limit.high
    verdict: Verdict = "not proven"
    if low <= measured.low and measured.high <= high:
        verdict = "pass"
    elif measured.high < low or high < measured.low:
        verdict = "fail"
    return Judgement(verdict, _conforming(measured, low, high))


def combine(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the verdict on a target judged on several manoeuvres.

    Fail when any fails; not proven when none fails but one is not proven, or there is none to
    judge; pass when all pass.
    """
    given = set(verdicts)
    if "fail" in given:
        return "fail"
    return "pass" if given == {"pass"} else "not proven"


def _conforming(measured: Quantity, low: float, high: float) -> float:
    u = measured.u95 / COVERAGE_FACTOR_95
    if u == 0.0:  # known exactly, or so nearly that the division would underflow
        return 1.0 if low <= measured.value <= high else 0.0
    below_high = _normal_cdf((high - measured.value) / u)
    return max(0.0, below_high - _normal_cdf((low - measured.value) / u))


def _normal_cdf(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))
