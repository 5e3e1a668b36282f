"""What a log shows elsewhere over as long a time as a gap: ways, and how cars get round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from roadtest.motion.routes import Routes

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
RouteM = TypeVar("RouteM", float, Floats)

_ROUNDABOUT: Final = (0.1, 10.0)
"""A way longer than the route by so much, as a share and in metres, is another (our choice)."""
_LIKE_MPS2: Final = 0.25
"""Of the gap's length: so far its mean speed may be from that at its ends, at 1 m/s² to the middle
and back (our choice)."""
_ENOUGH: Final = 3.0  # independent stretches, to tell how far the speeds at the ends go
_LEAST_DOF: Final = 4.0
"""With nothing like it in the log. Ways are bounded, by nothing and by the top speed."""
_MOST_DOF: Final = 10.0  # a foot on the brake is not normal


@dataclass(frozen=True)
class Student:
    """A Student's t distribution."""

    middle: float
    scale: float
    dof: float

    def density(self, at: Floats) -> Floats:
        """Return the probability density [n] at some values."""
        dof = self.dof
        whole = np.exp(gammaln(0.5 * (dof + 1.0)) - gammaln(0.5 * dof)) / np.sqrt(np.pi * dof)
        off = (at - self.middle) / self.scale
        return np.asarray(whole / self.scale * (1.0 + off**2 / dof) ** (-0.5 * (dof + 1.0)))


def least_roundabout_m(route_m: RouteM) -> RouteM:
    """Return from where on a way between two places is another than the route."""
    share, metres = _ROUNDABOUT
    return (1.0 + share) * route_m + metres


@dataclass(frozen=True)
class Elsewhere:
    """Stretches [w] of a log that are as long in time as a gap, between fixes without gaps."""

    way_m: Floats
    routes: Routes
    speed_mps: Floats  # mean of both ends
    share: float  # of one that is independent of the others, for they overlap

    @property
    def roundabout(self) -> Bools:
        """[w], True where the car went by another way than the route."""
        return np.asarray(self.way_m > least_roundabout_m(self.routes.way_m))

    def chance_of_roundabout(self, kind: int, prior: float) -> float:
        """Return the share of stretches that went by another way, of those with such a route.

        `prior` counts as one stretch.
        """
        alike = self.routes.kind == kind
        count = float(alike.sum()) * self.share
        other = float((alike & self.roundabout).sum()) * self.share
        return (other + prior) / (count + 1.0)

    def ways(
        self, speed_mps: float, gap_s: float, top_speed_mps: float, roundabout: bool
    ) -> Student:
        """Return how far the car goes in the time, between ends at such a mean speed.

        As far as on other stretches with like speeds at their ends, and a share of what they
        differ by further: all of it over a short gap, little over a long one. Stretches by the
        route or by another way are told apart as far as there are some of them: half of one
        belongs to both. Before any is seen, the mean speed is anything up to the top speed.
        """
        unlike_m = (self.speed_mps - speed_mps) * gap_s
        weight = self.share * np.exp(-0.5 * (unlike_m / (_LIKE_MPS2 * gap_s**2)) ** 2)
        follows = 0.5
        if self.way_m.size * self.share > _ENOUGH:
            covariance = np.cov(unlike_m, self.way_m)
            follows = float(np.clip(covariance[0, 1] / max(covariance[0, 0], 1e-9), 0.0, 1.0))
        way = self.way_m - follows * unlike_m
        unseen = Student(speed_mps * gap_s, top_speed_mps * gap_s / 6.0, _LEAST_DOF)
        every = _updated(unseen, way, weight)
        own = self.roundabout == roundabout
        found = _updated(every, way[own], weight[own])
        wider = np.sqrt(1.0 + 1.0 / (0.5 + weight[own].sum()))
        return Student(found.middle, found.scale * float(wider), found.dof)

    def excess(self, kind: int, expected: tuple[Floats, Floats], at_least: bool) -> Student:
        """Return by how much, in standard uncertainties, ways by such a route exceed it.

        Parameters
        ----------
        expected : what each [w] exceeds its route by, m, and its standard uncertainty: as it is
            before the log is asked, which counts as one stretch
        at_least : whether the ways come from the same places, so that they can't show their errors
        """
        own = (self.routes.kind == kind) & ~self.roundabout & (self.way_m > 1.0)
        mean, u = (row[own] for row in expected)
        off = (self.way_m - self.routes.way_m)[own]
        off = (off - mean) / u
        count = off.size * self.share
        middle = self.share * float(off.sum()) / (count + 1.0)
        square = self.share * float(((off - middle) ** 2).sum()) + middle**2
        variance = (1.0 + square) / (1.0 + count)
        if at_least:
            variance = max(variance, 1.0)
        scale = float(np.sqrt(variance * (1.0 + 1.0 / (1.0 + count))))
        return Student(middle, scale, _LEAST_DOF + count)


def _updated(before: Student, values: Floats, weight: Floats) -> Student:
    """Return what weighted values leave of a distribution that itself counts as half a value."""
    count = float(weight.sum())
    middle = (0.5 * before.middle + float(weight @ values)) / (0.5 + count)
    square = 0.5 * (before.scale**2 + (middle - before.middle) ** 2)
    square += float(weight @ (values - middle) ** 2)
    dof = min(_LEAST_DOF + count, _MOST_DOF)
    return Student(middle, float(np.sqrt(square / (0.5 + count))), dof)
