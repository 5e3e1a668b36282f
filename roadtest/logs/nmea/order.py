"""Puts fixes in order of time and says which of them can't stand there."""

from __future__ import annotations

from bisect import bisect_left
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.model import Ints
from roadtest.logs.nmea.epochs import (
    DUPLICATE,
    IS_FIX,
    LEAP_SECOND,
    OUT_OF_ORDER,
    STANDS_STILL,
    Epochs,
)
from roadtest.logs.nmea.sentences import Bools

Codes = NDArray[np.uint8]

# Our own bounds: fixes that stand within 10 s of their neighbours in the file, or three and more in
# a row, were written out of order; a lone one elsewhere has a wrong time.
_NEAR_US: Final = 10_000_000
_FEWEST_IN_BLOCK: Final = 3
_ALONE_US: Final = 86_400_000_000
_MOST_ALONE: Final = 2
_FEWEST_OTHERS: Final = 10


def order_reasons(epochs: Epochs) -> tuple[Codes, tuple[str, ...]]:
    """Return why each epoch can't stand in the order of time, as index into REASONS, and remarks.

    Epochs that are no fix already keep their reason. Of the fixes left, times increase strictly.
    """
    reason = epochs.reason.copy()
    good = reason == IS_FIX
    if good.all() and (np.diff(epochs.key) > 0).all() and (np.diff(epochs.place) > 0).all():
        return _without_lone_times(epochs, reason), ()
    _mark_leap_seconds(epochs, reason)
    _mark_duplicates(epochs, reason)
    moved = _mark_out_of_order(epochs, reason)
    remarks: tuple[str, ...] = ()
    if moved:
        remarks = (f"fixes out of order in the file, put in order of time: {moved}",)
    return _without_lone_times(epochs, reason), remarks


def _mark_leap_seconds(epochs: Epochs, reason: Codes) -> None:
    """Refuse second 60 where the next minute begins with a fix of its own.

    Seconds since 1970 leave no room for a leap second. Where there is no such fix the receiver
    had only rounded up to 60.
    """
    at = np.flatnonzero((reason == IS_FIX) & epochs.sixty)
    others = epochs.key[(reason == IS_FIX) & ~epochs.sixty]
    reason[at[np.isin(epochs.key[at], others)]] = LEAP_SECOND


def _mark_duplicates(epochs: Epochs, reason: Codes) -> None:
    """Refuse fixes that repeat the time and position of an earlier one in the file."""
    at = np.flatnonzero(reason == IS_FIX)
    key = epochs.key[at]
    starts = np.diff(key, prepend=key[:1] - 1) != 0
    leader = at[np.maximum.accumulate(np.where(starts, np.arange(at.size), 0))]
    # The same position may be written with fewer decimals the second time.
    coarser = np.minimum(epochs.decimals[at], epochs.decimals[leader])
    tolerance_deg = 0.6 * 10.0**-coarser / 60.0
    same = np.abs(epochs.latitude_deg[at] - epochs.latitude_deg[leader]) <= tolerance_deg
    same &= np.abs(epochs.longitude_deg[at] - epochs.longitude_deg[leader]) <= tolerance_deg
    reason[at[~starts & same]] = DUPLICATE


def _mark_out_of_order(epochs: Epochs, reason: Codes) -> int:
    """Refuse fixes whose time fits nowhere; return how many were only out of order."""
    at = np.flatnonzero(reason == IS_FIX)
    at = at[np.argsort(epochs.place[at], kind="stable")]  # in file order
    key = epochs.key[at]
    if (np.diff(key) > 0).all():
        return 0
    steady = _longest_increasing(key)
    odd = np.flatnonzero(~steady)
    near = _near_neighbours(epochs.time_us[at], steady)[odd]
    taken = np.isin(key[odd], key[steady])
    block = ~taken & _in_blocks(odd, key[odd], taken)
    stands_still = taken & near
    wrong = (taken & ~near) | (~taken & ~near & ~block)
    fits = np.flatnonzero(~stands_still & ~wrong)
    _, firsts = np.unique(key[odd[fits]], return_index=True)
    again = np.ones(fits.size, dtype=np.bool_)
    again[firsts] = False
    stands_still[fits[again]] = True
    reason[at[odd[stands_still]]] = STANDS_STILL
    reason[at[odd[wrong]]] = OUT_OF_ORDER
    return int(firsts.size)


def _longest_increasing(key: Ints) -> Bools:
    """Return which elements make up the longest strictly increasing subsequence.

    Patience sorting, O(n log n) [textbook algorithm, from memory].
    """
    values = key.tolist()
    tails: list[int] = []
    tail_at: list[int] = []
    before = np.full(len(values), -1, dtype=np.int64)
    for at, value in enumerate(values):
        pile = bisect_left(tails, value)
        if pile:
            before[at] = tail_at[pile - 1]
        if pile == len(tails):
            tails.append(value)
            tail_at.append(at)
        elif value < tails[pile]:  # of equal times the first stays
            tails[pile] = value
            tail_at[pile] = at
    chosen = np.zeros(len(values), dtype=np.bool_)
    at = tail_at[-1]
    while at >= 0:
        chosen[at] = True
        at = int(before[at])
    return chosen


def _near_neighbours(time_us: Ints, steady: Bools) -> Bools:
    """Return which fixes have a time near that of the steady fix before or after them."""
    rows = np.arange(time_us.size)
    at = np.flatnonzero(steady)
    after = at[np.minimum(np.searchsorted(at, rows), at.size - 1)]
    before = at[np.maximum(np.searchsorted(at, rows, side="right") - 1, 0)]
    near: Bools = np.abs(time_us - time_us[before]) <= _NEAR_US
    near |= np.abs(time_us - time_us[after]) <= _NEAR_US
    return near


def _in_blocks(odd: Ints, key: Ints, taken: Bools) -> Bools:
    """Return which odd fixes stand in a run of the file of several with increasing times."""
    fresh = np.ones(odd.size, dtype=np.bool_)
    fresh[1:] = (np.diff(odd) > 1) | (np.diff(key) <= 0) | (taken[1:] != taken[:-1])
    run = np.cumsum(fresh) - 1
    in_block: Bools = np.bincount(run)[run] >= _FEWEST_IN_BLOCK
    return in_block


def _without_lone_times(epochs: Epochs, reason: Codes) -> Codes:
    """Refuse one or two fixes a day or more from all others: a receiver's first guess of a date."""
    at = np.flatnonzero(reason == IS_FIX)
    fresh = np.diff(epochs.time_us[at], prepend=epochs.time_us[at[:1]]) > _ALONE_US
    cluster = np.cumsum(fresh)
    size = np.bincount(cluster) if at.size else np.zeros(1, dtype=np.int64)
    if size.size > 1 and size.max() >= _FEWEST_OTHERS:
        reason[at[size[cluster] <= _MOST_ALONE]] = OUT_OF_ORDER
    return reason
