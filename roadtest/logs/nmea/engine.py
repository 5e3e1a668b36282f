"""Engine speed from RPM sentences, which have no time of their own."""

from __future__ import annotations

import numpy as np

from roadtest.logs.model import Floats, Ints, TachLog
from roadtest.logs.nmea.accounts import Accounts
from roadtest.logs.nmea.columns import Rows
from roadtest.logs.nmea.sentences import RPM

_MOST_RPM = 30_000.0  # our own bound: no road engine turns faster


def engine_log(untimed: Rows, anchors: tuple[Ints, Ints], data: bytes, name: str) -> TachLog | None:
    """Return the engine speed in a log, or None where no RPM sentence speaks of an engine.

    The first sentence behind the beginning of an epoch has that epoch's time; the others up to the
    next epoch are spread evenly. What the sentences are late by is part of the clock difference
    that is found later.

    Parameters
    ----------
    untimed : UNTIMED rows
    anchors : place in the file ([n], bytes) and time ([n], µs) of epochs with a time to trust, in
        file order
    """
    rows = untimed.where(untimed["kind"] == RPM)
    if not (rows["engine"] >= 0).any():
        return None
    accounts, remarks = Accounts(), []
    shaft = rows["engine"] < 0
    engines, sentences = np.unique(rows["engine"][~shaft], return_counts=True)
    engine = engines[np.argmax(sentences)]
    used = rows["engine"] == engine
    if engines.size > 1:
        remarks.append(f"RPM sentences of {engines.size} engines; engine {engine} is used")
    accounts.add("shaft, not engine", rows["place"][shaft])
    accounts.add("another engine", rows["place"][~used & ~shaft])
    good = np.isfinite(rows["rpm"])
    accounts.add("no engine speed", rows["place"][used & ~good])
    possible = rows["rpm"] <= _MOST_RPM
    accounts.add("engine speed out of range", rows["place"][used & good & ~possible])
    kept = rows.where(used & good & possible)
    time_s = _times(kept["place"], anchors)
    order = np.argsort(time_s, kind="stable")
    fresh = np.diff(time_s[order], prepend=-np.inf) > 0.0
    accounts.add("duplicate time", kept["place"][order[~fresh]])
    order = order[fresh]
    return TachLog(
        name=name,
        clock="utc",
        time_s=time_s[order],
        rpm=kept["rpm"][order].astype(np.float64),
        rows_read=int(rows.size),
        rejected=accounts.losses(data),
        remarks=tuple(remarks),
    )


def _times(place: Ints, anchors: tuple[Ints, Ints]) -> Floats:
    """Return the time of each sentence, s since 1970."""
    anchor_place, anchor_us = anchors
    anchor_s = anchor_us / 1e6
    slot = np.searchsorted(anchor_place, place, side="right") - 1  # -1 before the first anchor
    in_slot = np.bincount(slot + 1, minlength=anchor_s.size + 1)
    begins = np.cumsum(in_slot) - in_slot
    number = np.arange(place.size) - begins[slot + 1]
    spacing = _spacing(anchor_s, in_slot[1:])
    time_s = anchor_s[np.maximum(slot, 0)] + number * spacing[np.maximum(slot, 0)]
    early = slot < 0
    # Those before the first epoch run up to it at the usual spacing.
    time_s[early] = anchor_s[0] - (in_slot[0] - number[early]) * _usual(spacing, in_slot[1:])
    return time_s


def _spacing(anchor_s: Floats, count: Ints) -> Floats:
    """Return the time from one sentence to the next behind each anchor, s."""
    gap = np.diff(anchor_s, append=np.nan)
    spacing = gap / np.maximum(count, 1)
    usual = _usual(spacing, count)
    # Over a gap in the log, at the end of the file and where blocks are out of order.
    odd = ~(spacing > 0.0) | (spacing > 2.0 * usual)
    return np.where(odd, usual, spacing)


def _usual(spacing: Floats, count: Ints) -> float:
    some = (count > 0) & (spacing > 0.0)
    return float(np.median(spacing[some])) if some.any() else 1.0
