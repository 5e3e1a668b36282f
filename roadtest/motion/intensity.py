"""How lively the jerk is, moment by moment.

Intensity lives on bins of about a quarter of a second. Neighbouring bins are tied by a chain of
gamma variables, so that a lively moment makes its neighbours likely to be lively, yet intensity
may rise a thousandfold within a few bins, as it does when the brakes go on. All conditionals are
gamma, which makes the sampler exact and cheap.

Reference: the tying follows the gamma Markov random fields of O. Dikmen and A. T. Cemgil, IEEE
Trans. Audio, Speech and Language Processing 18 (2010) 589 (value from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BIN_S = 0.25
TIE = 1.0
"""Shape of the tie between bins BIN_S apart: the logarithm of intensity changes by about 1.8."""
ANCHOR_FREEDOM = 0.2
ANCHOR_INTENSITY = 0.2
"""(m/s³)²·s: acceleration wandering by 0.3 m/s² within a second, as under a steady foot. It weighs
a fifth of one observation in each bin, so it matters only where the log says little."""

MOST_INTENSITY = 1e5
"""(m/s³)²·s: acceleration changing by 100 m/s² in a tenth of a second, which no car survives. A
chain that runs on beyond it has lost the fixes, and the matrix with it."""


@dataclass(frozen=True)
class Bins:
    """Which intervals share an intensity, and how strongly neighbouring bins are tied."""

    of_interval: Ints  # [n-1], the bin of each interval
    freedom: Floats  # [b], degrees of freedom that the intervals of each bin bring
    tie: Floats  # [b-1], shape of the tie between neighbours; weaker the further apart

    @property
    def count(self) -> int:
        """Number of bins."""
        return int(self.freedom.size)


def bins_for(time_s: Floats, freedom: Floats) -> Bins:
    """Return the bins for knots at `time_s` [n]; an interval longer than a bin is its own.

    `freedom` [n-1] float is what each interval brings.
    """
    middle = 0.5 * (time_s[1:] + time_s[:-1])
    cell = np.floor((middle - time_s[0]) / BIN_S).astype(np.int64)
    cells, index = np.unique(cell, return_inverse=True)
    total = np.bincount(index, weights=freedom)
    return Bins(
        index.astype(np.int64),
        np.asarray(total, dtype=np.float64),
        np.maximum(TIE / np.diff(cells), 0.1),
    )


def draw_precision(
    energy: Floats, precision: Floats, bins: Bins, anchor: float, rng: np.random.Generator
) -> Floats:
    """Return a new draw [b] of 1/intensity of each bin, given the jerk energy of its intervals.

    Parameters
    ----------
    energy : [n-1] float, from `MotionSystem.jerk_energy`
    precision : [b] float, the draw before
    anchor : the intensity that bins are drawn to where the log says little
    """
    own_rate = 0.5 * np.bincount(bins.of_interval, weights=energy, minlength=bins.count)
    own_rate += 0.5 * ANCHOR_FREEDOM * anchor
    shape = 0.5 * bins.freedom + 0.5 * ANCHOR_FREEDOM
    shape[1:] += bins.tie
    shape[:-1] += bins.tie
    for _ in range(2):
        link = rng.gamma(2.0 * bins.tie) / (bins.tie * (precision[1:] + precision[:-1]))
        rate = own_rate.copy()
        rate[1:] += bins.tie * link
        rate[:-1] += bins.tie * link
        precision = np.maximum(rng.gamma(shape) / rate, 1.0 / MOST_INTENSITY)
    return precision


def draw_anchor(precision: Floats, rng: np.random.Generator) -> float:
    """Return a draw of the anchor's intensity given all precisions [b]: how calm this log is."""
    shape = 0.5 * ANCHOR_FREEDOM * (precision.size + 10.0)
    rate = 0.5 * ANCHOR_FREEDOM * (precision.sum() + 10.0 / ANCHOR_INTENSITY)
    return float(rng.gamma(shape) / rate)
