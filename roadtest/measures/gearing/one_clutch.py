"""The slip of one and the same clutch in all pulls, given what each bin of time shows by itself.

x is the logarithm of engine speed over what road speed and gear make of it. Either the clutch is
sound, x = 0 throughout, or it slips where the torque T that it carries is more than it holds, the
more the larger the excess:

    x = a · g(T) + d,   g = (T - T0) / (T1 - T0), 0 below T0 and 1 at the most torque T1,
    a ~ N(0, λ²), a > 0,  d ~ N(0, (ω·λ·g)²), alike over seconds,

with T0, λ and ω any of a grid. T is known with error, so of g there are a mean and a variance, and
the latter adds to d. What is seen is y = x - a·h + error, error ~ N(0, C): where the driving that
ratios and creep were told from took torque as well, the clutch slipped there, h = W·g, and was
taken for a part of them. Or the clutch is sound and a fix is off,

    x = 0,  y = b · exp(-½ (t - tₖ)² / w²) / v + error,  b ~ N(0, (1 m/s)²).

Each of all these has the chance that y gives it, and x is drawn from all of them by their chances.
The largest of noisy figures is mostly the luckiest one; that of such draws is not, for where errors
explain the differences no draw has them.

Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 5 (hierarchical models)
[value from memory].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri_exp

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SOUND: Final = 0.5  # beforehand: as likely as not (our choice)
_ODD: Final = 0.1  # of a clutch that slips: in one gear of one pull only, whatever the torque
_MOST_ODD: Final = 10  # of those with the most torque
_SIZES: Final = np.geomspace(0.003, 0.3, 9)  # λ, from what hardly matters up (our choice)
_SHARES: Final = np.array([0.03, 0.1, 0.3, 1.0])  # ω (our choice)
_HOLDS: Final = np.linspace(0.5, 0.975, 20)
"""T0/T1, as finely as torques are known. A clutch that holds less is hardly driven on (our
choice)."""
_MEMORY_S: Final = 2.0
"""A clutch begins to slip and grips again with the torque it carries, smoothly over seconds (our
choice)."""
_LEAST_U: Final = 1e-5
_OFF_SHARE: Final = 0.002
_OFF_MPS: Final = 1.0
"""Of fixes some are off by more than the estimate of the motion allows for, and where speed changes
fast and fixes are far apart nothing but the engine shows it (our choice)."""
_OFF_FROM_S: Final = 0.5  # between fixes: of closer ones the neighbours show it
_OFF_REACH: Final = 0.6  # of a fix, in intervals: how far the estimate follows it to either side


@dataclass(frozen=True)
class Bins:
    """What is seen of all stretches under load, bin after bin: [b] each."""

    seen: Floats  # y
    covariance: Floats  # C, [b, b]
    torque: Floats  # in any unit
    u_torque: Floats
    time_s: Floats
    stretch: Ints  # which stretch each belongs to, from 0 up
    speed_mps: Floats
    fix_s: float  # between fixes
    fit_torque: Floats  # [f], in the blocks of driving that ratios and creep were told from
    fit_share: Floats  # W, [b, f]: by how much slip in a block lowers y
    fit_gain: Floats  # [p, f], by how much it moves the values of the fit


@dataclass(frozen=True)
class Clutch:
    """Draws of one clutch: its slip in each bin, [c, b], and what that did to the fit, [c, p]."""

    slip: Floats
    in_fit: Floats


@dataclass(frozen=True)
class _Shapes:
    """Ways in which slip may go with torque, [s, b] each: g, its variation, and h."""

    mean: Floats
    sd: Floats
    in_fit: Floats
    values: Floats  # [s, p], as h: what moves the values of the fit
    chance: Floats  # [s]


def clutch_draws(bins: Bins, count: int, rng: np.random.Generator) -> Clutch:
    """Return `count` draws of x, none negative: under load no clutch turns the engine slower.

    With C = L·Lᵀ and V·diag(e)·Vᵀ = L⁻¹·P·L⁻ᵀ, λ²·P the covariance that y has beforehand without
    its errors, the parts of Vᵀ·L⁻¹·y are independent, of variance 1 + λ²·e.
    """
    size = bins.seen.size
    shapes = _shapes(bins)
    apart = np.abs(bins.time_s[:, None] - bins.time_s)
    alike = np.exp(-0.5 * (apart / _MEMORY_S) ** 2) * (bins.stretch[:, None] == bins.stretch)
    varies = _outer(shapes.sd)[:, None] + _SHARES[:, None, None] ** 2 * _outer(shapes.mean)[:, None]
    varies = (varies * alike).reshape(-1, size, size)
    which = np.repeat(np.arange(shapes.chance.size), _SHARES.size)
    level = (shapes.mean - shapes.in_fit)[which]
    covariance = bins.covariance + _LEAST_U**2 * np.eye(size)
    back = np.linalg.inv(np.linalg.cholesky(covariance))
    e, v = np.linalg.eigh(back @ (_outer(level) + varies) @ back.T)
    parts = (back @ bins.seen) @ v  # [u, b]
    prior = np.maximum(e, 0.0)[:, None] * _SIZES[:, None] ** 2  # [u, λ, b]
    log = 0.5 * (parts[:, None] ** 2 * prior / (1.0 + prior) - np.log1p(prior)).sum(axis=2)
    each = (1.0 - _SOUND) / (_SHARES.size * _SIZES.size)
    log += np.log(each * shapes.chance[which])[:, None]
    # Of N(0, λ²) half is left; what y makes of a lies above 0 with some other chance.
    share = np.einsum("ub,ubk->uk", level @ back.T, v)
    square = _SIZES**2
    mean_a = square * ((share * parts)[:, None] / (1.0 + prior)).sum(axis=2)
    square_a = square - square**2 * ((share**2)[:, None] / (1.0 + prior)).sum(axis=2)
    log += np.log(2.0) + log_ndtr(mean_a / np.sqrt(np.maximum(square_a, 1e-9 * square)))
    sound = _sound(bins, back)
    log = np.concatenate([sound, log.ravel()])
    weight = np.exp(log - log.max())
    chosen = rng.choice(weight.size, count, p=weight / weight.sum())
    drawn, moved = np.zeros((count, size)), np.zeros((count, bins.fit_gain.shape[0]))
    for k in np.unique(chosen[chosen >= sound.size]):
        mine = np.flatnonzero(chosen == k)
        u, s = divmod(int(k) - sound.size, _SIZES.size)
        a = _above_zero(
            mean_a[u, s], np.sqrt(max(square_a[u, s], 1e-9 * square[s])), mine.size, rng
        )
        # Given a: y less what it makes of it is d and error.
        varied = square[s] * varies[u]
        gain = np.linalg.solve(varied + covariance, varied)
        values, vectors = np.linalg.eigh(varied - varied @ gain)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        left = bins.seen - np.outer(a, level[u])
        noise = rng.normal(size=(mine.size, size)) @ root.T
        drawn[mine] = np.outer(a, shapes.mean[which[u]]) + left @ gain + noise
        moved[mine] = np.outer(a, shapes.values[which[u]])
    return Clutch(np.maximum(drawn, 0.0), moved)


def _sound(bins: Bins, back: Floats) -> Floats:
    """Return log chances of a sound clutch: all fixes as they should be, or one off near a bin.

    Over that of y by its errors alone, C = L·Lᵀ, `back` = L⁻¹; of a rank-one addition to C.
    """
    if bins.fix_s < _OFF_FROM_S:
        return np.array([np.log(_SOUND)])
    apart = (bins.time_s[:, None] - bins.time_s) / (_OFF_REACH * bins.fix_s)
    shown = np.exp(-0.5 * apart**2) * (bins.stretch[:, None] == bins.stretch)
    shown = back @ (shown * _OFF_MPS / bins.speed_mps[:, None])
    size = (shown**2).sum(axis=0)
    log = 0.5 * ((back @ bins.seen) @ shown) ** 2 / (1.0 + size) - 0.5 * np.log1p(size)
    return np.append(np.log(_SOUND), np.log(_SOUND * _OFF_SHARE) + log)


def _above_zero(mean: float, sd: float, count: int, rng: np.random.Generator) -> Floats:
    """Return draws [count] of a normal distribution cut off below zero."""
    below = log_ndtr(mean / sd) + np.log1p(-rng.random(count))  # log of the chance of more
    return np.asarray(np.maximum(mean - sd * ndtri_exp(below), 0.0))


def _outer(values: Floats) -> Floats:
    """Return the products [s, b, b] of values [s, b] with one another."""
    return np.asarray(values[:, :, None] * values[:, None, :])


def _shapes(bins: Bins) -> _Shapes:
    # The very highest torque is the luckiest.
    most = max(float((bins.torque - bins.u_torque).max()), 1e-12)
    torque, u = bins.torque / most, np.maximum(bins.u_torque / most, 1e-6)
    mean, sd = _over(torque, u, _HOLDS[:, None])
    excess = _ramp(bins.fit_torque / most, _HOLDS[:, None])
    in_fit, values = excess @ bins.fit_share.T, excess @ bins.fit_gain.T
    hardest = bins.stretch[np.argsort(-bins.torque)]
    _, first = np.unique(hardest, return_index=True)
    odd = hardest[np.sort(first)][:_MOST_ODD]
    alone = (odd[:, None] == bins.stretch).astype(np.float64)
    chance = [
        np.full(_HOLDS.size, (1.0 - _ODD) / _HOLDS.size),
        np.full(odd.size, _ODD / odd.size),
    ]
    return _Shapes(
        mean=np.concatenate([mean, alone]),
        sd=np.concatenate([sd, np.zeros(alone.shape)]),
        in_fit=np.concatenate([in_fit, np.zeros(alone.shape)]),
        values=np.concatenate([values, np.zeros((odd.size, values.shape[1]))]),
        chance=np.concatenate(chance),
    )


def _ramp(torque: Floats, holds: Floats) -> Floats:
    return np.asarray(np.clip((torque - holds) / (1.0 - holds), 0.0, 1.0))


def _over(torque: Floats, u: Floats, holds: Floats) -> tuple[Floats, Floats]:
    """Return mean and standard deviation of (T - T0) / (1 - T0), not below 0, T ~ N(torque, u²)."""
    z = (torque - holds) / u
    density, below = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi), ndtr(z)
    mean = u * (z * below + density)
    square = u**2 * ((z**2 + 1.0) * below + z * density)
    sd = np.sqrt(np.maximum(square - mean**2, 0.0))
    return mean / (1.0 - holds), sd / (1.0 - holds)
