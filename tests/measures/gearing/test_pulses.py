"""Raw pulses: bounces and gaps mended, engine speed unharmed."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.gearing.pulses import engine_speed, mend


def rising(per_rev: float, seconds: float = 20.0) -> np.ndarray:
    """Return exact pulse times of an engine that goes from 1000 to 5000 r/min."""
    time = np.linspace(0.0, seconds, 200_001)
    turns = np.cumsum(np.full(time.size, time[1]) * (1000.0 + 200.0 * time) / 60.0)
    marks = np.arange(1, int(turns[-1] * per_rev)) / per_rev
    return np.interp(marks, turns, time)


@pytest.mark.parametrize("per_rev", [0.5, 1.0, 2.0, 4.0, 60.0])
def test_clean_pulses_give_the_engine_speed(per_rev: float) -> None:
    mended = mend(rising(per_rev), per_rev)
    time, rpm = engine_speed(mended)
    assert (mended.missed, mended.doubled) == (0, 0)
    inside = (time > 0.5) & (time < 19.5)
    assert np.abs(rpm - (1000.0 + 200.0 * time))[inside].max() < 12.0


@pytest.mark.parametrize("seed", range(3))
def test_missed_and_double_pulses_are_mended(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pulses = rising(2.0)
    kept = pulses[rng.random(pulses.size) >= 0.03]
    bounced = kept[rng.random(kept.size) < 0.03] + 0.0012
    time, rpm = engine_speed(mend(np.sort(np.concatenate([kept, bounced])), 2.0))
    inside = (time > 0.5) & (time < 19.5)
    off = np.abs(rpm / (1000.0 + 200.0 * time) - 1.0)[inside]
    assert np.mean(off < 0.01) > 0.99
    assert off.max() < 0.15


def test_what_was_mended_is_counted() -> None:
    pulses = np.arange(200) * 0.01
    damaged = np.sort(np.append(np.delete(pulses, [50, 120, 121]), pulses[80] + 0.0012))
    mended = mend(damaged, 2.0)
    assert (mended.missed, mended.doubled) == (3, 1)
    assert mended.turns[-1] == pytest.approx(199 / 2.0)


def test_a_stopped_engine_leaves_a_gap_and_no_speed() -> None:
    pulses = np.concatenate([np.arange(300) * 0.01, 30.0 + np.arange(300) * 0.01])
    time, rpm = engine_speed(mend(pulses, 2.0))
    assert not np.any((time > 3.1) & (time < 29.9))
    assert rpm == pytest.approx(np.full(rpm.size, 3000.0), rel=1e-6)


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_a_handful_of_pulses_gives_nothing(count: int) -> None:
    assert engine_speed(mend(np.arange(count) * 0.01, 2.0))[0].size == 0


def test_the_input_is_left_alone() -> None:
    pulses = rising(2.0)
    before = pulses.copy()
    engine_speed(mend(pulses, 2.0))
    assert np.array_equal(pulses, before)
