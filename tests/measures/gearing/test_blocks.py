"""What ratios are worked out from: easy driving, and where there is too little of it all of it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np

from roadtest.evidence import Evidence
from roadtest.measures.gearing.bending import Bending
from roadtest.measures.gearing.blocks import Blocks, blocks_of
from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.sequence import BETWEEN, Sequence
from roadtest.measures.gearing.turns import Turns

ROWS_S = 4.0
EASY, HARD = 0.3, 2.0  # of push


def counted(gear: list[int], push: list[float]) -> list[int]:
    """Return how many blocks there are of either gear in rows four seconds apart."""
    return np.bincount(blocks_in(gear, push).gear, minlength=2).tolist()


def blocks_in(gear: list[int], push: list[float]) -> Blocks:
    n = len(gear)
    zero, time = np.zeros(n), ROWS_S * np.arange(n)
    speed = np.full(n, 18.0)
    turns = Turns(
        time_s=time,
        clock_s=time,
        rpm=np.linspace(2000.0, 3000.0, n),
        speed_mps=speed,
        u_speed_mps=np.full(n, 0.03),
        acceleration_mps2=zero,
        u_acceleration_mps2=zero,
        push_mps2=np.array(push),
        climb_mps2=zero,
        u_grade=zero,
        log_turns=zero,
        u_log=np.full(n, 0.005),
        u_unsmoothed=zero,
        late=zero,
        bending=Bending(zero, zero, zero, zero),
        swing=zero,
        usable=np.ones(n, dtype=np.bool_),
    )
    samples = EngineSamples("tach.csv", "elapsed", time, turns.rpm, 8.0, 0.0, 1.0 / ROWS_S)
    still = SimpleNamespace(motion=SimpleNamespace(time_s=time), manoeuvres=())
    sequence = Sequence(np.array(gear), np.zeros(n, dtype=np.bool_))
    return blocks_of(cast(Evidence, still), samples, turns, sequence, 2)


def test_one_row_is_no_easy_driving_however_long_it_stands_for() -> None:
    """It may blend two gears: beside loaded rows of the same gear that would stand out."""
    gear, push = [0] * 20 + [1] * 6, [EASY] * 20 + [EASY] + [HARD] * 5
    assert counted(gear, push) == [20, 6]
    gear, push = [0] * 20 + [1] * 7, [EASY] * 20 + [EASY] * 2 + [HARD] * 5
    assert counted(gear, push) == [20, 7]


def test_where_there_is_easy_driving_loaded_rows_are_left_out() -> None:
    gear, push = [0] * 20 + [1] * 9, [EASY] * 20 + [EASY] * 4 + [HARD] * 5
    assert counted(gear, push) == [20, 4]


def test_slow_rows_next_to_another_gear_are_no_easy_driving() -> None:
    """They may blend two gears: beside loaded rows of the same gear that stands out."""
    pull = [EASY] + [HARD] * 4 + [EASY]
    gear = [0] * 8 + 2 * ([1] * 6 + [BETWEEN])
    blocks = blocks_in(gear, [EASY] * 8 + 2 * [*pull, EASY])
    assert np.bincount(blocks.gear).tolist() == [8, 12]
    assert blocks.changes[blocks.gear == 0].tolist() == [0.0] * 7 + [1.0]
    assert blocks.changes[blocks.gear == 1].tolist() == 2 * [1.0, 0.0, 0.0, 0.0, 0.0, 1.0]
