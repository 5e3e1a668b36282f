"""From a tach log to gears: clock, sequence and ratios, each made better by the others."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.gearing.blocks import Blocks, blocks_of
from roadtest.measures.gearing.clock import Shift, find_shift, is_fixed
from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.modes import GEARS_APART, find_modes
from roadtest.measures.gearing.ratios import Fit, fit_ratios
from roadtest.measures.gearing.road import Road
from roadtest.measures.gearing.sequence import BETWEEN, SLIP_PUSH_MPS2, Sequence, decode
from roadtest.measures.gearing.turns import Clock, Turns, turns_per_metre

Floats = NDArray[np.float64]

_ROUNDS: Final = 6
_LEAST_GEAR_S: Final = 1.5
_LEAST_SHARE: Final = 0.65
"""At least so much of the time the car is driven (not rolling) the engine keeps step with the road
in some gear; with a torque converter it hardly ever does (our choice)."""
_LEAST_LOCKED: Final = 0.5  # of the time it is driven easily, as no clutch slips
_MOST_EXCESS: Final = 5.0
"""More than twice the scatter that the instruments have: then these are no fixed ratios (our
choice; simulated and real manual gearboxes give 0.2 to 1.3)."""
_LIVELY: Final = 0.03  # 1/s, spread of a/v: a drive so lively fixes the clock if it fixes any gear
_DRIVEN_MPS2: Final = 0.3
_MOST_STEP_S: Final = 1.0  # that the offset moves in one round


@dataclass(frozen=True)
class Followed:
    """What one tach log shows. `fit` is None where engine speed follows no fixed ratios."""

    samples: EngineSamples
    clock: Clock
    shifts: tuple[Shift, ...]
    turns: Turns
    sequence: Sequence  # gear: index into fit.gears
    blocks: Blocks | None
    fit: Fit | None
    fixed: bool = True  # whether the drive fixes the tach's clock
    smoothing_s: Floats = field(
        default_factory=lambda: np.zeros(1)
    )  # [c], draws of what the receiver smooths speed over

    @property
    def noise_rpm(self) -> float:
        """Noise of one sample, as the fit found it; rounding not counted."""
        return self.samples.u_rpm * (1.0 if self.fit is None else math.sqrt(self.fit.excess))


def follow(samples: EngineSamples, evidence: Evidence, road: Road) -> Followed:
    """Return what `samples` show of clock, gears and ratios."""
    shifts = find_shift(samples, road)
    start = shifts[0].offset_s if shifts else 0.0
    clock = Clock(start, 0.0, float(samples.time_s[0]))
    turns = turns_per_metre(samples, road, clock)
    modes = find_modes(turns)
    fixed = bool(shifts) and is_fixed(samples, road, start)
    last_step_s = last_drift = np.inf
    last_count = 0
    one_gear = np.empty(0)  # modes that turned out to be another one's gear
    rounds: dict[_Rank, _Round] = {}
    for k in range(_ROUNDS + 1):
        once = _once(evidence, samples, turns, modes, road, clock)
        if once.fit is None or once.blocks is None:
            break
        fit = once.fit
        apart = bool(np.all(np.abs(np.diff(fit.log_turns)) > GEARS_APART))
        if k:  # two that have become one are no two gears
            rank = apart, fit.count
            before = rounds[rank].times if rank in rounds else 0
            rounds[rank] = _Round(before + 1, once, clock, turns)
        if k == _ROUNDS:
            continue
        step = float(np.clip(fit.shift_s, -_MOST_STEP_S, _MOST_STEP_S))
        u_offset = float(np.clip(fit.u_shift_s, 0.02, 0.3))
        if not fixed or fit.u_shift_s > _MOST_STEP_S:
            step, u_offset = 0.0, 0.1  # the drive does not fix it: stay
        kept = once.blocks.seconds[fit.gears] >= _LEAST_GEAR_S
        settled = abs(step) < 0.02 * max(fit.u_shift_s, 1e-3) and bool(kept.all())
        settled = settled and abs(fit.drift) < 0.1 * fit.u_drift
        # Two decodings that lead to each other, a few samples apart: more rounds tell no more. Of
        # the two the one with more gears is kept.
        swings = abs(step + last_step_s) < 0.02 * fit.u_shift_s and kept.size >= last_count
        swings = swings and bool(kept.all())
        settled |= swings and abs(fit.drift + last_drift) < 0.1 * fit.u_drift
        last_step_s, last_drift, last_count = step, fit.drift, kept.size
        # A gear seen, but never settled enough to be fitted, stays where it was seen.
        seconds = once.blocks.seconds
        unfitted = np.setdiff1d(np.flatnonzero(seconds >= _LEAST_GEAR_S), fit.gears)
        if settled and k and apart and kept.size + unfitted.size == modes.size:
            break
        clock = Clock(clock.offset_s + step, clock.drift + fit.drift, fit.from_s, u_offset)
        turns = turns_per_metre(samples, road, clock)
        one_gear = np.append(one_gear, _same_gear(fit, modes, seconds))
        modes = _merged(
            np.append(fit.log_turns[kept], modes[unfitted]),
            np.append(seconds[fit.gears][kept], seconds[unfitted]),
        )
        # A better clock makes more of them stand out, and those of one gear in tight turns again.
        found = find_modes(turns, modes)
        again = np.abs(found[:, None] - one_gear).min(axis=1, initial=np.inf) < 0.5 * GEARS_APART
        modes = found[~again | np.isin(found, modes)]
    else:  # it never settled: no round is better than another, but some tell more gears
        best = _fullest(rounds)
        once, clock, turns = best.once, best.clock, best.turns
    if once.fit is None or not _in_step(turns, once.sequence, once.fit, fixed):
        return Followed(samples, clock, shifts, turns, _nothing(turns), None, None, fixed)
    sequence = _renumbered(once.sequence, once.fit)
    return Followed(
        samples, clock, shifts, turns, sequence, once.blocks, once.fit, fixed, road.smoothed.time_s
    )


@dataclass(frozen=True)
class _Once:
    """One round of decoding and fitting."""

    sequence: Sequence
    blocks: Blocks | None
    fit: Fit | None


def _once(
    evidence: Evidence,
    samples: EngineSamples,
    turns: Turns,
    modes: Floats,
    road: Road,
    clock: Clock,
) -> _Once:
    if not modes.size:
        return _Once(_nothing(turns), None, None)
    sequence = decode(turns, modes)
    blocks = blocks_of(evidence, samples, turns, sequence, modes.size)
    return _Once(sequence, blocks, fit_ratios(blocks, samples, road, clock.drift))


_Rank = tuple[bool, int]  # whether a round's gears are apart, and how many there are


@dataclass(frozen=True)
class _Round:
    """The last round of a rank, and how many there were."""

    times: int
    once: _Once
    clock: Clock
    turns: Turns


def _fullest(rounds: Mapping[_Rank, _Round]) -> _Round:
    """Return the last round that tells most gears; a gear that one round alone tells is none."""
    apart = [rank for rank in rounds if rank[0]] or list(rounds)
    often = [rank for rank in apart if rounds[rank].times > 1]
    return rounds[max(often or apart)]


def _same_gear(fit: Fit, modes: Floats, seconds: Floats) -> Floats:
    """Return the modes, of each two whose gears the fit has made one, that were seen less."""
    pairs = np.flatnonzero(np.abs(np.diff(fit.log_turns)) <= GEARS_APART)
    both = fit.gears[pairs], fit.gears[pairs + 1]
    return np.asarray(modes[np.where(seconds[both[0]] < seconds[both[1]], *both)])


def _merged(modes: Floats, seconds: Floats) -> Floats:
    """Return the modes in order, of any two that have become one the one seen longer."""
    kept: list[float] = []
    for k in np.argsort(-seconds):
        if all(abs(modes[k] - mode) > GEARS_APART for mode in kept):
            kept.append(float(modes[k]))
    return np.sort(np.array(kept))[::-1]


def _in_step(turns: Turns, sequence: Sequence, fit: Fit, fixed: bool) -> bool:
    """Return whether the engine follows the road for most of the time it drives the car."""
    driven = turns.usable & (turns.speed_mps > 3.0) & (turns.push_mps2 > _DRIVEN_MPS2)
    time = turns.interval_s
    total = float(time[driven].sum())
    if total <= 0.0 or fit.excess > _MOST_EXCESS:
        return False
    if not fixed and float(np.std(turns.late[driven])) > _LIVELY:
        return False
    engaged = float(time[driven & (sequence.gear >= 0)].sum()) / total
    easily = driven & (turns.push_mps2 < SLIP_PUSH_MPS2)
    locked = float(time[easily & sequence.locked].sum())
    return engaged >= _LEAST_SHARE and locked >= _LEAST_LOCKED * float(time[easily].sum())


def _renumbered(sequence: Sequence, fit: Fit) -> Sequence:
    """Return the sequence with gears as indices into `fit.gears`."""
    index = np.searchsorted(fit.gears, np.maximum(sequence.gear, 0))
    known = np.isin(sequence.gear, fit.gears)
    gear = np.where(known, index, np.where(sequence.gear >= 0, BETWEEN, sequence.gear))
    return Sequence(gear, sequence.slipping & known)


def _nothing(turns: Turns) -> Sequence:
    n = turns.time_s.size
    return Sequence(np.full(n, BETWEEN, dtype=np.int64), np.zeros(n, dtype=bool))
