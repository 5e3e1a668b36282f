"""The path of a stop, seen from the line of approach: heading and place aside, as draws.

The car's heading is a chain in which the path's curvature wanders; it is seen through the
receiver's course (as a sideways speed: course is worth little when the car is slow) and through
positions (white noise, and an error that wanders slowly and is the same all through a stop). How
much the curvature wanders and how noisy courses and positions are is a small grid, weighted by how
well it explains the fixes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, solve_triangular
from scipy.special import logsumexp

from roadtest.evidence import Evidence
from roadtest.measures.braking.courses import GRID_S, Account, Seen, between, look
from roadtest.measures.braking.stop import StopDraws
from roadtest.measures.smoothing import seen_through
from roadtest.motion.estimate import POSITION_MODEL, SPEED_MODEL, Draws
from roadtest.motion.kinematics import wandering

Floats = NDArray[np.float64]

# Curvature of roads and of pulling brakes, 1/m: 0.002 is a bend of 500 m radius. Its wander in a
# second, 1/m/√s, and the white noise of positions, m, are not known.
_CURVATURE_SD = 0.003
_WANDERS = (1e-4, 5e-4, 2.5e-3)
# Courses: the noise across is like that of speed, 0.05 m/s give or take.
_COURSE_FACTORS = (0.25, 0.5, 1.0, 2.0, 4.0)
_POSITION_SDS_M = (0.03, 0.1, 0.3, 1.0)
_PULL_SD = 0.001  # 1/m: half a metre aside after thirty
_OFFSET_SD_M = 30.0
_HEADING_SD = 0.5


@dataclass(frozen=True)
class Path:
    """The path of one stop in c draws, seen along its mean direction."""

    time_s: Floats  # [m]
    heading_rad: Floats  # [c, m], from that direction, to the right positive
    aside_m: Floats  # [c, m], to its right, from the first time
    along_m: Floats  # [c, m], along it
    way_m: Floats  # [c, m], along the path


@dataclass(frozen=True)
class Lateral:
    """What the fixes around one stop tell of its path, for every possibility tried."""

    seen: Seen
    shape: _Shape
    chains: tuple[_Chain, ...]
    log_weight: Floats  # [noises of courses, of positions, wanders], in the order of `chains`

    def path(self, log_noise: Floats, count: int, rng: np.random.Generator) -> Path:
        """Return `count` draws of the path.

        Parameters
        ----------
        log_noise : [noises of courses, of positions], how well each pair explains all stops
        """
        own = self.log_weight - logsumexp(self.log_weight, axis=2, keepdims=True)
        log = (own + log_noise[:, :, None]).ravel()
        weight = np.exp(log - log.max())
        pick = rng.choice(weight.size, count, p=weight / weight.sum())
        unknown = np.hstack(
            [
                self.chains[int(k)].draw(int(np.count_nonzero(pick == k)), rng)
                for k in np.unique(pick)
            ]
        )
        unknown = unknown[:, rng.permutation(count)]
        return _path(self.seen, (self.shape.heading @ unknown).T)


def lateral_of(
    evidence: Evidence, stop: StopDraws, draws: Draws, account: Account
) -> Lateral | None:
    """Return what the fixes tell of one stop's path; None where they show neither way."""
    seen = look(evidence, stop, draws, account)
    if seen is None:
        return None
    shape = _Shape.of(seen)
    courses, places = _by_course(seen, shape, account), _by_place(seen, shape)
    every = [
        (c, p, _Chain((*c, *p), wander)) for c, p, wander in product(courses, places, _WANDERS)
    ]
    log = np.array([chain.log_evidence for _, _, chain in every])
    return Lateral(
        seen=seen,
        shape=shape,
        chains=tuple(chain for _, _, chain in every),
        log_weight=log.reshape(len(courses), len(places), len(_WANDERS)),
    )


def common_noise(laterals: Sequence[Lateral], like: Lateral) -> Floats:
    """Return the log posterior of the noises of courses and positions, for `Lateral.path`.

    All stops have one receiver: its noise is told by all that show the same kinds of fixes as
    `like` does.
    """
    shape = like.log_weight.shape
    told = [one for one in laterals if one.log_weight.shape == shape]
    log = np.asarray(sum(logsumexp(one.log_weight, axis=2) for one in told))
    if shape[0] > 1:
        off = np.log(_COURSE_FACTORS) / np.log(SPEED_MODEL.prior.factor)
        log = log - 0.5 * off[:, None] ** 2
    return log


def _path(seen: Seen, heading: Floats) -> Path:
    """Return the path driven along headings [c, m]; here, no angle is taken for small."""
    middle = 0.5 * (heading[:, 1:] + heading[:, :-1])
    leg = np.diff(seen.way_m)
    first = np.zeros((heading.shape[0], 1))
    aside, along = (
        np.hstack([first, np.cumsum(leg * turned(middle), axis=1)]) for turned in (np.sin, np.cos)
    )
    way = np.broadcast_to(seen.way_m, heading.shape)
    return Path(seen.grid_s, heading, aside, along, way)


@dataclass(frozen=True)
class _Shape:
    """How heading [m, k] and place aside [m, k] on the grid follow from the k = m + 4 unknowns.

    Unknowns: heading and curvature at the first time of the grid, sideways place there, the
    curvature that pulling brakes add from the onset on, and the change of curvature over each step.
    """

    heading: Floats
    aside: Floats

    @classmethod
    def of(cls, seen: Seen) -> _Shape:
        """Return the shape for the grid and speeds of `seen`."""
        m = seen.grid_s.size
        leg = np.diff(seen.way_m)
        changed = np.tril(np.ones((m, m)), -1)  # curvature at each time, of the changes before it
        heading = np.zeros((m, m + 4))
        heading[:, 0] = 1.0
        heading[1:, 1] = np.cumsum(leg)
        braked = np.clip((seen.grid_s + GRID_S - seen.onset_s) / GRID_S, 0.0, 1.0)
        heading[1:, 3] = np.cumsum(leg * braked[:-1])
        heading[1:, 4:] = np.cumsum(leg[:, None] * changed[:-1], axis=0)
        aside = np.zeros((m, m + 4))
        aside[1:] = np.cumsum(leg[:, None] * 0.5 * (heading[1:] + heading[:-1]), axis=0)
        aside[:, 2] = 1.0
        return cls(heading, aside)


@dataclass(frozen=True)
class _Told:
    """What one kind of observation tells of the unknowns: information, pull, log density."""

    information: Floats  # [k, k]
    pull: Floats  # [k]
    log_density: float  # of the observations, were the unknowns all zero

    @classmethod
    def by(cls, rows: Floats, values: Floats, covariance: Floats) -> _Told:
        """Return what `values` [n] tell, rows [n, k] of the unknowns with noise [n, n]."""
        root = np.linalg.cholesky(covariance)
        both = solve_triangular(root, np.column_stack([rows, values]), lower=True)
        white, target = both[:, :-1], both[:, -1]
        log = -0.5 * float(target @ target) - float(np.log(np.diag(root)).sum())
        return cls(white.T @ white, white.T @ target, log)


class _Chain:
    """The posterior of the unknowns for one wander of curvature."""

    def __init__(self, told: tuple[_Told, ...], wander: float) -> None:
        k = told[0].pull.size
        sd = np.full(k, wander * np.sqrt(GRID_S))
        sd[:4] = _HEADING_SD, _CURVATURE_SD, _OFFSET_SD_M, _PULL_SD
        information = np.diag(sd**-2.0) + sum(t.information for t in told)
        pull = np.asarray(sum(t.pull for t in told))
        self._root = np.linalg.cholesky(information)
        self._mean = cho_solve((self._root, True), pull)
        self.log_evidence = (
            sum(t.log_density for t in told)
            + 0.5 * float(pull @ self._mean)
            - float(np.log(sd).sum() + np.log(np.diag(self._root)).sum())
        )

    def draw(self, count: int, rng: np.random.Generator) -> Floats:
        """Return draws of the unknowns, [k, count]."""
        noise = rng.standard_normal((self._mean.size, count))
        return np.asarray(self._mean[:, None] + solve_triangular(self._root.T, noise))


def _by_course(seen: Seen, shape: _Shape, account: Account) -> list[tuple[_Told, ...]]:
    """Return what the courses tell for each size of their noise."""
    if not seen.course_s.size:
        return [()]
    if account.of_course:
        shown = seen_through(account.smoothing_s, seen.grid_s, seen.course_s)
        rows = shown @ (seen.speed_mps[:, None] * shape.heading)
    else:
        rows = seen.shown_mps[:, None] * between(seen.grid_s, shape.heading, seen.course_s)
    slow = wandering(seen.course_s, SPEED_MODEL.slow)
    made: list[tuple[_Told, ...]] = []
    for factor in _COURSE_FACTORS:
        white = np.diag((SPEED_MODEL.prior.sd * factor) ** 2 + seen.course_rounding)
        made.append((_Told.by(rows, seen.sideways_mps, white + slow),))
    return made


def _by_place(seen: Seen, shape: _Shape) -> list[tuple[_Told, ...]]:
    """Return what the positions tell for each size of their noise."""
    if not seen.place_s.size:
        return [()]
    rows = between(seen.grid_s, shape.aside, seen.place_s)
    slow = wandering(seen.place_s, POSITION_MODEL.slow)
    slow = slow + np.outer(seen.moved_m, seen.moved_m)
    white = [np.diag(np.full(seen.place_s.size, sd**2)) for sd in _POSITION_SDS_M]
    return [(_Told.by(rows, seen.aside_m, noise + slow),) for noise in white]
