"""Which gear is engaged when: a hidden Markov model over the whole drive."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.gearing.turns import Turns
from roadtest.measures.gearing.viterbi import best_path

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEUTRAL: Final = -1
BETWEEN: Final = -2

_NU: Final = 4.0  # tails of a locked sample
_MEDIAN_T4: Final = 0.741  # median of |t| with 4 degrees of freedom
_SCALES: Final = (0.5, 1.5)  # within which the scatter is believed to differ
_SLOW_ROWS_S: Final = 2.0
_NEVER: Final = -30.0
_WIDE: Final = 1.0 / 3.0  # density of a free engine: anything from 400 to 8000 r/min
_MOST_SLIP: Final = 0.30
USUAL_SLIP: Final = 0.05
"""Of a clutch that slips and is driven on: exponential, small slips are likelier (our choice)."""
_PUSHED_MPS2: Final = 0.8
"""A car pushed harder does not roll freely (it would be a grade of 8 % the log does not show)."""
SLIP_PUSH_MPS2: Final = 0.6
_IDLE_SD: Final = 0.12
_SHORTEST_S: Final = 0.5  # a gear engaged for less is not believed
_SHORTEST_SLIPPING_S: Final = 2.0  # nor one that slips all the while, for less than this

# Rates of leaving, 1/s (our choice; the data outweigh them within a few samples).
_UNLOCK: Final = 1 / 15
_TO_NEUTRAL: Final = 1 / 60
_TO_SLIP: Final = 1 / 100
_SLIP_ENDS: Final = 1 / 2
_BETWEEN_ENDS: Final = 1 / 0.8
_NEUTRAL_ENDS: Final = 1 / 10


@dataclass(frozen=True)
class Sequence:
    """The state at every sample of `Turns`, [n] each."""

    gear: Ints  # index into the modes (0 is the lowest gear), NEUTRAL or BETWEEN
    slipping: Bools  # in that gear, but turning faster than it says, under load

    @property
    def locked(self) -> Bools:
        """True where engine and road keep step."""
        return np.asarray((self.gear >= 0) & ~self.slipping)


def decode(turns: Turns, modes: Floats) -> Sequence:
    """Return the most probable gears, given the log turns per metre of each, `modes` [k].

    How far locked samples scatter is taken from what is known of the instruments. Where rows are
    seconds apart, so that speed between fixes is little more than a guess, the samples locked in a
    first pass tell it better.
    """
    first = _decode(turns, modes, 1.0)
    locked = first.locked
    if np.count_nonzero(locked) < 20 or float(np.median(turns.interval_s)) < _SLOW_ROWS_S:
        return first
    off = turns.free_of_creep[locked] - modes[first.gear[locked]]
    scale = float(np.median(np.abs(off) / turns.u_log[locked])) / _MEDIAN_T4
    return _decode(turns, modes, float(np.clip(scale, *_SCALES)))


def _decode(turns: Turns, modes: Floats, scale: float) -> Sequence:
    n, count = turns.time_s.size, modes.size
    if n == 0:
        return Sequence(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool))
    steps, kind = _steps(turns.time_s, count)
    path = best_path(_emissions(turns, modes, scale), steps, kind)
    gear = np.where(path < count, path, path - count)
    gear = np.where(path == 2 * count, NEUTRAL, gear)
    gear = np.where(path == 2 * count + 1, BETWEEN, gear)
    slipping = (path >= count) & (path < 2 * count)
    return _without_glimpses(turns, Sequence(gear, slipping))


def runs(gear: Ints) -> list[tuple[int, int]]:
    """Return first and last + 1 of each stretch of equal values."""
    if gear.size == 0:
        return []
    cuts = np.flatnonzero(np.diff(gear)) + 1
    return list(zip([0, *cuts.tolist()], [*cuts.tolist(), gear.size], strict=True))


def _emissions(turns: Turns, modes: Floats, scale: float) -> Floats:
    """Return log densities [n, 2k + 2] of log engine speed: locked, slipping, neutral, between."""
    usable = turns.usable
    value = np.where(usable, turns.free_of_creep, 0.0)
    off = value[:, None] - modes
    sd = np.maximum(scale * turns.u_log[:, None], 0.003)
    tail = -0.5 * (_NU + 1.0) * np.log1p((off / sd) ** 2 / _NU)
    locked = tail - np.log(sd) + math.lgamma(2.5) - math.lgamma(2.0) - 0.5 * math.log(_NU * math.pi)
    pushed = turns.push_mps2[:, None] > SLIP_PUSH_MPS2
    slips = pushed & (off > 2.0 * sd) & (off < _MOST_SLIP)
    slip = np.where(slips, -off / USUAL_SLIP - math.log(USUAL_SLIP), _NEVER)
    free = np.full(turns.time_s.size, math.log(_WIDE))
    idle = _idle_rpm(turns)
    near_idle = np.exp(-0.5 * (np.log(np.maximum(turns.rpm, 1.0) / idle) / _IDLE_SD) ** 2)
    at_idle = near_idle / (_IDLE_SD * math.sqrt(2.0 * math.pi))
    neutral = np.log(0.7 * at_idle + 0.3 * _WIDE)
    neutral = neutral - 1.0 * (turns.push_mps2 > _PUSHED_MPS2)
    locked = np.where(usable[:, None], locked, _NEVER)
    slip = np.where(usable[:, None], slip, _NEVER)
    return np.column_stack([locked, slip, neutral, free])


def _idle_rpm(turns: Turns) -> float:
    idle = turns.idle_rpm
    if idle is not None:
        return idle
    running = turns.rpm[turns.usable]
    return float(np.quantile(running, 0.02)) if running.size else 900.0


def _steps(time_s: Floats, count: int) -> tuple[Floats, Ints]:
    """Return log step probabilities for a few lengths of step, and which one each sample has."""
    interval = np.diff(time_s, prepend=time_s[0] - 1.0)
    usual = float(np.median(interval[1:])) if time_s.size > 1 else 1.0
    lengths = np.array([0.5, 1.0, 2.0, 5.0, 20.0, 200.0]) * usual
    kind = np.abs(np.log(np.maximum(interval, 1e-3))[:, None] - np.log(lengths)).argmin(axis=1)
    rate = _rates(count)
    # exp(Q·h) as many small steps, which stays a matrix of probabilities.
    small = np.eye(rate.shape[0]) + rate * lengths[:, None, None] / 4096.0
    steps = np.linalg.matrix_power(small, 4096)
    return np.log(np.maximum(steps, 1e-12)), kind.astype(np.int64)


def _rates(count: int) -> Floats:
    """Return the rates [s, s] of going from state to state."""
    neutral, between = 2 * count, 2 * count + 1
    rate = np.zeros((2 * count + 2, 2 * count + 2))
    for gear in range(count):
        rate[gear, between] = _UNLOCK
        rate[gear, neutral] = _TO_NEUTRAL
        rate[gear, count + gear] = _TO_SLIP
        rate[count + gear, gear] = _SLIP_ENDS
        rate[count + gear, between] = _UNLOCK
        rate[between, gear] = _BETWEEN_ENDS / count
        rate[neutral, gear] = _NEUTRAL_ENDS / count
    rate[between, neutral] = 0.25 * _BETWEEN_ENDS
    rate[neutral, between] = _NEUTRAL_ENDS
    return rate - np.diag(rate.sum(axis=1))


def _without_glimpses(turns: Turns, sequence: Sequence) -> Sequence:
    """Return the sequence without gears engaged too shortly to be true."""
    gear, slipping = sequence.gear.copy(), sequence.slipping.copy()
    interval = turns.interval_s
    for start, end in runs(sequence.gear):
        held = interval[start:end].sum()
        slow_rows = interval[start] > _SHORTEST_S
        unlocked = slipping[start:end].all() and held < _SHORTEST_SLIPPING_S
        if gear[start] >= 0 and (unlocked or (held < _SHORTEST_S and not slow_rows)):
            gear[start:end] = BETWEEN
            slipping[start:end] = False
    return Sequence(gear, slipping)
