"""Transitions of the motion against matrix exponentials and against their limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import block_diag, expm

from roadtest.motion.kinematics import JERK_MEMORY_S, bridge, kinematic_steps, of_each

Pair = tuple[np.ndarray, np.ndarray]
AXES = pytest.mark.parametrize("with_position", [False, True])


def transition(h: float, with_position: bool) -> Pair:
    """Return F and Q over `h` seconds."""
    steps = kinematic_steps(np.array([h]), with_position)
    return steps.forward[0], np.linalg.inv(steps.precision[0])


def drift(with_position: bool) -> Pair:
    """Return A and G·Gᵀ of dx = A·x dt + G dw, for a jerk intensity of 1."""
    states = 4 if with_position else 3
    matrix = np.diag(np.ones(states - 1), 1)
    matrix[-1, -1] = -1.0 / JERK_MEMORY_S
    noise = np.zeros((states, states))
    noise[-1, -1] = 1.0 / JERK_MEMORY_S**2
    return matrix, noise


def van_loan(h: float, with_position: bool) -> Pair:
    """Return F and Q from matrix exponentials.

    C. F. Van Loan, IEEE Trans. Automatic Control 23 (1978) 395 (value from memory).
    """
    matrix, noise = drift(with_position)
    k = matrix.shape[0]
    whole = expm(h * np.block([[-matrix, noise], [np.zeros((k, k)), matrix.T]]))
    forward = expm(h * matrix)
    return forward, forward @ whole[:k, k:]


def relative(covariance: np.ndarray, expected: np.ndarray) -> float:
    """Return the largest difference, in standard deviations of the expected one."""
    scale = 1.0 / np.sqrt(np.diag(expected))
    return float(np.abs((covariance - expected) * np.outer(scale, scale)).max())


@AXES
@settings(derandomize=True, deadline=None)
@given(h=st.floats(0.03, 2.0))
def test_transition_equals_the_matrix_exponential(h: float, with_position: bool) -> None:
    h = round(h, 7)  # as times are
    forward, covariance = transition(h, with_position)
    expected = van_loan(h, with_position)
    np.testing.assert_allclose(forward, expected[0], rtol=1e-9, atol=1e-13)
    assert relative(covariance, expected[1]) < 1e-6


@AXES
def test_much_shorter_than_its_memory_jerk_is_a_walk(with_position: bool) -> None:
    """Then Q[i, j] = h^(p+q+1) / (p! q! (p+q+1)) / memory², p and q integrations from jerk."""
    h = 1e-3
    forward, covariance = transition(h, with_position)
    order = np.arange(forward.shape[0])[::-1]
    factorial = np.array([1.0, 1.0, 2.0, 6.0])[order]
    power = order[:, None] + order + 1
    walk = h**power / (np.outer(factorial, factorial) * power) / JERK_MEMORY_S**2
    assert relative(covariance, walk) < 2.0 * h / JERK_MEMORY_S
    np.testing.assert_allclose(
        forward[0], h ** order[::-1] / factorial[::-1], rtol=h / JERK_MEMORY_S
    )


def test_much_longer_than_its_memory_jerk_is_white() -> None:
    """Then speed and acceleration have q·[[h³/3, h²/2], [h²/2, h]]; position q·h⁵/20."""
    h = 300.0
    _, covariance = transition(h, True)
    white = np.array(
        [
            [h**5 / 20.0, h**4 / 8.0, h**3 / 6.0],
            [h**4 / 8.0, h**3 / 3.0, h**2 / 2.0],
            [h**3 / 6.0, h**2 / 2.0, h],
        ]
    )
    assert relative(covariance[:3, :3], white) < 20.0 * JERK_MEMORY_S / h
    assert covariance[3, 3] == pytest.approx(0.5 / JERK_MEMORY_S)  # stationary jerk


def test_series_and_closed_form_meet() -> None:
    """At 0.02 memories one takes over from the other."""
    h = 0.02 * JERK_MEMORY_S
    below, above = (transition(h * (1.0 + side * 1e-9), True)[0] for side in (-1.0, 1.0))
    np.testing.assert_allclose(below, above, rtol=1e-8)


@AXES
@settings(derandomize=True, deadline=None)
@given(a=st.floats(0.02, 3.0), b=st.floats(0.02, 3.0))
def test_two_steps_are_one(a: float, b: float, with_position: bool) -> None:
    a, b = round(a, 7), round(b, 7)
    first, second = transition(a, with_position), transition(b, with_position)
    whole = transition(a + b, with_position)
    np.testing.assert_allclose(second[0] @ first[0], whole[0], rtol=1e-9, atol=1e-12)
    added = second[0] @ first[1] @ second[0].T + second[1]
    assert relative(added, whole[1]) < 1e-6


def test_equal_intervals_share_one_transition_whatever_their_order() -> None:
    h = np.array([0.1, 1.0, 0.1, 0.2, 1.0])
    steps = kinematic_steps(h, False)
    np.testing.assert_array_equal(steps.which, [0, 2, 0, 1, 2])
    each = of_each(steps.forward, steps.which)
    for k, interval in enumerate(h):
        np.testing.assert_array_equal(each[:, :, k], transition(interval, False)[0])


@AXES
@settings(derandomize=True, deadline=None)
@given(since=st.floats(0.02, 2.0), until=st.floats(0.02, 2.0))
def test_bridge_is_the_conditional_of_three_moments(
    since: float, until: float, with_position: bool
) -> None:
    """Against the joint Gaussian of the states in the middle and after, given those before."""
    since, until = round(since, 7), round(until, 7)
    between = bridge(np.array([since]), np.array([until]), with_position)
    (f_in, q_in), (f_out, q_out) = (
        transition(since, with_position),
        transition(until, with_position),
    )
    k = f_in.shape[0]
    onward = np.block([[np.eye(k), np.zeros((k, k))], [f_out, np.eye(k)]])
    joint = onward @ block_diag(q_in, q_out) @ onward.T
    scale = np.sqrt(np.diag(joint)[k:])
    after = joint[k:, k:] / np.outer(scale, scale)
    far = joint[:k, k:] / scale @ np.linalg.inv(after) / scale
    covariance = q_in - far @ joint[k:, :k]
    size = np.sqrt(np.diag(q_in))
    assert np.abs((between.far[0] - far) / np.outer(size, 1.0 / scale)).max() < 1e-5
    near = f_in - far @ f_out @ f_in
    np.testing.assert_allclose(between.near[0] / size[:, None], near / size[:, None], atol=1e-4)
    assert np.abs((between.covariance[0] - covariance) / np.outer(size, size)).max() < 1e-6
    root = between.root[0]
    assert np.abs((root @ root.T - between.covariance[0]) / np.outer(size, size)).max() < 1e-12


def test_a_bridge_keeps_what_needs_no_jerk() -> None:
    """Steady acceleration is bridged exactly, so is standing at any place."""
    between = bridge(np.array([0.08]), np.array([0.12]), True)

    def state(t: float) -> np.ndarray:
        return np.array([700.0 + 20.0 * t - 3.0 * t * t, 20.0 - 6.0 * t, -6.0, 0.0])

    found = between.near[0] @ state(0.0) + between.far[0] @ state(0.2)
    np.testing.assert_allclose(found, state(0.08), atol=1e-8)
