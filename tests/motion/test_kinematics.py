"""How the motion goes from knot to knot, against matrix exponentials and known limits."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import expm

from roadtest.motion.kinematics import JERK_MEMORY_S, kinematic_steps

Floats = NDArray[np.float64]


def van_loan(h: float, with_position: bool) -> tuple[Floats, Floats]:
    """Return F and Q by C. F. Van Loan's block exponential (value from memory)."""
    rates = np.diag([1.0, 1.0, 1.0], 1)
    rates[3, 3] = -1.0 / JERK_MEMORY_S
    drive = np.zeros((4, 4))
    drive[3, 3] = 1.0 / JERK_MEMORY_S**2
    block = expm(np.block([[-rates, drive], [np.zeros((4, 4)), rates.T]]) * h)
    forward = block[4:, 4:].T
    noise = forward @ block[:4, 4:]
    first = 0 if with_position else 1
    return forward[first:, first:], noise[first:, first:]


@pytest.mark.parametrize("with_position", [True, False])
@pytest.mark.parametrize("h", [0.02, 0.04, 0.1, 0.2, 0.5, 1.0])
def test_steps_are_the_exact_ones(h: float, with_position: bool) -> None:
    steps = kinematic_steps(np.array([h]), with_position)
    forward, noise = van_loan(h, with_position)
    np.testing.assert_allclose(steps.forward[0], forward, rtol=1e-9, atol=1e-12)
    found = np.linalg.inv(steps.precision[0])
    scale = np.sqrt(np.outer(noise.diagonal(), noise.diagonal()))
    np.testing.assert_allclose(found / scale, noise / scale, rtol=0, atol=1e-5)


def test_two_steps_are_one_of_their_sum() -> None:
    one, two, both = (kinematic_steps(np.array([h]), False) for h in (0.3, 0.5, 0.8))
    np.testing.assert_allclose(two.forward[0] @ one.forward[0], both.forward[0], atol=1e-12)
    noise = [np.linalg.inv(step.precision[0]) for step in (one, two, both)]
    carried = two.forward[0] @ noise[0] @ two.forward[0].T + noise[1]
    np.testing.assert_allclose(carried, noise[2], rtol=1e-8)


def test_over_long_spans_jerk_is_white() -> None:
    h = 60.0
    noise = np.linalg.inv(kinematic_steps(np.array([h]), False).precision[0])
    assert noise[1, 1] == pytest.approx(h, rel=0.01)  # acceleration: a random walk
    assert noise[0, 0] == pytest.approx(h**3 / 3.0, rel=0.01)
