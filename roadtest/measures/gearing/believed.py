"""Whether each gear is believed: a gear more has to explain what is seen better by enough.

What is seen is a mixture: some of the time is spent in each gear, the rest at ratios that mean
nothing (clutch in, rolling in neutral, rows that blend two gears) and lie about smoothly. A gear is
worth having when the likelihood with it, its ratio and its share of the time integrated out, is
larger than without it. So a chance heap of blends, wider than the instruments can be, is no gear.

Reference: G. Schwarz, Annals of Statistics 6 (1978), 461; D. J. C. MacKay, Information Theory,
Inference and Learning Algorithms, chapter 28 [values from memory].
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NU: Final = 4.0  # tails of a sample in gear, as in the sequence
_SMOOTH: Final = 0.2
"""How smoothly ratios that mean nothing lie about, in the logarithm: blends spread over a whole
step between gears, which is 1.2 to 2 (common practice, no published source)."""
_INDEPENDENT_S: Final = 0.5  # samples nearer in time than this tell the same (our choice)
_STEP: Final = 0.002
_FINEST: Final = 0.004
_ROUNDS: Final = 25


@dataclass(frozen=True)
class Cells:
    """Samples gathered into cells of equal ratio and spread, [m] each."""

    value: Floats  # log turns per metre
    spread: Floats  # standard
    weight: Floats  # how many independent samples


def gathered(value: Floats, spread: Floats, seconds: Floats) -> Cells:
    """Return samples ([n] log turns per metre, its standard uncertainty, time each stands for)."""
    weight = np.minimum(seconds / _INDEPENDENT_S, 1.0)
    sharp = np.round(2.0 * np.log2(np.maximum(spread, _FINEST) / _FINEST)).astype(np.int64)
    place = np.round(value / _STEP).astype(np.int64)
    first, kinds = place.min(initial=0), sharp.max(initial=0) + 1
    cell = (place - first) * kinds + sharp  # counted, not sorted: there are few of them
    cells = np.flatnonzero(np.bincount(cell))
    return Cells(
        value=np.asarray((cells // kinds + first) * _STEP, dtype=np.float64),
        spread=np.asarray(_FINEST * 2.0 ** (0.5 * (cells % kinds)), dtype=np.float64),
        weight=np.bincount(cell, weight)[cells].astype(np.float64),
    )


def believed(modes: Floats, cells: Cells) -> Floats:
    """Return those of `modes` [k] that are worth having; the least worthy go first."""
    kept = np.asarray(modes, dtype=np.float64)
    while kept.size and cells.value.size:
        gains = np.array([gain(kept, k, cells) for k in range(kept.size)])
        worst = int(np.argmin(gains))
        if gains[worst] > 0.0:
            break
        kept = np.delete(kept, worst)
    return kept


def gain(modes: Floats, which: int, cells: Cells) -> float:
    """Return by how much mode `which` raises the log evidence."""
    locked = _locked(cells, modes)
    others = np.delete(locked, which, axis=1)
    without = np.column_stack([others, _free(cells, others)])
    _, before = _shares(without, cells.weight)
    shares, after = _shares(np.column_stack([without, locked[:, which]]), cells.weight)
    mixed = np.column_stack([without, locked[:, which]]) * shares
    own = cells.weight * mixed[:, -1] / mixed.sum(axis=1)
    # The ratio could have been anything that is seen at all; it is known to `u`.
    u = 1.0 / math.sqrt(max(float((own / cells.spread**2).sum()), 1e-9))
    wide = max(float(np.ptp(cells.value)), math.sqrt(2.0 * math.pi) * u)
    price = math.log(wide / (math.sqrt(2.0 * math.pi) * u))
    return after - before - price - 0.5 * math.log(max(float(cells.weight.sum()), 1.0))


def _locked(cells: Cells, modes: Floats) -> Floats:
    """Return the densities [m, k] of each cell in each gear: Student's t."""
    off = (cells.value[:, None] - modes) / cells.spread[:, None]
    norm = math.exp(math.lgamma(0.5 * (_NU + 1.0)) - math.lgamma(0.5 * _NU))
    tail = (1.0 + off**2 / _NU) ** (-0.5 * (_NU + 1.0))
    return np.asarray(norm / math.sqrt(_NU * math.pi) * tail / cells.spread[:, None])


def _free(cells: Cells, locked: Floats) -> Floats:
    """Return the density [m] of ratios that mean nothing: what no gear explains, made smooth."""
    rest = cells.weight.copy()
    smooth = _smoothed(cells.value, rest)
    for _ in range(2):
        parts = np.column_stack([locked, smooth])
        shares, _ = _shares(parts, cells.weight)
        mixed = parts * shares
        rest = cells.weight * mixed[:, -1] / mixed.sum(axis=1)
        smooth = _smoothed(cells.value, rest)
    return smooth


def _smoothed(value: Floats, weight: Floats) -> Floats:
    """Return the density of `value` at itself, by a normal kernel on a grid."""
    step = 0.1 * _SMOOTH
    place = np.round((value - value.min()) / step).astype(np.int64)
    counts = np.bincount(place, weights=weight)
    reach = np.arange(-40, 41) * 0.1
    kernel = np.exp(-0.5 * reach**2)
    density = np.convolve(counts, kernel / kernel.sum())[40 : 40 + counts.size] / step
    return np.asarray(np.maximum(density / max(float(weight.sum()), 1e-9), 1e-9)[place])


def _shares(parts: Floats, weight: Floats) -> tuple[Floats, float]:
    """Return the shares [p] of the parts of a mixture and its log likelihood."""
    shares = np.full(parts.shape[1], 1.0 / parts.shape[1])
    for _ in range(_ROUNDS):
        mixed = parts * shares
        own = mixed / mixed.sum(axis=1, keepdims=True)
        shares = weight @ own / weight.sum()
    return shares, float(weight @ np.log((parts * shares).sum(axis=1)))
