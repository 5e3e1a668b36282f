"""When a car first moves, from speeds that a receiver can tell."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.pulls.crossing import Path
from roadtest.measures.pulls.standing import first_motion

ACCELERATION = 4.0
MEAN_GROWTH_S = 0.25  # from 0.1 to 0.4 s


@pytest.mark.parametrize("growth_s", [0.1, 0.25, 0.4])
def test_an_acceleration_that_grows_evenly_began_half_that_time_before_the_line(
    growth_s: float,
) -> None:
    """By hand: v = a·(t - T/2) once it has grown; the answer has the mean of T for T."""
    time = np.arange(-1.0, 3.0, 0.01)
    grown = np.clip(time, 0.0, growth_s)
    speed = ACCELERATION * (0.5 * grown**2 / growth_s + np.clip(time - growth_s, 0.0, None))
    speeds = np.tile(speed, (4000, 1))
    path = Path(time, speeds, np.cumsum(speeds, axis=1) * 0.01)
    began = first_motion(path, np.random.default_rng(1))
    assert began.mean() == pytest.approx(0.5 * (growth_s - MEAN_GROWTH_S), abs=0.004)
    assert began.std() == pytest.approx(0.5 * 0.3 / 12**0.5, rel=0.05)
