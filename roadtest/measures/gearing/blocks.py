"""Stretches of a second or so with one gear engaged: what ratios are worked out from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.gearing.bending import Bending
from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.sequence import Sequence
from roadtest.measures.gearing.turns import Turns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_LENGTH_S: Final = 1.0
_MOST_BLOCKS: Final = 900  # longer drives have longer blocks
_AFTER_SHIFT_S: Final = 0.8  # for a filtered tach (time constant 0.1 to 0.3 s) to settle
_BEFORE_SHIFT_S: Final = 0.3
LIGHT_MPS2: Final = (-0.4, 1.3)
"""Of push: from the engine's own braking to easy driving. Harder slowing is done with the brakes,
and how much of it by the driven wheels is not known."""
_LIGHT_TORQUE: Final = 0.5
"""Of the most torque seen: a clutch that holds less is hardly driven on (our choice)."""
_MOST_TORQUE: Final = 0.98  # quantile: the very highest is the luckiest
_TIGHT_PM2: Final = 0.5 / 25.0**2
"""½·κ² of a tight turn: where an antenna 1.6 m off the axle would be 0.2 % fast."""
_SLOW_ROWS_S: Final = 2.0
_LEAST_LIGHT_S: Final = 3.0
_LEAST_ROWS: Final = 3  # of which one that blends two gears stands out
_SLOWEST_MPS: Final = 3.0


@dataclass(frozen=True)
class Blocks:
    """Means over each block, [b] each."""

    gear: Ints
    time_s: Floats
    clock_s: Floats
    length_s: Floats
    samples: Floats  # how many
    log_turns: Floats
    u_unsmoothed: Floats
    late: Floats
    swing: Floats
    bending: Bending
    push_mps2: Floats
    push_square: Floats  # mean of push · |push|
    acceleration_mps2: Floats
    u_acceleration_mps2: Floats
    speed_mps: Floats
    u_speed_mps: Floats
    climb_mps2: Floats
    u_grade: Floats
    rpm: Floats
    plateaus: Floats  # how many different readings followed one another in it
    slow_rows: bool  # rows are seconds apart, and may blend two gears
    changes: Floats  # of such rows: how many of the two neighbours are in another gear
    seconds: Floats  # [k], locked time of each gear, light or not
    easily: Bools  # [k], gears whose driving without load is enough to be told by


def blocks_of(
    evidence: Evidence, samples: EngineSamples, turns: Turns, sequence: Sequence, count: int
) -> Blocks:
    """Return the blocks of settled, light-load driving in each of `count` gears.

    Tight turns are left out, and pulls, where a clutch may slip, and what takes much of the
    torque the engine was seen to give: in a high gear that is easy driving. A gear with too little
    light driving gets its loaded samples too, with the creep's uncertainty that goes with their
    load; slow rows next to a change of gear, which may be blends, are no such driving.
    """
    fix_s = float(np.median(np.diff(evidence.motion.time_s)))
    settled = _settled(turns, sequence, fix_s) & turns.usable & (turns.speed_mps > _SLOWEST_MPS)
    light = (turns.push_mps2 > LIGHT_MPS2[0]) & (turns.push_mps2 < LIGHT_MPS2[1])
    light &= ~_much_torque(turns, sequence)
    light &= turns.bending.curve_square + turns.bending.u_curve_square < _TIGHT_PM2
    for manoeuvre in evidence.manoeuvres:
        if manoeuvre.kind == "pull":
            first = np.searchsorted(turns.time_s, manoeuvre.start_s)
            light[first : np.searchsorted(turns.time_s, manoeuvre.end_s, "right")] = False
    interval = turns.interval_s
    chosen, changes = settled & light, _changes(turns, sequence)
    easily = np.ones(count, dtype=bool)
    for gear in range(count):
        mine = settled & (sequence.gear == gear)
        easy = interval[mine & light & (changes == 0.0)]
        if easy.sum() < _LEAST_LIGHT_S or easy.size < _LEAST_ROWS:
            easily[gear] = False
            chosen |= mine & (turns.push_mps2 > LIGHT_MPS2[0])
    seconds = np.array(
        [interval[sequence.locked & (sequence.gear == g)].sum() for g in range(count)]
    )
    return _means(samples, turns, sequence, np.flatnonzero(chosen), changes, seconds, easily)


def _much_torque(turns: Turns, sequence: Sequence) -> Bools:
    """Return which samples [n] take so much of the engine's torque that a clutch may slip."""
    torque = np.where(turns.usable, turns.push_mps2 * np.exp(-turns.free_of_creep), 0.0)
    geared = (sequence.gear >= 0) & turns.usable & (turns.speed_mps > _SLOWEST_MPS)
    if not geared.any():
        return geared
    return np.asarray(torque > _LIGHT_TORQUE * np.quantile(torque[geared], _MOST_TORQUE))


def _settled(turns: Turns, sequence: Sequence, fix_s: float) -> Bools:
    """Return which samples [n] are locked and far enough from any change of state.

    Acceleration jumps at a change of gear; a speed between fixes `fix_s` apart is told across it.
    """
    locked = sequence.locked
    if locked.size < 3 or _slow_rows(turns):
        return locked  # rows so far apart are mostly next to a change
    cut = np.flatnonzero(_cuts(turns, sequence))
    time = turns.time_s
    begins = np.concatenate([[0], cut + 1])
    ends = np.concatenate([cut, [time.size - 1]])
    which = np.repeat(np.arange(begins.size), ends - begins + 1)
    since, until = time - time[begins][which], time[ends][which] - time
    return np.asarray(
        locked & (since >= max(_AFTER_SHIFT_S, fix_s)) & (until >= max(_BEFORE_SHIFT_S, fix_s))
    )


def _slow_rows(turns: Turns) -> bool:
    return float(np.median(turns.interval_s)) > _SLOW_ROWS_S


def _cuts(turns: Turns, sequence: Sequence) -> Bools:
    """Return between which samples [n - 1] the state changes, or the log has a hole."""
    state = np.where(sequence.locked, sequence.gear, -1)
    hole = np.diff(turns.time_s) > 2.0 * turns.interval_s[:-1]
    return np.asarray((np.diff(state) != 0) | hole)


def _changes(turns: Turns, sequence: Sequence) -> Floats:
    """Return how many neighbours [n] of a slow row are in another state; 0 where rows are fast."""
    if not _slow_rows(turns):
        return np.zeros(turns.time_s.size)
    cut = np.concatenate([[False], _cuts(turns, sequence), [False]]).astype(np.float64)
    return np.asarray(cut[:-1] + cut[1:])


def _means(
    samples: EngineSamples,
    turns: Turns,
    sequence: Sequence,
    index: Ints,
    changes: Floats,
    seconds: Floats,
    easily: Bools,
) -> Blocks:
    time, gear = turns.time_s[index], sequence.gear[index]
    interval = turns.interval_s[index]
    length = max(_LENGTH_S, float(interval.sum()) / _MOST_BLOCKS)
    new_run = np.ones(index.size, dtype=bool)
    new_run[1:] = (np.diff(index) > 1) | (np.diff(gear) != 0)
    run = np.cumsum(new_run) - 1
    since = time - time[new_run][run] if index.size else time
    new_value = np.ones(index.size, dtype=bool)
    new_value[1:] = new_run[1:] | (np.diff(turns.rpm[index]) != 0.0)
    piece = np.floor(since / length + 1e-9)
    # A reading that stays put has one rounding error, however long: it is one block.
    first = new_run.copy()
    if index.size:
        first[1:] |= np.diff(piece) > 0
    if samples.step_rpm > 0.0:
        first = _at_plateaus(first, new_value)
    start = np.flatnonzero(first)
    count = np.diff(np.append(start, index.size)).astype(np.float64)

    def mean(values: Floats) -> Floats:
        if not start.size:
            return np.zeros(0)
        return np.asarray(np.add.reduceat(values, start) / count)

    push = turns.push_mps2[index]
    return Blocks(
        gear=gear[start],
        time_s=mean(time),
        clock_s=mean(turns.clock_s[index]),
        length_s=mean(interval) * count,
        samples=count,
        log_turns=mean(turns.log_turns[index]),
        u_unsmoothed=np.sqrt(mean(turns.u_unsmoothed[index] ** 2)),
        late=mean(turns.late[index]),
        swing=mean(turns.swing[index]),
        bending=Bending(
            mean(turns.bending.rate_square[index]),
            mean(turns.bending.felt_square[index]),
            mean(turns.bending.curve_square[index]),
            mean(turns.bending.u_curve_square[index]),
        ),
        push_mps2=mean(push),
        push_square=mean(push * np.abs(push)),
        acceleration_mps2=mean(turns.acceleration_mps2[index]),
        u_acceleration_mps2=mean(turns.u_acceleration_mps2[index]),
        speed_mps=mean(turns.speed_mps[index]),
        u_speed_mps=np.sqrt(mean(turns.u_speed_mps[index] ** 2)),
        climb_mps2=mean(turns.climb_mps2[index]),
        u_grade=mean(turns.u_grade[index]),
        rpm=mean(turns.rpm[index]),
        plateaus=mean(new_value.astype(np.float64)) * count,
        slow_rows=_slow_rows(turns),
        changes=mean(changes[index]),
        seconds=seconds,
        easily=easily,
    )


def _at_plateaus(first: Bools, new_value: Bools) -> Bools:
    """Return block starts moved on to where the reading next changes."""
    plateau = np.cumsum(new_value) - 1
    begins = np.flatnonzero(new_value)
    moved = np.zeros(first.size, dtype=bool)
    wanted = np.flatnonzero(first)
    target = np.where(
        new_value[wanted],
        wanted,
        np.append(begins, first.size)[plateau[wanted] + 1],
    )
    moved[target[target < first.size]] = True
    return moved
