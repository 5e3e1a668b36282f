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
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from roadtest.motion.kinematics import SlowError, bridge, by_state, of_each

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

KNOT_SPACING_S = 0.2
_LEAST_SPACING_S = 0.1
_SLACK_S = 1e-6
_AT_ONCE = 65_536  # fixes whose variances are worked out together: bounds the memory it takes


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
    near: Floats  # [k, k, f], share of the states before
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
        self._time_s = time_s
        self._with_position = with_position
        before, after = pick[self.interval[inner]], pick[self.interval[inner] + 1]
        self.bridge = bridge(
            time_s[inner] - time_s[before], time_s[after] - time_s[inner], with_position
        )

    @cached_property
    def _rounds(self) -> list[_Round]:
        """The inner fixes by their place after their knot; only draws at all fixes need them."""
        rank = self.inner - self.pick[self.interval[self.inner]]
        return [self._round(self.inner[rank == k]) for k in range(1, int(rank.max(initial=0)) + 1)]

    def _round(self, fixes: Ints) -> _Round:
        time, until = self._time_s, self.pick[self.interval[fixes] + 1]
        step = bridge(time[fixes] - time[fixes - 1], time[until] - time[fixes], self._with_position)
        near, far, root = (of_each(k, step.which) for k in (step.near, step.far, step.root))
        return _Round(fixes, fixes - 1, until, near, far, root)

    def mean(self, states: Floats) -> Floats:
        """Return the mean states [c, n, k] at all fixes, given those at the knots."""
        every = self._spread_out(states)
        if self.inner.size:
            left, kinds = self.interval[self.inner], self.bridge
            at_knots = by_state(states)
            inner = _times(of_each(kinds.near, kinds.which), at_knots[:, :, left])
            inner += _times(of_each(kinds.far, kinds.which), at_knots[:, :, left + 1])
            every[:, :, self.inner] = inner
        return every.transpose(1, 2, 0)

    def draw(self, states: Floats, intensity: Floats, rng: np.random.Generator) -> Floats:
        """Return a joint draw of the states [c, n, k] at all fixes, given those at the knots."""
        every = self._spread_out(states)
        for step in self._rounds:
            kick = rng.standard_normal((states.shape[0], step.fixes.size, states.shape[2]))
            drawn = _times(step.root, by_state(kick))
            drawn *= np.sqrt(intensity[self.interval[step.fixes]])
            drawn += _times(step.near, np.take(every, step.after, axis=2))
            drawn += _times(step.far, np.take(every, step.until, axis=2))
            every[:, :, step.fixes] = drawn
        return every.transpose(1, 2, 0)

    def _spread_out(self, states: Floats) -> Floats:
        every = np.empty((states.shape[2], states.shape[0], self.interval.size))
        every[:, :, self.pick] = states.transpose(2, 0, 1)
        return every

    def variance(self, state: int, own: Floats, onward: Floats, intensity: Floats) -> Floats:
        """Return the variance [n] of one of the states at all fixes.

        Parameters
        ----------
        own : [p, k, k] float, covariances at the knots
        onward : [p-1, k, k] float, of each knot (rows) but the first with the one before (columns)
        intensity : [p-1] float, of the jerk between knots
        """
        every = np.empty(self.interval.size)
        every[self.pick] = own[:, state, state]
        for first in range(0, self.inner.size, _AT_ONCE):
            inner = self.inner[first : first + _AT_ONCE]
            left, kind = self.interval[inner], self.bridge.which[first : first + _AT_ONCE]
            near, far = self.bridge.near[kind, state], self.bridge.far[kind, state]
            spread = self.bridge.covariance[kind, state, state] * intensity[left]
            spread += np.einsum("fi,fij,fj->f", near, own[left], near)
            spread += np.einsum("fi,fij,fj->f", far, own[left + 1], far)
            spread += 2.0 * np.einsum("fi,fij,fj->f", far, onward[left], near)
            every[inner] = spread
        return every

    def gather(self, weights: Floats) -> Floats:
        """Return weights [c, p, k] at the knots that stand for `weights` [c, n, k] at all fixes."""
        at_knots = weights[:, self.pick]
        left, kinds = self.interval[self.inner], self.bridge
        near, far = of_each(kinds.near, kinds.which), of_each(kinds.far, kinds.which)
        inner = weights[:, self.inner]
        for axis, row in enumerate(at_knots):
            np.add.at(row, left, np.einsum("ijf,fi->fj", near, inner[axis]))
            np.add.at(row, left + 1, np.einsum("ijf,fi->fj", far, inner[axis]))
        return at_knots

    def slow_shares(self, error: SlowError) -> tuple[Floats, Floats, Floats]:
        """Return the slow error's share of either knot, and what is left: [u] of each kind."""
        since, until = self.bridge.since_s / error.memory_s, self.bridge.until_s / error.memory_s
        whole = -np.expm1(-2.0 * (since + until))
        near = np.exp(-since) * -np.expm1(-2.0 * until) / whole
        far = np.exp(-until) * -np.expm1(-2.0 * since) / whole
        left = error.sd**2 * -np.expm1(-2.0 * since) * -np.expm1(-2.0 * until) / whole
        return near, far, left


def _times(matrices: Floats, states: Floats) -> Floats:
    """Return the products [k, c, f] of matrices [k, k, f] and states [k, c, f]."""
    return np.asarray(np.einsum("ijf,jcf->icf", matrices, states))
