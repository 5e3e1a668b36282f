"""Gives sentences without a time of their own (VTG, GSA) to the epochs they belong to.

Between two sentences of one epoch there is no doubt. At the border of two epochs, the file's own
custom decides: whether such a sentence closes an epoch or opens one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from roadtest.geodesy import step_lengths
from roadtest.logs.model import Floats, Ints
from roadtest.logs.nmea.columns import Rows
from roadtest.logs.nmea.epochs import IS_FIX, Epochs
from roadtest.logs.nmea.sentences import GSA, VTG, Bools

# Our own choices. A speed written to 0.01 m/s is finer than any receiver's noise.
_FINE_STEP_MPS: Final = 0.01
_FEWEST_VOTES: Final = 3
_CLEAR_RATIO: Final = 0.8
_LONGEST_STEP_S: Final = 5.0


@dataclass(frozen=True)
class Neighbours:
    """The epochs around each untimed sentence in file order, [n]; -1 where there is none."""

    before: Ints
    after: Ints

    def owner(self, opens: bool) -> Ints:
        """Return the epoch of each sentence; `opens`: it stands first in its epoch."""
        return np.where(
            self.before == self.after, self.before, self.after if opens else self.before
        )


def neighbours(rows: Rows, timed: Rows, of_row: Ints) -> Neighbours:
    """Return the epochs of the timed sentences before and after each of `rows` ([n] UNTIMED)."""
    known = of_row >= 0
    epochs = np.concatenate(([-1], of_row[known], [-1]))
    at = np.searchsorted(timed["place"][known], rows["place"])
    return Neighbours(epochs[at], epochs[at + 1])


def with_vtg(epochs: Epochs, untimed: Rows, timed: Rows) -> tuple[Epochs, tuple[str, ...]]:
    """Return the epochs with speed and course of VTG where RMC has none or a coarser one.

    VTG is taken before RMC where it is at least twice as fine, or RMC is coarser than 0.01 m/s,
    and the two agree.
    """
    is_vtg = untimed["kind"] == VTG
    course_lacks = ~np.isfinite(epochs.course_deg)
    speed_lacks = ~np.isfinite(epochs.speed_mps)
    finer = _finer(untimed["step_mps"][is_vtg], epochs.step_mps)
    if not is_vtg.any() or not (finer or (course_lacks | speed_lacks).any()):
        return epochs, ()
    rows = untimed.where(is_vtg)
    around = neighbours(rows, timed, epochs.of_row)
    owner = around.owner(_opens(epochs, rows, around, timed))
    speed_mps = _of_owner(rows["speed_mps"], owner, epochs.key.size)
    course_deg = _of_owner(rows["course_deg"], owner, epochs.key.size)
    remarks: tuple[str, ...] = ()
    if finer:
        agrees = _agree(epochs, speed_mps, float(np.nanmedian(rows["step_mps"])))
        better = np.isfinite(speed_mps) & ~speed_lacks & agrees
        remarks = (_remark(agrees),) if np.any(np.isfinite(speed_mps) & ~speed_lacks) else ()
        speed_lacks |= better
    return replace(
        epochs,
        speed_mps=np.where(speed_lacks, speed_mps, epochs.speed_mps),
        course_deg=np.where(course_lacks, course_deg, epochs.course_deg),
    ), remarks


def with_gsa(epochs: Epochs, untimed: Rows, timed: Rows) -> Epochs:
    """Return the epochs with HDOP of GSA where neither GGA nor GNS has it."""
    lacks = ~np.isfinite(epochs.hdop)
    is_gsa = untimed["kind"] == GSA
    if not (lacks.any() and is_gsa.any()):
        return epochs
    rows = untimed.where(is_gsa)
    owner = neighbours(rows, timed, epochs.of_row).owner(opens=False)
    hdop = _of_owner(rows["hdop"], owner, epochs.key.size)
    return replace(epochs, hdop=np.where(lacks, hdop, epochs.hdop))


def _finer(vtg_step: Floats, rmc_step: Floats) -> bool:
    if not (np.isfinite(vtg_step).any() and np.isfinite(rmc_step).any()):
        return False
    vtg, rmc = float(np.nanmedian(vtg_step)), float(np.nanmedian(rmc_step))
    return vtg <= rmc / 2.0 or (vtg < rmc and rmc > _FINE_STEP_MPS)


def _agree(epochs: Epochs, speed_mps: Floats, step_mps: float) -> bool:
    difference = np.abs(speed_mps - epochs.speed_mps)
    both = np.isfinite(difference)
    if not both.any():
        return False
    return bool(np.median(difference[both]) <= step_mps + np.nanmedian(epochs.step_mps))


def _remark(agrees: bool) -> str:
    if agrees:
        return "speed is taken from VTG, which writes it finer than RMC"
    return "speeds of VTG and RMC differ by more than their rounding; RMC is used"


def _of_owner(values: Floats, owner: Ints, count: int) -> Floats:
    """Return the first known value that each epoch owns, [count], NaN where none."""
    out = np.full(count, np.nan)
    known = np.isfinite(values) & (owner >= 0)
    # Backwards, so that the first one has the last word.
    out[owner[known][::-1]] = values[known][::-1]
    return out


def _opens(epochs: Epochs, rows: Rows, around: Neighbours, timed: Rows) -> bool:
    """Return whether VTG stands first in its epoch in this file.

    By what RMC says of the two epochs in doubt; failing that, by the speed that the positions
    show; failing that, by how the file begins and ends.
    """
    border = (around.before != around.after) & (around.before >= 0) & (around.after >= 0)
    if border.any():
        speed_mps = rows["speed_mps"][border]
        pair = around.before[border], around.after[border]
        for known in (epochs.speed_mps, _travelled_speed(epochs)):
            answer = _nearer(speed_mps, known, pair)
            if answer is not None:
                return answer
    places = timed["place"][epochs.of_row >= 0]
    return bool(rows["place"][0] < places[0] and rows["place"][-1] < places[-1])


def _nearer(speed_mps: Floats, known_mps: Floats, pair: tuple[Ints, Ints]) -> bool | None:
    """Return whether the speeds fit the second epoch of each pair better; None if undecided."""
    before, after = (np.abs(speed_mps - known_mps[epoch]) for epoch in pair)
    tells = np.isfinite(before) & np.isfinite(after) & (before != after)
    if np.count_nonzero(tells) < _FEWEST_VOTES:
        return None
    # A sum of distances, not of squares: single bad epochs must not decide.
    closes, opens = float(before[tells].sum()), float(after[tells].sum())
    if opens < _CLEAR_RATIO * closes:
        return True
    return False if closes < _CLEAR_RATIO * opens else None


def _travelled_speed(epochs: Epochs) -> Floats:
    """Return the speed that the neighbouring positions of each epoch show, m/s, NaN at gaps."""
    speed = np.full(epochs.key.size, np.nan)
    at = np.flatnonzero(epochs.reason == IS_FIX)
    if at.size < 3:
        return speed
    step_s = np.diff(epochs.time_us[at]) / 1e6
    step_m = step_lengths(epochs.latitude_deg[at], epochs.longitude_deg[at])
    good: Bools = (step_s[1:] <= _LONGEST_STEP_S) & (step_s[:-1] <= _LONGEST_STEP_S)
    speed[at[1:-1][good]] = ((step_m[1:] + step_m[:-1]) / (step_s[1:] + step_s[:-1]))[good]
    return speed
