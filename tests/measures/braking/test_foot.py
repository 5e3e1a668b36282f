"""What is thought of a foot, and a stop as it makes it."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.measures.braking.developed import built_up_s, developed_mps2
from roadtest.measures.braking.foot import FEET_S, UNEVEN, Cells, log_time
from roadtest.measures.braking.onset import STEP_S, Onset
from roadtest.measures.braking.ramp import speed_parts, speeds_by_steps
from roadtest.measures.braking.seen import Fixes
from roadtest.motion.noise import Noise


def test_nineteen_of_twenty_feet_are_as_quick_as_texts_say() -> None:
    tried = np.geomspace(*FEET_S, 20_000)
    weight = np.exp(log_time(tried))
    inside = (tried > 0.1) & (tried < 0.6)
    assert weight[inside].sum() / weight.sum() == pytest.approx(0.955, abs=0.002)
    assert log_time(np.array([0.2]))[0] == log_time(np.array([0.3]))[0]


def test_what_a_foot_adds_is_drawn_as_the_fixes_leave_it() -> None:
    """Against the mean of a Gaussian process in closed form."""
    rng = np.random.default_rng(4)
    time = np.arange(0.0, 3.0, 0.2)
    errors = 0.03**2 * np.eye(time.size)
    cells = Cells.of(Fixes(time, time, errors, means=False), (0.3, 2.7), 0.2)
    kernel = UNEVEN[10].kernel(cells.middle_s, 6.0)
    misfit = rng.normal(0.0, 0.1, time.size)
    drawn = cells.draw(kernel, errors, np.tile(misfit, (4000, 1)), rng)
    inverse = np.linalg.inv(errors + cells.reach @ kernel @ cells.reach.T)
    gain = kernel @ cells.reach.T @ inverse
    spread = np.sqrt(np.diag(kernel - gain @ cells.reach @ kernel))
    np.testing.assert_allclose(drawn.mean(axis=0), gain @ misfit, atol=4.0 * 0.24 / 63.0)
    np.testing.assert_allclose(drawn.std(axis=0), spread, rtol=0.06)


def test_speed_by_cells_is_that_of_an_even_braking() -> None:
    edges, at = np.linspace(2.0, 3.0, 21), np.array([1.0, 2.4, 3.0, 5.0])
    made = speeds_by_steps(at, edges, 0.3).sum(axis=1)
    once = speed_parts(at, np.array([[2.0, 3.0], [0.0, 0.0], [0.1, 0.1]]), 0.3)[:, :, 5]
    np.testing.assert_allclose(made, once[0] - once[1], atol=1e-12)


def test_an_outlying_fix_is_believed_less_and_its_window_goes_by_the_others() -> None:
    time = np.arange(0.0, 2.0, 0.1)
    white, slow = np.full(time.size, 0.05**2), np.full((time.size, time.size), 0.02**2)
    fixes = Fixes(time, 0.0 * time, np.diag(white) + slow, False, Noise(0.05, 4.0), white)
    misfit = np.zeros((1, time.size))
    misfit[0, 12] = 1.0
    believed = fixes.believed(misfit)
    assert believed.white is not None
    assert believed.white[12] > 50.0 * white[12]
    assert (np.delete(believed.white, 12) < 1.1 * white[0]).all()
    shown = Fixes(time, misfit[0], believed.covariance, means=False).thinned(0.95, 0.2)
    assert shown.values_mps.size == 15
    assert np.abs(shown.values_mps).max() < 0.02
    assert shown.edges_s[:10] == pytest.approx(time[:10])


def test_figures_of_an_even_stop_are_those_by_hand() -> None:
    """20 m/s, up to 5 m/s² within 0.4 s, even after it."""
    since = np.arange(0.0, 5.0, STEP_S)
    ramp = np.where(since < 0.4, 6.25 * since**2, 1.0 + 5.0 * (since - 0.4))
    zero = np.zeros(1)
    onset = Onset(zero, zero + 20.0, zero + 0.4, zero, zero, 20.0 - ramp[None])
    mfdd = developed_mps2(onset)
    assert mfdd[0] == pytest.approx(5.0, abs=1e-4)
    assert built_up_s(onset, mfdd)[0] == pytest.approx(0.36, abs=STEP_S)
    short = Onset(zero, zero + 20.0, zero + 0.4, zero, zero, 20.0 - ramp[None, :100])
    assert np.isnan(developed_mps2(short)[0])
