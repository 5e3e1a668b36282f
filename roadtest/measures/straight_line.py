"""A straight line through points whose x and y are both uncertain: how a dial follows the truth.

Three kinds of doubt, kept apart: each point's own error in x and y (given, or told by the scatter),
and errors that all points share, which no fit can show and which must be added afterwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MOST_ROUNDS: Final = 200
_SETTLED: Final = 1e-13


@dataclass(frozen=True)
class StraightLine:
    """The line y = intercept + slope * x and how well it is known.

    Units follow from those of x and y. `chi_square` is None when the points' own uncertainty was
    taken from their scatter, for then it tells nothing. `degrees_of_freedom` is n − 2.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    residual_sum_of_squares: float
    chi_square: float | None
    degrees_of_freedom: int

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope; 0 when either is known exactly."""
        scale = self.u_intercept * self.u_slope
        return self.covariance / scale if scale > 0.0 else 0.0

    @property
    def residual_deviation(self) -> float | None:
        """Standard deviation of a point about the line, in units of y; None with two points."""
        if self.degrees_of_freedom == 0:
            return None
        return math.sqrt(self.residual_sum_of_squares / self.degrees_of_freedom)

    def at(self, x: float) -> tuple[float, float]:
        """Return y on the line at `x` and its standard uncertainty (x taken as exact)."""
        variance = self.u_intercept**2 + (x * self.u_slope) ** 2 + 2 * x * self.covariance
        return self.intercept + self.slope * x, math.sqrt(max(variance, 0.0))

    def with_common_errors(self, u_x: float = 0.0, u_y: float = 0.0) -> StraightLine:
        """Return the line when all x share one unknown error, and all y another.

        A common error moves the intercept and never the slope:
        u²(a) = u²(a, fit) + u_y² + (slope · u_x)², covariance unchanged.

        Reference: GUM (JCGM 100:2008), H.3.6, for the common error of y.
        """
        _require_uncertainty(np.array([u_x, u_y]))
        moved = math.hypot(self.u_intercept, u_y, self.slope * u_x)
        return replace(self, u_intercept=moved)


@dataclass(frozen=True)
class Curvature:
    """How far points bend away from a straight line: the term c of a + b·x + c·x².

    `bow` is the height of the arc over its chord, in units of y, from the lowest x to the highest:
    positive when the middle lies above the chord. `p_value` is the probability of a bend at least
    as large, either way, from points that really lie on a line (normal errors of known size).
    """

    value: float
    u: float
    bow: float
    u_bow: float

    @property
    def p_value(self) -> float:
        """Two-sided probability of such a bend by chance."""
        return math.erfc(abs(self.value) / (self.u * math.sqrt(2.0)))


class UnsettledError(ValueError):
    """Points that fix no line: none is much better than others."""


def fit_line(x: Floats, y: Floats, u_x: float | Floats, u_y: float | Floats) -> StraightLine:
    """Return the best line through points whose own errors in x and y are independent and known.

    With u_x = 0 everywhere this is weighted least squares in closed form. Otherwise the slope b is
    iterated: W = 1 / (u_y² + b²·u_x²), x̄ and ȳ the W-means, U = x − x̄, V = y − ȳ,
    β = W·(U·u_y² + b·V·u_x²), b = Σ WβV / Σ WβU; then a = ȳ − b·x̄. The uncertainties are taken at
    the fitted points x̄ + β: u²(b) = 1 / Σ W·(β − β̄)², u²(a) = 1 / Σ W + (x̄ + β̄)²·u²(b),
    cov(a, b) = −(x̄ + β̄)·u²(b).

    Parameters
    ----------
    x, y : [n] float, n ≥ 2, not all x the same
    u_x, u_y : standard uncertainties, one for all points or [n]; no point may have both zero

    Raises ValueError for input that fixes no line, UnsettledError if the slope does not settle.

    Uncertainty: the given ones are believed, whatever the scatter; compare `chi_square` with
    `degrees_of_freedom`. Errors common to all points are left out: see `with_common_errors`.

    Reference: York, Evensen, Martínez and Delgado, American Journal of Physics 72 (2004), 367
    [formulas from memory], errors of one point taken as uncorrelated.
    """
    var_x, var_y = _variances(x, y, u_x, u_y)
    slope = _first_slope(x, y, var_y)
    if np.any(var_x > 0.0):
        slope = _settle(x, y, var_x, var_y, slope)
    weight = _weights(var_x, var_y, slope)
    x_mean, y_mean = np.average(x, weights=weight), np.average(y, weights=weight)
    fitted = x_mean + _shift(x - x_mean, y - y_mean, var_x, var_y, slope)
    centre = float(np.average(fitted, weights=weight))
    var_slope = 1.0 / float(np.sum(weight * (fitted - centre) ** 2))
    intercept = float(y_mean - slope * x_mean)
    residuals = y - intercept - slope * x
    return StraightLine(
        intercept=intercept,
        slope=slope,
        u_intercept=math.sqrt(1.0 / float(weight.sum()) + centre**2 * var_slope),
        u_slope=math.sqrt(var_slope),
        covariance=-centre * var_slope,
        residual_sum_of_squares=float(np.sum(residuals**2)),
        chi_square=float(np.sum(weight * residuals**2)),
        degrees_of_freedom=x.size - 2,
    )


def fit_line_by_scatter(x: Floats, y: Floats) -> StraightLine:
    """Return the least-squares line with exact x and the error of y told by the scatter itself.

    Every y has the same unknown standard uncertainty s, s² = Σ (y − a − b·x)² / (n − 2).

    Parameters: x, y are [n] float, n ≥ 3, not all x the same; ValueError otherwise.

    Uncertainty: s rests on n − 2 degrees of freedom, so an interval needs Student's factor.

    Reference: GUM (JCGM 100:2008), H.3.2, equations (H.13a) to (H.13g) [numbers from memory].
    """
    if x.size < 3:
        raise ValueError(f"the scatter about a line needs three points or more, not {x.size}")
    unit = fit_line(x, y, 0.0, 1.0)
    deviation = math.sqrt(unit.residual_sum_of_squares / unit.degrees_of_freedom)
    return replace(
        unit,
        u_intercept=unit.u_intercept * deviation,
        u_slope=unit.u_slope * deviation,
        covariance=unit.covariance * deviation**2,
        chi_square=None,
    )


def curvature(x: Floats, y: Floats, u_x: float | Floats, u_y: float | Floats) -> Curvature:
    """Return the bend of points about a line; parameters as in `fit_line`, with n ≥ 3.

    Weighted least squares of a + b·(x − x̄) + c·(x − x̄)², each point weighted by
    1 / (u_y² + slope²·u_x²) with the slope of the straight line.

    Valid for: slight bends, where one slope serves for the whole range. Raises ValueError when
    fewer than three x differ.
    """
    if np.unique(x).size < 3:
        raise ValueError("a bend needs points at three different x or more")
    var_x, var_y = _variances(x, y, u_x, u_y)
    weight = _weights(var_x, var_y, fit_line(x, y, u_x, u_y).slope)
    # Centred and scaled to ±1 or so: the normal equations then lose no digits.
    half_range = 0.5 * float(np.ptp(x))
    z = (x - np.average(x, weights=weight)) / half_range
    design = np.sqrt(weight)[:, None] * np.stack([np.ones_like(z), z, z**2], axis=1)
    covariance = np.linalg.inv(design.T @ design)
    bend = float((covariance @ design.T @ (np.sqrt(weight) * y))[2])
    u_bend = math.sqrt(float(covariance[2, 2]))
    # Over a chord of length 2 in z the arc of bend·z² stands −bend above its chord.
    return Curvature(bend / half_range**2, u_bend / half_range**2, 0.0 - bend, u_bend)


def _variances(
    x: Floats, y: Floats, u_x: float | Floats, u_y: float | Floats
) -> tuple[Floats, Floats]:
    """Return the variances of x and y, [n] each; raises ValueError for points that will not do."""
    if x.ndim != 1 or x.shape != y.shape:
        raise ValueError(f"x and y must be equally long, not {x.shape} and {y.shape}")
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise ValueError("x and y must be finite")
    if np.unique(x).size < 2:
        raise ValueError("a line needs points at two different x or more")
    spread_x = np.broadcast_to(np.asarray(u_x, dtype=np.float64), x.shape)
    spread_y = np.broadcast_to(np.asarray(u_y, dtype=np.float64), x.shape)
    _require_uncertainty(spread_x)
    _require_uncertainty(spread_y)
    if np.any((spread_x == 0.0) & (spread_y == 0.0)):
        raise ValueError("a point with no uncertainty in x or y can't be weighted")
    return spread_x**2, spread_y**2


def _require_uncertainty(u: Floats) -> None:
    if not np.all(np.isfinite(u) & (u >= 0.0)):
        raise ValueError("standard uncertainties must be finite and not negative")


def _first_slope(x: Floats, y: Floats, var_y: Floats) -> float:
    """Return the slope of weighted least squares in y alone (unweighted if any y is exact)."""
    weight = 1.0 / var_y if np.all(var_y > 0.0) else np.ones_like(x)
    u = x - np.average(x, weights=weight)
    return float(np.sum(weight * u * y) / np.sum(weight * u**2))


def _settle(x: Floats, y: Floats, var_x: Floats, var_y: Floats, slope: float) -> float:
    """Return the slope that the iteration of York and others settles at."""
    scale = float(np.std(y) / np.std(x))
    for _ in range(_MOST_ROUNDS):
        weight = _weights(var_x, var_y, slope)
        u = x - np.average(x, weights=weight)
        v = y - np.average(y, weights=weight)
        shift = _shift(u, v, var_x, var_y, slope)
        below = float(np.sum(weight * shift * u))
        if below == 0.0:
            break
        last, slope = slope, float(np.sum(weight * shift * v)) / below
        if abs(slope - last) <= _SETTLED * max(abs(slope), scale):
            return slope
    raise UnsettledError("the slope does not settle: the points fix no line")


def _weights(var_x: Floats, var_y: Floats, slope: float) -> Floats:
    variance = var_y + slope**2 * var_x
    if not np.all(variance > 0.0):
        raise ValueError("a point exact in y can't be weighted on a level line")
    return np.asarray(1.0 / variance)


def _shift(u: Floats, v: Floats, var_x: Floats, var_y: Floats, slope: float) -> Floats:
    """Return β, where each point's fitted x lies from the mean."""
    return np.asarray((u * var_y + slope * v * var_x) * _weights(var_x, var_y, slope))
