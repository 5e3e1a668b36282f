"""Fixes between the knots of the chain.

A car's motion over a fifth of a second is known from its states at either end, all but a little.
So a fast log needs no knot at every fix: a fix in between is seen through both neighbouring knots,
and what the motion may stray from that is added to its noise. Fewer knots make the solve cheap,
keep the information matrix well conditioned (over a hundredth of a second the chain is all but
deterministic), and let the sampler move: a path drawn at every hundredth of a second tells its own
jerk so exactly that the next draw can hardly differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.kinematics import SlowError, bridge

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

KNOT_SPACING_S = 0.2
_LEAST_SPACING_S = 0.1
_SLACK_S = 1e-6


def choose_knots(time_s: Floats, cut: Bools) -> Ints:
    """Return which of the fixes at `time_s` [n] are knots: no further apart than they must be.

    The ends of the log and of every cut [n-1] are knots; between them, spacing is at most
    `KNOT_SPACING_S` where the fixes allow it, and at least half of that.
    """
    onward = np.searchsorted(time_s, time_s + KNOT_SPACING_S + _SLACK_S, "right") - 1
    onward += time_s[onward] - time_s < _LEAST_SPACING_S - _SLACK_S
    following = onward.tolist()
    times = time_s.tolist()
    ends = [*np.flatnonzero(cut).tolist(), time_s.size - 1]
    chosen: list[int] = []
    for first, last in zip([0, *(end + 1 for end in ends)], ends, strict=False):
        stretch = [first]
        while stretch[-1] < last:
            stretch.append(min(following[stretch[-1]], last))
        if len(stretch) > 2 and times[last] - times[stretch[-2]] < _LEAST_SPACING_S - _SLACK_S:
            del stretch[-2]
        chosen += stretch
    return np.array(chosen, dtype=np.int64)


@dataclass(frozen=True)
class _Round:
    """The fixes [f] that come at the same place after their knot, reached one from another."""

    fixes: Ints
    after: Ints  # the fix or knot before, as a fix
    until: Ints  # the knot after, as a fix
    near: Floats  # [f, k, k], share of the states before
    far: Floats  # of the states at the knot after
    root: Floats  # S with S·Sᵀ the covariance of what is left, for a jerk intensity of 1


class Between:
    """How the states at all fixes follow from those at the knots."""

    def __init__(self, time_s: Floats, pick: Ints, with_position: bool) -> None:
        """Prepare for fixes at `time_s` [n], of which `pick` are knots."""
        n = time_s.size
        self.pick = pick
        self.interval = np.clip(
            np.searchsorted(pick, np.arange(n), "right") - 1, 0, max(pick.size - 2, 0)
        )
        inner = np.ones(n, dtype=bool)
        inner[pick] = False
        self.inner = np.flatnonzero(inner)
        before, after = pick[self.interval[inner]], pick[self.interval[inner] + 1]
        self.since_s = time_s[inner] - time_s[before]
        self.until_s = time_s[after] - time_s[inner]
        whole = bridge(self.since_s, self.until_s, with_position)
        self.near, self.far, self.stray = whole.near, whole.far, whole.covariance
        self._rounds = [
            self._round(time_s, self.inner[rank == k], with_position)
            for rank in [self.inner - before]
            for k in range(1, int(rank.max(initial=0)) + 1)
        ]

    def _round(self, time_s: Floats, fixes: Ints, with_position: bool) -> _Round:
        until = self.pick[self.interval[fixes] + 1]
        step = bridge(
            time_s[fixes] - time_s[fixes - 1], time_s[until] - time_s[fixes], with_position
        )
        return _Round(fixes, fixes - 1, until, step.near, step.far, step.root)

    def mean(self, states: Floats) -> Floats:
        """Return the mean states [c, n, k] at all fixes, given those at the knots."""
        every = self._spread_out(states)
        if self.inner.size:
            left = self.interval[self.inner]
            every[:, self.inner] = np.einsum("fij,cfj->cfi", self.near, states[:, left])
            every[:, self.inner] += np.einsum("fij,cfj->cfi", self.far, states[:, left + 1])
        return every

    def draw(self, states: Floats, intensity: Floats, rng: np.random.Generator) -> Floats:
        """Return a joint draw of the states [c, n, k] at all fixes, given those at the knots."""
        every = self._spread_out(states)
        for step in self._rounds:
            kick = rng.standard_normal((states.shape[0], step.fixes.size, states.shape[2]))
            kick *= np.sqrt(intensity[self.interval[step.fixes]])[:, None]
            drawn = np.einsum("fij,cfj->cfi", step.root, kick)
            drawn += np.einsum("fij,cfj->cfi", step.near, every[:, step.after])
            drawn += np.einsum("fij,cfj->cfi", step.far, every[:, step.until])
            every[:, step.fixes] = drawn
        return every

    def _spread_out(self, states: Floats) -> Floats:
        every = np.empty((states.shape[0], self.interval.size, states.shape[2]))
        every[:, self.pick] = states
        return every

    def covariance(self, own: Floats, onward: Floats, intensity: Floats) -> Floats:
        """Return the covariances [n, k, k] at all fixes.

        Parameters
        ----------
        own : [p, k, k] float, at the knots
        onward : [p-1, k, k] float, of each knot (rows) but the first with the one before (columns)
        intensity : [p-1] float, of the jerk between knots
        """
        every = np.empty((self.interval.size, *own.shape[1:]))
        every[self.pick] = own
        if self.inner.size:
            left = self.interval[self.inner]
            cross = self.far @ onward[left] @ self.near.transpose(0, 2, 1)
            total = self.near @ own[left] @ self.near.transpose(0, 2, 1)
            total += self.far @ own[left + 1] @ self.far.transpose(0, 2, 1)
            total += cross + cross.transpose(0, 2, 1)
            every[self.inner] = total + self.stray * intensity[left][:, None, None]
        return every

    def gather(self, weights: Floats) -> Floats:
        """Return weights [c, p, k] at the knots that stand for `weights` [c, n, k] at all fixes."""
        at_knots = weights[:, self.pick]
        left = self.interval[self.inner]
        inner = weights[:, self.inner]
        for axis, row in enumerate(at_knots):
            np.add.at(row, left, np.einsum("fij,fi->fj", self.near, inner[axis]))
            np.add.at(row, left + 1, np.einsum("fij,fi->fj", self.far, inner[axis]))
        return at_knots

    def slow_shares(self, error: SlowError) -> tuple[Floats, Floats, Floats]:
        """Return, for each inner fix, the slow error's share of either knot, and what is left."""
        since, until = self.since_s / error.memory_s, self.until_s / error.memory_s
        whole = -np.expm1(-2.0 * (since + until))
        near = np.exp(-since) * -np.expm1(-2.0 * until) / whole
        far = np.exp(-until) * -np.expm1(-2.0 * since) / whole
        left = error.sd**2 * -np.expm1(-2.0 * since) * -np.expm1(-2.0 * until) / whole
        return near, far, left
