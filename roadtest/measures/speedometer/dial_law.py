"""The dial's law: indicated = scale · true + offset, a possible bend, and what follows at a speed.

The straight line is the one reported. For what the dial shows at other speeds a slight bend is
allowed for as well, so that an answer far from the speeds held is less sure than one between them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.straight_line import (
    Curvature,
    StraightLine,
    UnsettledError,
    curvature,
    fit_line,
)
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity

Floats = NDArray[np.float64]

WHOLE_DIAL_MPS: Final = 40.0  # 90 mph: the range a dial's straightness is spoken of over

SOUND_BOW_GRADUATIONS: Final = 0.5
"""Standard deviation of a sound dial's bend over the whole dial: within one graduation, 95 %
(common practice, no published source)."""

BENT_P_VALUE: Final = 0.05  # a bend less likely than this by chance is taken as it was found
_ANY_BOW_MPS: Final = 10.0
_APART_MPS: Final = 2.0
"""Least spread of the speeds held, m/s (4.5 mph), for a line: below it, scale and offset say
nothing apart. Our choice."""


@dataclass(frozen=True)
class DialPoints:
    """What the fit rests on. Arrays are [n], m/s; u are standard uncertainties."""

    true_mps: Floats
    indicated_mps: Floats
    u_true_mps: Floats
    u_indicated_mps: Floats

    @property
    def spread_out(self) -> bool:
        """Whether the speeds held are far enough apart for a line."""
        return self.true_mps.size >= 2 and bool(np.ptp(self.true_mps) >= _APART_MPS)

    @property
    def levels(self) -> int:
        """How many speeds there are that differ enough to tell a bend by."""
        ordered, count, last = np.sort(self.true_mps), 0, -np.inf
        for speed in ordered.tolist():
            if speed - last >= _APART_MPS:
                count, last = count + 1, speed
        return count


@dataclass(frozen=True)
class DialLaw:
    """What the dial shows at a true speed v: offset + scale · v + bow · (1 - ((v - c) / c)²).

    c is the middle of the whole dial, so bow is the bend's height over its chord there. `mean` [3]
    and `covariance` [3, 3] are of offset, scale and bow; the speeds held run from `lowest_mps` to
    `highest_mps`.
    """

    mean: Floats
    covariance: Floats
    lowest_mps: float
    highest_mps: float

    def draws(self, count: int, rng: np.random.Generator) -> Floats:
        """Return [count, 3]: draws of offset, scale and bow that belong together."""
        return rng.multivariate_normal(self.mean, self.covariance, count, method="cholesky")

    def shown_at(self, true_mps: Floats) -> tuple[Floats, Floats]:
        """Return what the dial shows at true speeds (any shape) and its standard uncertainty."""
        terms = _terms(true_mps)
        variance = np.einsum("...i,ij,...j->...", terms, self.covariance, terms)
        return terms @ self.mean, np.sqrt(np.maximum(variance, 0.0))

    def error_at(self, true_mps: float) -> Quantity:
        """Return indicated minus true speed at a true speed, m/s."""
        shown, u = self.shown_at(np.array([true_mps]))
        return Quantity(float(shown[0]) - true_mps, COVERAGE_FACTOR_95 * float(u[0]), "m/s")

    def beyond(self, true_mps: float) -> bool:
        """Return whether a speed lies outside those held."""
        return not self.lowest_mps - 0.5 <= true_mps <= self.highest_mps + 0.5


@dataclass(frozen=True)
class DialFit:
    """The straight line through the readings, the bend about it, and the law for other speeds."""

    points: DialPoints
    line: StraightLine
    bend: Curvature | None  # three speeds or more
    law: DialLaw

    @property
    def scale(self) -> Quantity:
        """Indicated over true, the offset apart."""
        return Quantity(self.line.slope, COVERAGE_FACTOR_95 * self.line.u_slope, "1")

    @property
    def offset(self) -> Quantity:
        """What the dial shows at rest by the line, m/s."""
        return Quantity(self.line.intercept, COVERAGE_FACTOR_95 * self.line.u_intercept, "m/s")

    @property
    def bow(self) -> Quantity | None:
        """Height of the bend over its chord, lowest to highest speed held, m/s."""
        if self.bend is None:
            return None
        return Quantity(self.bend.bow, COVERAGE_FACTOR_95 * self.bend.u_bow, "m/s")


def shown_by(laws: Floats, true_mps: Floats) -> Floats:
    """Return [count, k]: what each of the laws [count, 3] shows at each true speed [k], m/s."""
    return np.asarray(laws @ _terms(true_mps).T)


def fit_dial(points: DialPoints, graduation_mps: float) -> DialFit | None:
    """Return the dial's law, None when the speeds held don't fix a line.

    The line: errors in both variables (`straight_line.fit_line`). The law: weighted least squares
    with the line's weights, the bow held near 0 as far as a sound dial of this graduation is
    straight, or as it comes where the readings show a bend.
    """
    if not points.spread_out:
        return None
    try:
        line = fit_line(
            points.true_mps, points.indicated_mps, points.u_true_mps, points.u_indicated_mps
        )
    except UnsettledError:  # readings that no dial shows: typed in beside the wrong holds
        return None
    bend = None
    if points.levels >= 3:
        bend = curvature(
            points.true_mps, points.indicated_mps, points.u_true_mps, points.u_indicated_mps
        )
    bent = bend is not None and bend.p_value < BENT_P_VALUE
    u_bow = _ANY_BOW_MPS if bent else SOUND_BOW_GRADUATIONS * graduation_mps
    return DialFit(points, line, bend, _law(points, line.slope, u_bow))


def _law(points: DialPoints, slope: float, u_bow_mps: float) -> DialLaw:
    terms = _terms(points.true_mps)
    weight = 1.0 / (points.u_indicated_mps**2 + (slope * points.u_true_mps) ** 2)
    information = (terms.T * weight) @ terms
    information[2, 2] += 1.0 / u_bow_mps**2
    covariance = np.linalg.inv(information)
    return DialLaw(
        mean=covariance @ (terms.T @ (weight * points.indicated_mps)),
        covariance=0.5 * (covariance + covariance.T),
        lowest_mps=float(points.true_mps.min()),
        highest_mps=float(points.true_mps.max()),
    )


def _terms(true_mps: Floats) -> Floats:
    """Return [..., 3]: what offset, scale and bow are multiplied with at each speed [...]."""
    middle = 0.5 * WHOLE_DIAL_MPS
    arc = 1.0 - ((true_mps - middle) / middle) ** 2
    return np.stack([np.ones_like(true_mps), true_mps, arc], axis=-1)
