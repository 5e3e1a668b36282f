"""Tells two receivers (or two solutions of one) in a log apart by their talkers."""

from __future__ import annotations

from typing import Final

import numpy as np

from roadtest.logs.model import Ints
from roadtest.logs.nmea.columns import FIX, GOOD, Rows
from roadtest.logs.nmea.sentences import GLL, RMC, Bools

# GN stands for a solution from several satellite systems, and is taken unless it has clearly fewer
# fixes than another talker. Our own choice.
_GN_FAVOUR: Final = 1.1
_MOST_TALKERS: Final = 8
_FEWEST_INTERLEAVED: Final = 10


def talker_name(talker: int) -> str:
    """Return the two letters of a talker."""
    return chr(talker >> 8) + chr(talker & 255)


def chosen_talkers(rows: Rows, key: Ints) -> Ints:
    """Return the talkers to use, the one with most fixes first.

    Two talkers compete where both send sentences of one kind for the same moments, or by turns
    all along the file; then one of them is left out. Talkers that share the work (GGA from one, RMC
    from the other) or follow each other stay together.

    Parameters
    ----------
    rows : [n] TIMED, in file order
    key : [n] time of each row, in whole units of time
    """
    fixes = rows["kind"] <= GLL
    talkers = np.unique(rows["talker"][fixes])
    if talkers.size < 2:
        return talkers.astype(np.int64)
    ranked = _ranked(rows.where(fixes), talkers)
    kept: list[int] = []
    for talker in ranked[:_MOST_TALKERS]:
        if not any(_compete(rows, key, talker, other) for other in kept):
            kept.append(talker)
    return np.array(kept, dtype=np.int64)


def _ranked(rows: Rows, talkers: Ints) -> list[int]:
    good = (rows["claim"] == FIX) & (rows["position"] == GOOD)
    number = np.searchsorted(talkers, rows["talker"])
    fixes = np.bincount(number[good], minlength=talkers.size).astype(np.float64)
    fixes[talkers == int.from_bytes(b"GN", "big")] *= _GN_FAVOUR
    sentences = np.bincount(number, minlength=talkers.size)
    return [int(talkers[index]) for index in np.lexsort((talkers, -sentences, -fixes))]


def _compete(rows: Rows, key: Ints, one: int, other: int) -> bool:
    return any(_compete_in(rows, key, kind, (one, other)) for kind in range(RMC, GLL + 1))


def _compete_in(rows: Rows, key: Ints, kind: int, pair: tuple[int, int]) -> bool:
    of_kind = rows["kind"] == kind
    first = of_kind & (rows["talker"] == pair[0])
    second = of_kind & (rows["talker"] == pair[1])
    fewer = min(int(np.count_nonzero(first)), int(np.count_nonzero(second)))
    if fewer == 0:
        return False
    if 2 * np.intersect1d(key[first], key[second]).size > fewer:
        return True
    return fewer >= _FEWEST_INTERLEAVED and 2 * _turns(first, second) > fewer


def _turns(first: Bools, second: Bools) -> int:
    """Return how often the file changes between the two."""
    whose = first[first | second]
    return int(np.count_nonzero(whose[1:] != whose[:-1]))
