"""How the motion and the slow errors go from one knot to the next.

The car's acceleration is driven by a jerk that forgets itself over `JERK_MEMORY_S` (the model of
R. A. Singer, IEEE Trans. Aerospace and Electronic Systems AES-6, 1970, with jerk in the place of
acceleration; value from memory). Over spans much longer than that it is white jerk, the integrated
random walk of acceleration; over shorter ones acceleration is smooth, as a car's is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

JERK_MEMORY_S = 0.15
"""A foot on a pedal, a clutch, a tyre's carcass: each changes acceleration over 0.1 to 0.3 s.
Common practice, no published source."""


@dataclass(frozen=True)
class SlowError:
    """A slowly wandering (Ornstein-Uhlenbeck) part of what the receiver says."""

    sd: float  # stationary standard deviation, in the unit measured
    memory_s: float

    def covariance(self, time_s: Floats) -> Floats:
        """Return the covariance [n, n] of this error at `time_s` [n]."""
        apart = np.abs(time_s[:, None] - time_s)
        return np.asarray(self.sd**2 * np.exp(-apart / self.memory_s))


def wandering(time_s: Floats, errors: Iterable[SlowError]) -> Floats:
    """Return the covariance [n, n] of several such errors together."""
    return np.asarray(sum(error.covariance(time_s) for error in errors))


@dataclass(frozen=True)
class Steps:
    """Transitions of one kinematic axis over n-1 intervals, for a jerk intensity of 1 (m/s³)²·s.

    States are [position,] speed, acceleration, jerk: k of them. Of the intervals many are alike:
    there are u kinds, and `which` tells that of each.
    """

    which: Ints  # [n-1]
    interval_s: Floats  # [u]
    forward: Floats  # F [u, k, k]
    precision: Floats  # Q⁻¹ [u, k, k]


def kinematic_steps(intervals_s: Floats, with_position: bool) -> Steps:
    """Return the transitions over `intervals_s` [n-1] float, s, all positive."""
    kinds, which = np.unique(np.round(intervals_s, 7), return_inverse=True)
    precision = _inverse(_covariance(kinds, with_position))
    return Steps(which.astype(np.int64), kinds, _forward(kinds, with_position), precision)


@dataclass(frozen=True)
class Bridge:
    """States at a moment between two others, given those: near·before + far·after + the rest.

    Of n such moments many are alike: there are u kinds, and `which` tells that of each.
    """

    which: Ints  # [n]
    since_s: Floats  # [u]
    until_s: Floats  # [u]
    near: Floats  # [u, k, k]
    far: Floats  # [u, k, k]
    covariance: Floats  # [u, k, k], of the rest, for a jerk intensity of 1
    root: Floats  # [u, k, k], S with S·Sᵀ = covariance


def bridge(since_s: Floats, until_s: Floats, with_position: bool) -> Bridge:
    """Return the bridges over `since_s` + `until_s` [n] float, s, all positive.

    covariance = (Q(s)⁻¹ + F(u)ᵀ·Q(u)⁻¹·F(u))⁻¹, far = covariance·F(u)ᵀ·Q(u)⁻¹,
    near = F(s) − far·F(s+u), so that motion without jerk is bridged exactly.
    """
    moments, which = np.unique(
        np.round(since_s, 7) + 1j * np.round(until_s, 7), return_inverse=True
    )
    s, u = moments.real, moments.imag
    after = _forward(u, with_position)
    told_before = _inverse(_covariance(s, with_position))
    told_after = after.transpose(0, 2, 1) @ _inverse(_covariance(u, with_position))
    rest = _inverse(told_before + told_after @ after)
    far = rest @ told_after
    near = _forward(s, with_position) - far @ _forward(s + u, with_position)
    return Bridge(which.astype(np.int64), s, u, near, far, rest, _root(rest))


def of_each(kinds: Floats, which: Ints) -> Floats:
    """Return the matrices [k, k, n] of things of `kinds` [u, k, k], given `which` [n] each is.

    Element by element in memory, as `by_state` has states, so that products run along n.
    """
    return np.take(kinds.transpose(1, 2, 0), which, axis=2)


def by_state(states: Floats) -> Floats:
    """Return states [c, n, k] as [k, c, n]: state by state in memory."""
    return np.ascontiguousarray(states.transpose(2, 0, 1))


def _inverse(matrices: Floats) -> Floats:
    """Return the inverses of positive definite [n, k, k] whose units differ by powers of ten."""
    scale = 1.0 / np.sqrt(np.diagonal(matrices, axis1=1, axis2=2))
    outer = scale[:, :, None] * scale[:, None, :]
    inverse = np.linalg.inv(matrices * outer) * outer
    return np.asarray(0.5 * (inverse + inverse.transpose(0, 2, 1)), dtype=np.float64)


def _root(covariance: Floats) -> Floats:
    """Return S [n, k, k] with S·Sᵀ = covariance, whose units may differ by many powers of ten."""
    sd = np.sqrt(np.maximum(np.diagonal(covariance, axis1=1, axis2=2), 1e-300))
    values, vectors = np.linalg.eigh(covariance / (sd[:, :, None] * sd[:, None, :]))
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    return np.asarray(sd[:, :, None] * root, dtype=np.float64)


def _forward(h: Floats, with_position: bool) -> Floats:
    """Return exp(A·h) [n, k, k] of the kinematic chain."""
    matrix = np.zeros((h.size, 4, 4))
    matrix[:, range(4), range(4)] = 1.0
    matrix[:, 0, 1] = matrix[:, 1, 2] = h
    matrix[:, 0, 2] = 0.5 * h * h
    matrix[:, :, 3] = _jerk_response(h)
    return matrix if with_position else matrix[:, 1:, 1:]


def _jerk_response(s: Floats) -> Floats:
    """Return what a unit of jerk has become after `s` seconds: [..., 4] position … jerk."""
    tau = JERK_MEMORY_S
    x = s / tau
    decay = np.exp(-x)
    acceleration = -tau * np.expm1(-x)
    # Series where the closed forms would cancel.
    small = x < 0.02
    xs = np.where(small, x, 0.0)
    speed = np.where(
        small,
        tau**2 * xs**2 * (0.5 - xs / 6.0 + xs**2 / 24.0),
        tau * s - tau * acceleration,
    )
    position = np.where(
        small,
        tau**3 * xs**3 * (1.0 / 6.0 - xs / 24.0 + xs**2 / 120.0),
        tau * (0.5 * s * s - speed),
    )
    return np.stack([position, speed, acceleration, decay], axis=-1)


def _covariance(h: Floats, with_position: bool) -> Floats:
    """Return Q [n, k, k] = ∫₀ʰ g(s)·g(s)ᵀ ds / memory², g the response to jerk.

    Gauss-Legendre sums over [0, 8 memories] and the rest, so that both the decay and the long
    polynomial part are integrated to rounding.
    """
    nodes, weights = np.polynomial.legendre.leggauss(16)
    first = np.minimum(h, 8.0 * JERK_MEMORY_S)
    total = np.zeros((h.size, 4, 4))
    for start, length in ((np.zeros_like(h), first), (first, h - first)):
        s = start[:, None] + 0.5 * length[:, None] * (nodes + 1.0)
        g = _jerk_response(s)
        w = 0.5 * length[:, None] * weights / JERK_MEMORY_S**2
        total += np.einsum("ns,nsi,nsj->nij", w, g, g)
    return total if with_position else total[:, 1:, 1:]
