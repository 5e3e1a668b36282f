"""A stop as a foot makes it: when braking begins, and the speed from there on, between samples.

A stop is: driving on evenly, the foot off the throttle, the brakes coming on along a ramp, then
braking that slowly changes, by a foot that is a little uneven. When each begins is a grid; what is
linear in it (speeds and decelerations) is solved for every place on the grid at once, and the grid
is weighted by how well it explains the fixes. The joint draws of the motion would round the corner
off; a foot does not. And they leave open what a foot does not do between two fixes: with fixes a
second apart that is most of what they leave open.

Reference: linear Gaussian model with a few non-linear parameters on a grid, A. Gelman et al.,
Bayesian Data Analysis, 3rd ed., chapter 14 (value from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from roadtest.measures.braking.foot import FEET_S, UNEVEN, Cells, log_time
from roadtest.measures.braking.ramp import (
    distance_parts,
    speed_parts,
    speeds_by_steps,
)
from roadtest.measures.braking.seen import Fixes, fixes_between
from roadtest.measures.smoothing import alike
from roadtest.motion.estimate import Motion

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP_S: Final = 0.02
"""Between the speeds of `Onset`, and between beginnings that are tried where they are few."""

# Priors of the linear part: speed, drift of speed before, engine braking that sets in, change of
# braking a second as a share of it, and what the clutch takes off the engine braking: some go for
# it with the brakes, others late in the stop. With the foot off, 19 of 20 light cars are held back
# by 0.3 to 1.2 m/s²; the clutch takes any part of that off. Common practice, no published source.
_SPEED_SD_MPS = 5.0
_EVEN_SD_MPS2 = 0.3
_LIFT_MPS2 = (-0.75, 0.23)
_CLUTCH_MPS2 = (0.375, 0.22)
_BRAKING_SD_MPS2 = 4.0
_CHANGE_SD = 0.15
_FEET_TRIED_S = np.geomspace(1.1 * FEET_S[0], FEET_S[1] / 1.1, 7)
_MOST_STARTS, _FINE_LIFTS, _FINE_RISES = 24, 5, 12
_SEARCH_S = 0.8  # to either side of where the manoeuvre was found to begin
_COARSE_STEP_S = 0.08
_BEFORE_S = 2.0
_SETTLING_S = 0.2
# Into which fixes are put together once the brakes are on for certain, and at most before it.
_WINDOW_S, _SHORT_WINDOW_S = 0.2, 0.09
_USUAL = 10  # of `UNEVEN`, by which places are picked that are worth trying with others
_UNLIKELY, _UNLIKELY_FOOT = 7.0, 4.0  # of log weight below the most likely: places are many
_FEW = 40  # draws that tell which fixes are outlying
_LONGER = 1.5  # than shown on the whole a single draw may brake


@dataclass(frozen=True)
class Onset:
    """A stop from its beginning on in c draws, [c] each. Accelerations in m/s², negative braking.

    From the beginning to `join_s`, a fix by which the brakes are fully on, the car drives `way_m`.
    """

    time_s: Floats
    speed_mps: Floats  # at that time
    rise_s: Floats  # from first bite to full braking
    join_s: Floats
    way_m: Floats
    braked_mps: Floats  # [c, m], speeds at every `STEP_S` from the beginning on


def driven_m(speeds_mps: Floats) -> Floats:
    """Return the way driven [c, m] by each of some speeds [c, m], `STEP_S` apart."""
    way = np.zeros_like(speeds_mps)
    way[:, 1:] = np.cumsum(0.5 * STEP_S * (speeds_mps[:, 1:] + speeds_mps[:, :-1]), axis=1)
    return way


@dataclass(frozen=True)
class _Rough:
    """What the mean path says of the stop already."""

    start_s: float
    end_s: float  # of what is looked at
    speed_mps: float
    braking_mps2: float


def find_onset(
    motion: Motion,
    mean_path: tuple[Floats, Floats],
    stretch: tuple[float, float],
    smoothing_s: Floats,
    rng: np.random.Generator,
) -> Onset | None:
    """Return draws [c] of a stop from its beginning on, or None where too few fixes show it.

    Parameters
    ----------
    motion : the drive's motion
    mean_path : times [k] and speeds [k] of the stop as shown, s and m/s
    stretch : about when it begins, and up to when it is looked at, s
    smoothing_s : [c], with which time constant the receiver smooths its speed
    """
    rough = _rough(*mean_path, stretch)
    fixes = fixes_between(motion, mean_path, rough.start_s - _BEFORE_S, rough.end_s)
    if fixes is None:
        return None
    if not fixes.means:  # a motion that may do anything follows an outlying fix; a foot can't
        fit = _Fit(_thinned(fixes, rough), rough, float(smoothing_s.mean()))
        left = [fit.left(fixes, drawn) for drawn in fit.draw(_FEW, rng)]
        fixes = fixes.believed(np.vstack(left))
    thinned = _thinned(fixes, rough)
    found = []
    parts = alike(smoothing_s)
    for part in parts:
        fit = _Fit(thinned, rough, float(smoothing_s[part].mean()))
        own = [fit.onset(drawn) for drawn in fit.draw(part.size, rng)]
        found.append(_in_order(own, rng.permutation(part.size)))
    return _in_order(found, np.argsort(np.concatenate(parts), kind="stable"))


def _thinned(fixes: Fixes, rough: _Rough) -> Fixes:
    """Return no more fixes than show what there is to see."""
    fixes = fixes.thinned(float(fixes.edges_s[0]), _SHORT_WINDOW_S)
    return fixes.thinned(rough.start_s + _SEARCH_S + FEET_S[1], _WINDOW_S)


def _in_order(found: Sequence[Onset], order: Ints) -> Onset:
    """Return the draws of several fits as one, in the order of their index."""
    return Onset(
        *(
            np.concatenate([getattr(one, item.name) for one in found])[order]
            for item in fields(Onset)
        )
    )


def _rough(time_s: Floats, speed_mps: Floats, stretch: tuple[float, float]) -> _Rough:
    start, end = stretch
    speed = float(np.interp(start - 0.3, time_s, speed_mps))
    begun, end = start + 0.4, max(end, start + 0.6)
    ends = np.interp([begun, end], time_s, speed_mps)
    return _Rough(start, end, speed, max(float(ends[0] - ends[1]) / (end - begun), 0.5))


def _grid(starts_s: Floats, lifts_s: Floats, rises_s: Floats) -> Floats:
    """Return the places [3, g]: start, lift, rise."""
    return np.array(np.meshgrid(starts_s, lifts_s, rises_s, indexing="ij")).reshape(3, -1)


@dataclass(frozen=True)
class _Drawn:
    """Draws of one foot: where on the grid [3, c], linear parts [c, p], what it adds [c, k], ...

    ... and how long after its place each begins [c].
    """

    places: Floats
    linear: Floats
    uneven: Floats
    late_s: Floats


def _finer(likely: Floats) -> Floats:
    """Return places [3, g] closer to each other about those that are likely [3, l]."""
    step = _FEET_TRIED_S[1] / _FEET_TRIED_S[0]
    (first, *shortest), (last, *longest) = likely.min(axis=1).tolist(), likely.max(axis=1).tolist()
    lifts, rises = (
        np.geomspace(max(short / step, FEET_S[0]), min(long * step, FEET_S[1]), count)
        for short, long, count in zip(shortest, longest, (_FINE_LIFTS, _FINE_RISES), strict=True)
    )
    ends = first - _COARSE_STEP_S, last + _COARSE_STEP_S
    count = int(np.clip((ends[1] - ends[0]) / STEP_S, 2, _MOST_STARTS))
    return _grid(np.linspace(*ends, count), lifts, rises)


class _Fit:
    """The linear model at any places of the grid, for every way in which a foot is uneven."""

    def __init__(self, fixes: Fixes, rough: _Rough, lag_s: float) -> None:
        self._fixes = fixes
        self._rough = rough
        self._lag_s = lag_s
        self._cells = Cells.of(fixes, (rough.start_s, rough.end_s), lag_s)
        middle, reach = self._cells.middle_s, self._cells.reach
        self._kernels = [foot.kernel(middle, rough.braking_mps2) for foot in UNEVEN]
        every = np.eye(fixes.values_mps.size)
        roots = [
            np.linalg.cholesky(fixes.covariance + reach @ kernel @ reach.T)
            for kernel in self._kernels
        ]
        self._whitening = [solve_triangular(root, every, lower=True) for root in roots]
        braking = rough.braking_mps2
        lift, clutch, change = _LIFT_MPS2, _CLUTCH_MPS2, _CHANGE_SD * braking
        self._mean = np.array([rough.speed_mps, 0.0, lift[0], -braking, 0.0, clutch[0]])
        sd = [_SPEED_SD_MPS, _EVEN_SD_MPS2, lift[1], _BRAKING_SD_MPS2, change, clutch[1]]
        self._precision = 1.0 / np.square(sd)

    def draw(self, count: int, rng: np.random.Generator) -> list[_Drawn]:
        """Return draws from the grid, made fine where the coarse one has weight, foot by foot."""
        centre = self._rough.start_s - 0.5 * self._lag_s  # the beginning shown is late
        starts = np.arange(-_SEARCH_S, _SEARCH_S, _COARSE_STEP_S) + centre
        grid = _grid(starts, _FEET_TRIED_S, _FEET_TRIED_S)
        log = self._log_weights(grid, [_USUAL])[0]
        grid = grid[:, log > log.max() - _UNLIKELY]
        every = list(range(len(UNEVEN)))
        logs = self._log_weights(grid, every)
        feet = [k for k in every if logs[k].max() > logs.max() - _UNLIKELY_FOOT]
        grid = _finer(grid[:, (logs > logs.max() - _UNLIKELY).any(axis=0)])
        step_s = float(np.diff(np.unique(grid[0])).max())
        logs = self._log_weights(grid, feet)
        weight = np.exp(logs - logs.max()).ravel()
        pick = rng.choice(weight.size, count, p=weight / weight.sum())
        foot, place = np.divmod(pick, grid.shape[1])
        return [
            self._drawn(feet[k], grid[:, place[foot == k]], step_s, rng)
            for k in np.unique(foot).tolist()
        ]

    def _log_weights(self, grid: Floats, feet: Sequence[int]) -> Floats:
        """Return the log posterior [f, g] of feet and places, up to a constant."""
        design = _design(self._fixes, grid, self._lag_s)
        before = log_time(grid[1]) + log_time(grid[2])
        return np.array([self._log_evidence(design, foot) for foot in feet]) + before

    def _log_evidence(self, design: Floats, foot: int) -> Floats:
        """Return the log posterior [g] of one foot's places but for that of their times."""
        information, pull, seen = self._normal(design, foot)
        solution = np.linalg.solve(information, pull[..., None])[..., 0]
        log = (pull * solution).sum(axis=1) - np.linalg.slogdet(information)[1] - seen @ seen
        white = np.log(np.diag(self._whitening[foot])).sum()
        return np.asarray(0.5 * log + white + UNEVEN[foot].log_prior)

    def _normal(self, design: Floats, foot: int) -> tuple[Floats, Floats, Floats]:
        """Return information matrices [g, p, p], right-hand sides [g, p], and what is seen [n].

        The last is as the first two have it: with errors that are white and of one size.
        """
        g, n, p = design.shape
        flat = np.column_stack(
            [design.transpose(1, 0, 2).reshape(n, g * p), self._fixes.values_mps]
        )
        solved = self._whitening[foot] @ flat
        seen = solved[:, -1]
        white = solved[:, :-1].reshape(n, g, p).transpose(1, 0, 2)
        information = white.transpose(0, 2, 1) @ white + np.diag(self._precision)
        return information, seen @ white + self._precision * self._mean, seen

    def _drawn(self, foot: int, places: Floats, step_s: float, rng: np.random.Generator) -> _Drawn:
        """Return one draw at each of the places [3, c], given one foot.

        step_s : between the beginnings that were tried
        """
        design = _design(self._fixes, places, self._lag_s)
        information, pull, _ = self._normal(design, foot)
        noise = rng.standard_normal((places.shape[1], self._mean.size, 1))
        upper = np.linalg.cholesky(information).transpose(0, 2, 1)
        mean = np.linalg.solve(information, pull[..., None])
        linear = (mean + np.linalg.solve(upper, noise))[..., 0]
        misfit = self._fixes.values_mps - (design @ linear[..., None])[..., 0]
        uneven = self._cells.draw(self._kernels[foot], self._fixes.covariance, misfit, rng)
        late_s = step_s * np.asarray(rng.uniform(-0.5, 0.5, places.shape[1]))
        return _Drawn(places, np.asarray(linear, dtype=np.float64), uneven, late_s)

    def left(self, fixes: Fixes, drawn: _Drawn) -> Floats:
        """Return which errors of fixes [n] are left [c, n] by some draws."""
        first_s = float(self._fixes.edges_s[0])
        design = speed_parts(fixes.edges_s, drawn.places, self._lag_s, first_s)
        reach = speeds_by_steps(fixes.edges_s, self._cells.edges_s, self._lag_s)
        shown = (design @ drawn.linear[..., None])[..., 0] + drawn.uneven @ reach.T
        return np.asarray(fixes.values_mps - shown)

    def onset(self, drawn: _Drawn) -> Onset:
        """Return the stop from its beginning on, for each of some draws."""
        start, _, rise = drawn.places
        late_s = drawn.late_s
        length = self._rough.end_s - self._rough.start_s
        since = np.arange(0.0, _LONGER * length + 2.0 * _SEARCH_S, STEP_S)
        at = start[:, None] + since
        parts = speed_parts(at, drawn.places, first_s=float(self._fixes.edges_s[0]))
        speeds = (parts * drawn.linear[:, None, :]).sum(axis=2)
        speeds += self._cells.speeds(at, drawn.uneven)
        times = self._fixes.edges_s
        settled = times[times > np.median(start + rise) + _SETTLING_S]
        join_s = np.full_like(start, settled[0] if settled.size else times[-1])
        driven = driven_m(speeds)
        way = [np.interp(t, since, row) for t, row in zip(join_s - start, driven, strict=True)]
        return Onset(
            time_s=start + late_s,
            speed_mps=speeds[:, 0],
            rise_s=rise,
            join_s=join_s,
            way_m=np.array(way) - speeds[:, 0] * late_s,
            braked_mps=speeds,
        )


def _design(fixes: Fixes, grid: Floats, lag_s: float) -> Floats:
    """Return what each linear part adds to each observation, [g, n, 6]."""
    if not fixes.means:
        return speed_parts(fixes.edges_s, grid, lag_s)
    distances = distance_parts(fixes.edges_s, grid)
    return np.asarray(np.diff(distances, axis=1) / np.diff(fixes.edges_s)[:, None])
