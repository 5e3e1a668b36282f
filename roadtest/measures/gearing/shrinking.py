"""The largest of several figures that are each known with error, without taking error for size.

The largest of noisy figures is mostly the luckiest one. Here the figures x are taken to be
N(0, P) beforehand, with several P that are averaged over: among them those in which the figures
share a level λ and differ from it by ω,

    x = level + d,   level ~ N(0, λ²),   d ~ N(0, ω²·K),   P = λ² + ω²·K.

What is seen of x has the mean m and the covariance C. Where C explains the differences, ω is small,
every x is near the level and so is the largest; where it does not, the largest stands out.

Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 5 (hierarchical models);
Y. Hoffman & E. Ribak, Astrophysical Journal 380 (1991), L5 (draws given what was seen, from draws
made beforehand) [values from memory].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def sharing(levels: Floats, sizes: Floats, alike: Floats) -> Floats:
    """Return P [s, k, k] for s pairs of a level λ and differences ω with correlation K [k, k]."""
    return np.asarray(levels[:, None, None] ** 2 + sizes[:, None, None] ** 2 * alike)


def shrunk(draws: Floats, priors: Floats, rng: np.random.Generator) -> Floats:
    """Return draws [c, k] of the figures behind `draws` [c, k], which know nothing of each other.

    `priors` [s, k, k] are the covariances P that are tried, all as likely beforehand.
    """
    count, k = draws.shape
    mean = draws.mean(axis=0)
    covariance = np.atleast_2d(np.cov(draws.T)) + 1e-10 * np.eye(k)
    _, log_det = np.linalg.slogdet(priors + covariance)
    told = np.linalg.solve(priors + covariance, np.broadcast_to(mean[:, None], (len(priors), k, 1)))
    logs = -0.5 * (log_det + told[:, :, 0] @ mean)
    chances = np.exp(logs - logs.max())
    which = rng.choice(logs.size, count, p=chances / chances.sum())
    found = np.empty_like(draws)
    for s in np.unique(which):
        mine = which == s
        root = np.linalg.cholesky(priors[s] + 1e-12 * np.eye(k))
        before = rng.normal(size=(np.count_nonzero(mine), k)) @ root.T
        gain = np.linalg.solve(priors[s] + covariance, priors[s])  # (P + C)⁻¹·P
        found[mine] = before + (draws[mine] - before) @ gain
    return found
