"""When braking begins, found between samples.

Around its beginning a stop is: driving on evenly, the foot off the throttle, the brakes coming on
along a ramp, then braking that slowly changes. When each begins is a grid; what is linear in it
(speeds and decelerations) is solved for every place on the grid at once, and the grid is weighted
by how well it explains the fixes. The joint draws of the motion would round the corner off; a foot
does not.

Reference: linear Gaussian model with a few non-linear parameters on a grid, A. Gelman et al.,
Bayesian Data Analysis, 3rd ed., chapter 14 (value from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from roadtest.measures.braking.ramp import distance_parts, distance_parts_at, speed_parts
from roadtest.measures.braking.seen import Fixes, fixes_between
from roadtest.measures.smoothing import alike
from roadtest.motion.estimate import Motion

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Times a foot takes, s: from first bite to full braking, and from throttle to brake. Texts on
# driving and on accidents give 0.1 to 0.3 s for a pedal hit hard and up to twice that for others;
# 19 of 20 are taken to be within 0.15 and 0.6 s, of either. Common practice, no published source.
_RISES_S = np.array([0.06, 0.14, 0.22, 0.30, 0.40, 0.50, 0.65, 0.85])
_LIFTS_S = np.array([0.1, 0.16, 0.24, 0.34, 0.48, 0.7])
_FOOT_PRIOR = (0.3, 1.42)  # median, factor of one standard deviation
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
_UNEVEN_SHARE, _UNEVEN_MEMORY_S = 0.04, 0.3  # no foot holds a pedal stiller
_SEARCH_S = 0.8  # to either side of where the manoeuvre was found to begin
_STEP_S, _COARSE_STEP_S = 0.02, 0.08
_BEFORE_S = 2.0
_SETTLING_S = 0.2
_UNTIL_SHARE = 0.45  # of the initial speed: what comes later says nothing about the beginning


@dataclass(frozen=True)
class Onset:
    """The beginning of one stop in c draws, [c] each. Accelerations in m/s², negative braking.

    From the beginning to `join_s`, a fix by which the brakes are fully on, the car drives `way_m`.
    """

    time_s: Floats
    speed_mps: Floats  # at that time
    rise_s: Floats  # from first bite to full braking
    before_mps2: Floats  # acceleration but for the brakes
    braking_mps2: Floats  # what the brakes add once the ramp is done
    change_mps3: Floats  # how the braking then changes
    join_s: Floats
    way_m: Floats


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
    start_s: float,
    smoothing_s: Floats,
    rng: np.random.Generator,
) -> Onset | None:
    """Return draws [c] of when braking begins, or None where too few fixes show it.

    Parameters
    ----------
    motion : the drive's motion
    mean_path : times [k] and speeds [k] of the stop as shown, s and m/s
    start_s : about when it begins
    smoothing_s : [c], with which time constant the receiver smooths its speed
    """
    rough = _rough(*mean_path, start_s)
    fixes = _fixes(motion, mean_path, rough)
    if fixes is None:
        return None
    found = []
    parts = alike(smoothing_s)
    for part in parts:
        lag = float(smoothing_s[part].mean())
        fit = _Fit(fixes, rough, lag)
        centre = start_s - 0.5 * lag  # the beginning shown is late
        places = _grid(np.arange(-_SEARCH_S, _SEARCH_S, _COARSE_STEP_S) + centre)
        found.append(fit.draw(fit.log_weights(places), part.size, rng))
    return _in_order(found, np.argsort(np.concatenate(parts), kind="stable"))


def _in_order(found: Sequence[Onset], order: Ints) -> Onset:
    """Return the draws of several fits as one, in the order of their index."""
    return Onset(
        *(
            np.concatenate([getattr(one, item.name) for one in found])[order]
            for item in fields(Onset)
        )
    )


def _rough(time_s: Floats, speed_mps: Floats, start_s: float) -> _Rough:
    speed = float(np.interp(start_s - 0.3, time_s, speed_mps))
    slow = np.flatnonzero((time_s > start_s) & (speed_mps < _UNTIL_SHARE * speed))
    end = float(time_s[slow[0]] if slow.size else time_s[-1])
    ends = np.interp([start_s + 0.4, max(end, start_s + 0.6)], time_s, speed_mps)
    braking = float(ends[0] - ends[1]) / (max(end, start_s + 0.6) - start_s - 0.4)
    return _Rough(start_s, end, speed, max(braking, 0.5))


def _fixes(motion: Motion, mean_path: tuple[Floats, Floats], rough: _Rough) -> Fixes | None:
    """Return the fixes around the beginning, an uneven foot among their errors."""
    fixes = fixes_between(motion, mean_path, rough.start_s - _BEFORE_S, rough.end_s)
    if fixes is None:
        return None
    return replace(fixes, covariance=fixes.covariance + _uneven(fixes.middle_s, rough))


def _uneven(time: Floats, rough: _Rough) -> Floats:
    """Return the covariance [n, n] of speed that an unsteady foot gives, from the beginning on."""
    step = max(rough.end_s - rough.start_s, 0.1) / 40.0
    into = step * (np.arange(40) + 0.5)
    kernel = np.exp(-np.abs(into[:, None] - into) / _UNEVEN_MEMORY_S)
    sd = _UNEVEN_SHARE * rough.braking_mps2
    reach = np.clip(time[:, None] - rough.start_s - (into - 0.5 * step), 0.0, step)
    return np.asarray(sd**2 * reach @ kernel @ reach.T)


def _grid(starts_s: Floats) -> Floats:
    """Return the places [3, g]: start, lift, rise."""
    return np.array(np.meshgrid(starts_s, _LIFTS_S, _RISES_S, indexing="ij")).reshape(3, -1)


def _log_prior(tried_s: Floats, seconds: Floats) -> Floats:
    """Return the log weight of times [g] that are among those tried, as wide as their cells."""
    spread = np.log(tried_s / _FOOT_PRIOR[0]) / np.log(_FOOT_PRIOR[1])
    weight = np.log(np.gradient(np.log(tried_s))) - 0.5 * spread**2
    return np.asarray(weight[np.searchsorted(tried_s, seconds - 1e-9)])


class _Fit:
    """The linear model at any places of the grid."""

    def __init__(self, fixes: Fixes, rough: _Rough, lag_s: float) -> None:
        self._fixes = fixes
        self._lag_s = lag_s
        self._root = np.linalg.cholesky(fixes.covariance)
        self._seen = solve_triangular(self._root, fixes.values_mps, lower=True)
        braking = rough.braking_mps2
        lift, clutch, change = _LIFT_MPS2, _CLUTCH_MPS2, _CHANGE_SD * braking
        self._mean = np.array([rough.speed_mps, 0.0, lift[0], -braking, 0.0, clutch[0]])
        sd = [_SPEED_SD_MPS, _EVEN_SD_MPS2, lift[1], _BRAKING_SD_MPS2, change, clutch[1]]
        self._precision = 1.0 / np.square(sd)

    def log_weights(self, grid: Floats) -> tuple[Floats, Floats]:
        """Return `grid` [3, g] and the log posterior [g] of its places, up to a constant."""
        information, pull = self._normal(grid)
        solution = np.linalg.solve(information, pull[..., None])[..., 0]
        log = 0.5 * ((pull * solution).sum(axis=1) - np.linalg.slogdet(information)[1])
        return grid, log + _log_prior(_LIFTS_S, grid[1]) + _log_prior(_RISES_S, grid[2])

    def draw(self, coarse: tuple[Floats, Floats], count: int, rng: np.random.Generator) -> Onset:
        """Return draws from the grid, made fine where the coarse one has weight."""
        grid, log = coarse
        likely = grid[0][log > log.max() - 9.0]
        low, high = likely.min() - _COARSE_STEP_S, likely.max() + _COARSE_STEP_S
        grid, log = self.log_weights(_grid(np.arange(low, high, _STEP_S)))
        weight = np.exp(log - log.max())
        pick = rng.choice(weight.size, count, p=weight / weight.sum())
        information, pull = self._normal(grid[:, pick])
        noise = rng.standard_normal((count, self._mean.size, 1))
        upper = np.linalg.cholesky(information).transpose(0, 2, 1)
        mean = np.linalg.solve(information, pull[..., None])
        linear: Floats = np.asarray(
            (mean + np.linalg.solve(upper, noise))[..., 0], dtype=np.float64
        )
        return self._onset(grid[:, pick], linear, _STEP_S * (rng.random(count) - 0.5))

    def _onset(self, places: Floats, linear: Floats, late_s: Floats) -> Onset:
        """Return the beginning for places [3, c] and linear parts [c, p], `late_s` [c] after."""
        start, lift, rise = places
        first_s = self._fixes.edges_s[0]
        times = self._fixes.edges_s
        settled = times[times > np.median(start + rise) + _SETTLING_S]
        join_s = np.full_like(start, settled[0] if settled.size else times[-1])
        ends = np.array(
            [
                distance_parts_at(start, first_s, places),
                distance_parts_at(join_s, first_s, places),
            ]
        )
        way = ((ends[1] - ends[0]) * linear).sum(axis=1)
        speed = linear[:, 0] + linear[:, 1] * (start - first_s) + linear[:, 2] * lift
        return Onset(
            time_s=start + late_s,
            speed_mps=speed,
            rise_s=rise,
            before_mps2=linear[:, 1] + linear[:, 2] + linear[:, 5],
            braking_mps2=linear[:, 3],
            change_mps3=linear[:, 4],
            join_s=join_s,
            way_m=way - speed * late_s,
        )

    def _normal(self, grid: Floats) -> tuple[Floats, Floats]:
        """Return information matrices [g, p, p] and right-hand sides [g, p]."""
        design = _design(self._fixes, grid, self._lag_s)
        g, n, p = design.shape
        flat = design.transpose(1, 0, 2).reshape(n, g * p)
        white = solve_triangular(self._root, flat, lower=True).reshape(n, g, p).transpose(1, 0, 2)
        information = white.transpose(0, 2, 1) @ white + np.diag(self._precision)
        return information, self._seen @ white + self._precision * self._mean


def _design(fixes: Fixes, grid: Floats, lag_s: float) -> Floats:
    """Return what each linear part adds to each observation, [g, n, 6]."""
    if not fixes.means:
        return speed_parts(fixes.edges_s, grid, lag_s)
    distances = distance_parts(fixes.edges_s, grid)
    return np.asarray(np.diff(distances, axis=1) / np.diff(fixes.edges_s)[:, None])
