"""What a series of stops shows: which are alike, how much they differ, whether they fade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LIKE_SHARE = 0.1  # formats: initial speeds of like stops are within 10 % of each other
LEAST_FOR_FADE = 4
DRIVER_SCALE = 0.2
"""Of the half-Cauchy density by which standard deviations from stop to stop are weighted, as a
share of the mean. As good as flat over what occurs: a scale that leans to like stops hides the
spread that is asked for. Common practice, no published source."""
_SHARES = np.exp(np.linspace(np.log(0.001), np.log(0.5), 40))


@dataclass(frozen=True)
class Trend:
    """How the braking changes along a series: draws [c] of the relative change per unit of x.

    The driver's variation from stop to stop is in the draws.
    """

    slope: Floats
    driver_share: Floats  # standard deviation of the driver's variation, as a share


def like_stops(initial_mps: Floats) -> Bools:
    """Return which stops [n] belong to the largest group with like initial speeds [n], m/s.

    Of groups as large as each other, the one from the higher speed. A stop alone is no group.
    """
    low = initial_mps[:, None]
    inside = (initial_mps >= low * (1.0 - 1e-9)) & (initial_mps <= low * (1.0 + LIKE_SHARE))
    size = inside.sum(axis=1)
    if initial_mps.size == 0 or size.max() < 2:
        return np.zeros(initial_mps.size, dtype=bool)
    best = max(range(size.size), key=lambda k: (size[k], initial_mps[k]))
    return np.asarray(inside[best])


def spread_of(level_mps2: Floats, rng: np.random.Generator) -> Floats:
    """Return draws [c] of the standard deviation over the stops over their mean.

    The scatter of the draws [n, c] is that of the stops and of the measurement together, and of
    the measurement twice; so each stop is first drawn anew, given all of them and how much stops
    of one driver differ, which is averaged over.
    """
    value, error = level_mps2.mean(axis=1), np.atleast_2d(np.cov(level_mps2))
    n, count = level_mps2.shape
    design = np.ones((n, 1))
    pick = _driver(value, error, design, count, rng)
    true = np.empty((count, n))
    for share in np.unique(pick):
        mine = np.flatnonzero(pick == share)
        true[mine] = _stops_given(value, error, share * value.mean(), mine.size, rng)
    return np.asarray(true.std(axis=1, ddof=1) / true.mean(axis=1))


def trend_of(level_mps2: Floats, x: Floats, rng: np.random.Generator) -> Trend | None:
    """Return the relative change of the level decelerations [n, c] per unit of x [n].

    None with fewer than three stops, or where x does not change. A straight line with the
    measurement's covariance and a driver whose variation is averaged over.
    """
    if x.size < 3 or np.ptp(x) <= 0.0:
        return None
    scale = float(np.ptp(x))
    design = np.column_stack([np.ones(x.size), (x - x[0]) / scale])
    value, error = level_mps2.mean(axis=1), np.cov(level_mps2)
    count = level_mps2.shape[1]
    pick = _driver(value, error, design, count, rng)
    line = np.empty((count, 2))
    for share in np.unique(pick):
        mine = np.flatnonzero(pick == share)
        inverse = np.linalg.inv(error + (share * value.mean()) ** 2 * np.eye(x.size))
        covariance = np.linalg.inv(design.T @ inverse @ design)
        mean = covariance @ design.T @ inverse @ value
        line[mine] = rng.multivariate_normal(mean, covariance, mine.size)
    return Trend(line[:, 1] / line[:, 0] / scale, pick)


def _driver(
    value: Floats, error: Floats, design: Floats, count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [count] of the driver's share, with the design's parameters integrated out."""
    log = []
    for share in _SHARES:
        inverse = np.linalg.inv(error + (share * value.mean()) ** 2 * np.eye(value.size))
        information = design.T @ inverse @ design
        pull = design.T @ inverse @ value
        misfit = value @ inverse @ value - pull @ np.linalg.solve(information, pull)
        log.append(
            0.5 * (np.linalg.slogdet(inverse)[1] - np.linalg.slogdet(information)[1] - misfit)
        )
    cell = _SHARES / (1.0 + (_SHARES / DRIVER_SCALE) ** 2)  # the grid has even steps of log
    density = np.array(log) + np.log(cell)
    weight = np.exp(density - density.max())
    return rng.choice(_SHARES, count, p=weight / weight.sum())


def _stops_given(
    value: Floats, error: Floats, driver: float, count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [count, n] of the true values, for a known spread about an unknown mean."""
    n = value.size
    told = np.linalg.inv(error + 1e-12 * np.eye(n))
    centred = np.eye(n) - 1.0 / n
    covariance = np.linalg.inv(told + centred / driver**2)
    return rng.multivariate_normal(covariance @ told @ value, covariance, count)
