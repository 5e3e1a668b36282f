"""The difference of one figure between two drives, with its 95 % interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.special import stdtrit

from roadtest.compare.figures import Rests, Sample
from roadtest.compare.model import Change, Difference
from roadtest.quantity import Quantity
from roadtest.results import Results

_PROBABILITY: Final = 0.975  # one end of a 95 % interval


def mean_of(sample: Sample) -> Quantity:
    """Return the mean of a sample's runs with its 95 % interval.

    The runs' own variation (Student's t, from two runs on) and the error of measuring, which is
    taken to be common to all runs of a drive: grade, wind and mass may be. So the interval is never
    too narrow for an error that averages out less than it might, at the price of some width.
    """
    scatter = 0.0
    count = len(sample.values)
    if sample.runs and count > 1:
        scatter = _t95(count - 1) * _deviation(sample.values) / math.sqrt(count)
    return Quantity(_value(sample), math.hypot(scatter, _measuring(sample)), _unit(sample))


def difference(first: Sample, later: Sample, shared: float) -> Difference:
    """Return `later` less `first`; `shared` is the relative error (95 %) they have in common.

    A factor with a relative error r that is the same on both drives has the covariance
    r²·y1·y2, so that

        U² = U1² + U2² - 2·r²·y1·y2

    which for equal figures takes the common part out altogether. Runs vary by themselves: their
    part is t(n1 + n2 - 2)·s·sqrt(1/n1 + 1/n2) with the pooled standard deviation s.

    Reference: JCGM 100:2008, 5.2 (correlated input quantities) [clause from memory]; the pooled
    part is the two-sample test of Student.
    """
    value = _value(later) - _value(first)
    measured = _less_shared(_measuring(first), _measuring(later), shared**2, first, later)
    freedom = len(first.values) + len(later.values) - 2
    scatter = _pooled(first, later) if first.runs and freedom > 0 else 0.0
    total = Quantity(value, math.hypot(measured, scatter), _unit(first))
    if not first.has_interval:
        return Difference(total, "no interval")
    change: Change = "no change shown"
    if abs(value) > total.u95:
        change = "runs differ" if first.runs and freedom == 0 else "changed"
    return Difference(total, change)


def shared_error(first: Results, later: Results, rests_on: Rests | None) -> float:
    """Return the relative error (95 %) that both drives' figures have from one on both sheets.

    Where the two sheets give it differently, one of them was measured anew and nothing is shared.
    """
    if rests_on is None:
        return 0.0
    pair = (
        (first.sheet.circumference, later.sheet.circumference)
        if rests_on == "tyre"
        else (first.sheet.mass, later.sheet.mass)
    )
    given = pair[0]
    return (
        0.0 if given is None or given != pair[1] or given.value == 0.0 else given.u95 / given.value
    )


def _less_shared(u1: float, u2: float, r2: float, first: Sample, later: Sample) -> float:
    y1, y2 = _value(first), _value(later)
    if y1 == 0.0 or y2 == 0.0:
        return math.hypot(u1, u2)
    # No more can be shared than either figure holds: the drive itself may know the factor better.
    r2 = min(r2, (u1 / y1) ** 2 - first.own_error**2, (u2 / y2) ** 2 - later.own_error**2)
    r2 = max(r2, 0.0)
    return math.sqrt(max(u1**2 + u2**2 - 2.0 * r2 * y1 * y2, 0.0))


def _pooled(first: Sample, later: Sample) -> float:
    n1, n2 = len(first.values), len(later.values)
    squares = sum((n - 1) * _deviation(s.values) ** 2 for n, s in ((n1, first), (n2, later)))
    freedom = n1 + n2 - 2
    return _t95(freedom) * math.sqrt(squares / freedom * (1.0 / n1 + 1.0 / n2))


def _t95(freedom: int) -> float:
    return float(stdtrit(freedom, _PROBABILITY))


def _value(sample: Sample) -> float:
    return float(np.mean([figure.value for figure in sample.values]))


def _measuring(sample: Sample) -> float:
    return math.sqrt(float(np.mean([figure.u95**2 for figure in sample.values])))


def _deviation(values: Sequence[Quantity]) -> float:
    return float(np.std([v.value for v in values], ddof=1)) if len(values) > 1 else 0.0


def _unit(sample: Sample) -> str:
    return sample.values[0].unit
