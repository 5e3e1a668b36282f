"""Which dial reading belongs to which hold: by time where it was noted, else by order.

Readings without a time are in the order driven, but a listed speed may never have been held, and a
hold may be there that nobody listed. Every way to pair them in order is weighed, over every dial
law that may be: a reading is paired only where one hold has nearly all the weight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

SURE_ENOUGH: Final = 0.9
"""Least probability of a pairing that is used. Our choice: nine to one."""

NOT_HELD: Final = 0.05  # how often a listed speed is in none of the holds found; our guess
_NOT_LISTED: Final = 0.2  # how often a hold found was not one of those listed; our guess
_LEAST_U_TIME_S: Final = 0.1  # of a reading typed in beside a hold
FASTEST_DIAL_MPS: Final = 45.0  # a reading of nothing may be anywhere on a dial of 100 mph

# Dial laws weighed: shown = scale * true + offset. Half of the dials are within some 3 % (a worn
# tyre), the others off by a gear, an axle or a tyre of the wrong size; a needle is off by a couple
# of mph at most. Our choice, no published source.
_SCALES: Final = np.geomspace(0.6, 1.7, 140)
_OFFSETS_MPS: Final = np.linspace(-3.0, 3.0, 41)
_CLOSE_SCALE_SD: Final = 0.03
_WRONG_GEAR_SD: Final = 0.15
_OFFSET_SD_MPS: Final = 1.0
OFF_LINE_MPS: Final = 0.3  # how far a dial may depart from a straight law, standard


@dataclass(frozen=True)
class HoldSpeeds:
    """The holds in the order driven: ends and mean true speed. Arrays are [n]."""

    start_s: Floats
    end_s: Floats
    speed_mps: Floats
    u_speed_mps: Floats


def time_density(
    time_s: Floats | float, u_time_s: Floats | float, start_s: Floats, end_s: Floats
) -> Floats:
    """Return the density, 1/s, of a noted time where the reading was taken in a hold.

    At any moment of the hold; the noted time is normal about it. The shapes broadcast.
    """
    until, since = ndtr((end_s - time_s) / u_time_s), ndtr((start_s - time_s) / u_time_s)
    return np.asarray((until - since) / (end_s - start_s))


def chances_by_time(time_s: float, u_time_s: float, holds: HoldSpeeds, drive_s: float) -> Floats:
    """Return [n]: the probability that a reading noted at `time_s` was taken in each hold.

    What is left of 1 is for none of them: a reading at any other time of the drive.
    """
    spread = max(u_time_s, _LEAST_U_TIME_S)
    density = time_density(time_s, spread, holds.start_s, holds.end_s)
    weight = (1.0 - NOT_HELD) * density
    return np.asarray(weight / (weight.sum() + NOT_HELD / drive_s))


def chances_in_order(shown_mps: Floats, u_shown_mps: Floats, holds: HoldSpeeds) -> Floats:
    """Return [m, n]: the probability that reading i was taken in hold j, both in order.

    Dynamic programming over all pairings that keep both orders (forward sums times backward sums),
    for each dial law on a grid, added up over the laws with their prior weights.
    """
    m, n = shown_mps.size, holds.speed_mps.size
    if m == 0 or n == 0:
        return np.zeros((m, n))
    scale, offset, prior = dial_laws()
    expected = scale[:, None] * holds.speed_mps + offset[:, None]  # [laws, n]
    spread = np.hypot(u_shown_mps[:, None], np.hypot(holds.u_speed_mps, OFF_LINE_MPS))  # [m, n]
    departure = (shown_mps[:, None, None] - expected.T[None]) / spread[:, :, None]
    pair = np.exp(-0.5 * departure**2) / (spread[:, :, None] * np.sqrt(2.0 * np.pi))
    pair *= (1.0 - NOT_HELD) * (1.0 - _NOT_LISTED)
    before, after = _sums_before(pair), _sums_after(pair)
    of_law = before[:-1, :-1] * pair * after[1:, 1:] * prior
    return np.asarray(of_law.sum(axis=2) / float((after[0, 0] * prior).sum()))


def dial_laws() -> tuple[Floats, Floats, Floats]:
    """Return scale, offset and prior weight of every dial law weighed, [laws] each."""
    scale, offset = (part.ravel() for part in np.meshgrid(_SCALES, _OFFSETS_MPS))
    log = np.log(scale)
    close = np.exp(-0.5 * (log / _CLOSE_SCALE_SD) ** 2) / _CLOSE_SCALE_SD
    wrong = np.exp(-0.5 * (log / _WRONG_GEAR_SD) ** 2) / _WRONG_GEAR_SD
    weight = (close + wrong) * np.exp(-0.5 * (offset / _OFFSET_SD_MPS) ** 2)
    return scale, offset, weight / weight.sum()


# Between two pairs, readings left out are counted before holds left out, so that each pairing is
# counted once: after a hold was left out only a pair or another hold may follow.


def _sums_before(pair: Floats) -> Floats:
    """Return [m+1, n+1, laws]: weight of all pairings of the first i readings and j holds."""
    m, n, laws = pair.shape
    free = np.zeros((m + 1, n + 1, laws))  # no hold left out since the last pair
    whole = np.zeros((m + 1, n + 1, laws))
    free[0, 0] = whole[0, 0] = 1.0
    for i in range(m + 1):
        for j in range(n + 1):
            if i > 0:
                free[i, j] += free[i - 1, j] * (NOT_HELD / FASTEST_DIAL_MPS)
            if i > 0 and j > 0:
                free[i, j] += whole[i - 1, j - 1] * pair[i - 1, j - 1]
            whole[i, j] = free[i, j]
            if j > 0:
                whole[i, j] += whole[i, j - 1] * _NOT_LISTED
    return whole


def _sums_after(pair: Floats) -> Floats:
    """Return [m+1, n+1, laws]: weight of all pairings of what is left after i readings, j holds."""
    m, n, laws = pair.shape
    free = np.zeros((m + 2, n + 2, laws))
    bound = np.zeros((m + 2, n + 2, laws))  # a hold was left out: no reading may be now
    for i in range(m, -1, -1):
        for j in range(n, -1, -1):
            if i == m and j == n:
                free[i, j] = bound[i, j] = 1.0
                continue
            if i < m and j < n:
                bound[i, j] += pair[i, j] * free[i + 1, j + 1]
            if j < n:
                bound[i, j] += _NOT_LISTED * bound[i, j + 1]
            free[i, j] = bound[i, j]
            if i < m:
                free[i, j] += (NOT_HELD / FASTEST_DIAL_MPS) * free[i + 1, j]
    return free[: m + 1, : n + 1]
