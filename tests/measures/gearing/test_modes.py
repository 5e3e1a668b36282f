"""Which ratios are gears, and which are another gear with the clutch slipping."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from roadtest.measures.gearing.bending import Bending
from roadtest.measures.gearing.creep import creep
from roadtest.measures.gearing.modes import find_modes
from roadtest.measures.gearing.sequence import decode
from roadtest.measures.gearing.turns import Turns

Floats = NDArray[np.float64]

GEARS = np.log([7.0, 4.2, 2.7, 1.93, 1.52])  # fourth is 27 % above fifth
U = 0.008
LIGHT_MPS2, LOADED_MPS2 = 0.4, 1.6


def turns_of(parts: list[tuple[float, float, float]], free_s: int = 1) -> Turns:
    """Return one sample a second of parts: log turns, push, seconds; a free engine between."""
    rng = np.random.default_rng(0)
    ratio, push = [], []
    for log_turns, mps2, seconds in parts:
        ratio += [log_turns] * round(seconds) + rng.uniform(0.3, 2.1, free_s).tolist()
        push += [mps2] * round(seconds) + [0.2] * free_s
    shown, pushed = np.array(ratio), np.array(push)
    n, zero = shown.size, np.zeros(shown.size)
    time = np.arange(n, dtype=np.float64)
    speed = np.full(n, 15.0)
    seen = np.asarray(shown + creep(pushed) + U * rng.normal(size=n))
    return Turns(
        time_s=time,
        clock_s=time,
        rpm=60.0 * speed * np.exp(seen),
        speed_mps=speed,
        u_speed_mps=np.full(n, 0.05),
        acceleration_mps2=pushed,
        u_acceleration_mps2=zero,
        push_mps2=pushed,
        climb_mps2=zero,
        u_grade=zero,
        log_turns=seen,
        u_log=np.full(n, U),
        u_unsmoothed=zero,
        late=zero,
        swing=zero,
        bending=Bending(zero, zero, zero, zero),
        usable=np.ones(n, dtype=bool),
    )


def lightly(*gears: int) -> list[tuple[float, float, float]]:
    return [(float(GEARS[gear - 1]), LIGHT_MPS2, 20.0) for gear in gears]


def test_a_gear_driven_only_under_load_is_a_gear() -> None:
    """Slip of 21 % through a whole pull is less likely than a step of 1.27."""
    parts = lightly(1, 2, 3, 5) + 2 * [(float(GEARS[3]), LOADED_MPS2, 10.0)] + lightly(1, 2, 3, 5)
    np.testing.assert_allclose(find_modes(turns_of(parts)), GEARS, atol=0.01)


def test_a_ratio_a_little_above_a_gear_and_only_under_load_is_that_gear_slipping() -> None:
    pull = (float(GEARS[3]) + 0.11, LOADED_MPS2, 10.0)
    parts = [*lightly(1, 2, 3, 4, 5), pull, *lightly(1, 2, 3, 4, 5), pull, *lightly(4)]
    np.testing.assert_allclose(find_modes(turns_of(parts)), GEARS, atol=0.01)


def test_a_ratio_a_little_above_a_gear_that_is_driven_lightly_too_is_a_gear() -> None:
    close = float(GEARS[3]) + 0.11
    parts = [*lightly(1, 2, 3, 4, 5), (close, LIGHT_MPS2, 20.0), *lightly(1, 2, 3, 4, 5)]
    wanted = np.sort(np.append(GEARS, close))[::-1]
    np.testing.assert_allclose(find_modes(turns_of(parts)), wanted, atol=0.01)


def test_a_small_slip_is_not_a_large_one_of_the_next_gear() -> None:
    pull = (float(GEARS[3]) + 0.045, LOADED_MPS2, 10.0)
    turns = turns_of([*lightly(3, 4), pull, *lightly(5)], free_s=0)
    found = decode(turns, GEARS)
    inside = (turns.time_s >= 42.0) & (turns.time_s < 48.0)
    assert np.all(found.gear[inside] == 3)
    assert np.all(found.slipping[inside])


@pytest.mark.parametrize("slip", [0.06, 0.09])
def test_a_gear_that_slips_most_of_the_time_is_found_where_it_is_driven_lightly(
    slip: float,
) -> None:
    own = (float(GEARS[3]), LIGHT_MPS2, 6.0)
    pull = (float(GEARS[3]) + slip, LOADED_MPS2, 30.0)
    parts = [*lightly(1, 2, 3, 5), pull, own, *lightly(1, 2, 3, 5), pull, own]
    np.testing.assert_allclose(find_modes(turns_of(parts)), GEARS, atol=0.012)


def test_a_whole_pull_in_a_slipping_gear_is_in_that_gear() -> None:
    pull = (float(GEARS[3]) + 0.09, LOADED_MPS2, 10.0)
    turns = turns_of([*lightly(3), pull, *lightly(5)])
    found = decode(turns, GEARS)
    inside = (turns.time_s >= 22.0) & (turns.time_s < 30.0)
    assert np.all(found.gear[inside] == 3)
    assert np.all(found.slipping[inside])
