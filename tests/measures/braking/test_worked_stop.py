"""A worked stop through the whole chain, from a log without noise.

100 km/h; deceleration rises evenly in 0.3 s to 7.0 m/s² and stays. By hand: speed after the rise
96.22 km/h; mean fully developed deceleration 7.000 m/s² ((80² − 10²) / (25.92 · 34.7222));
62.033 m from 0.1 s before the beginning, so 59.255 m from the beginning; v²/2s over those metres
and 0.1 s at unreduced speed 6.219 m/s².
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking import measure_braking
from roadtest.results import StopResult
from tests.evidence_from_truth import evidence_from
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth, from_profile

INITIAL_MPS = 100.0 / 3.6
BEGINS_S = 8.0
STEP_S = 0.01
SILENT = Receiver(
    rate_hz=25.0,
    white_mps=0.0,
    fast_mps=0.0,
    slow_mps=0.0,
    position_white_m=0.0,
    position_slow_m=0.0,
    altitude_slow_m=0.0,
    altitude_white_m=0.0,
    speed_step_mps=0.001,
)


def worked_stop() -> Truth:
    """Return eight seconds of driving, the stop, and three seconds of standing."""
    into = STEP_S * (np.arange(2000) + 0.5) - BEGINS_S
    accel = -7.0 * np.clip(into / 0.3, 0.0, 1.0)
    speed = INITIAL_MPS + STEP_S * np.cumsum(accel)
    rest = int(np.flatnonzero(speed <= 0.0)[0])
    accel[rest] = -speed[rest - 1] / STEP_S
    accel[rest + 1 :] = 0.0
    return from_profile(accel[: rest + 300], INITIAL_MPS, STEP_S)


@pytest.fixture(scope="module")
def stop() -> StopResult:
    truth = worked_stop()
    end_s = BEGINS_S + 0.3 + (INITIAL_MPS - 1.05) / 7.0
    made = Manoeuvre("stop-1", "stop", BEGINS_S + 0.05, end_s, to_rest=True)
    evidence = evidence_from(truth, SILENT, 1, manoeuvres=[made], sheet='units = "km/h"\n')
    (result,) = measure_braking(evidence).result.stops
    return result


@pytest.mark.parametrize(
    ("figure", "by_hand", "known_to"),
    [
        ("initial_speed", INITIAL_MPS, 0.05),
        ("mfdd", 7.000, 0.03),
        ("distance", 62.033 - 0.1 * INITIAL_MPS, 1.5),
        ("distance_nominal", 62.033 - 0.1 * INITIAL_MPS, 1.5),
        ("mean", INITIAL_MPS**2 / (2.0 * (62.033 - 0.1 * INITIAL_MPS)), 0.2),
        ("build_up_s", 0.27, 0.08),
        ("peak", 7.0, 0.3),
        ("drift", 0.0, 0.2),
        ("heading_change", 0.0, 0.01),
    ],
)
def test_interval_holds_the_figure_worked_by_hand(
    stop: StopResult, figure: str, by_hand: float, known_to: float
) -> None:
    found = getattr(stop, figure)
    assert found.low <= by_hand <= found.high
    assert found.u95 < known_to


def test_the_nominal_speed_is_the_round_one_in_the_units_of_the_sheet(stop: StopResult) -> None:
    assert stop.nominal_speed is not None
    assert stop.nominal_speed.value == pytest.approx(100.0 / 3.6)


def test_the_figures_worked_by_hand_hang_together() -> None:
    after_rise = INITIAL_MPS - 7.0 * 0.15
    assert after_rise * 3.6 == pytest.approx(96.22, abs=0.005)
    rise = INITIAL_MPS * 0.3 - 7.0 * 0.3**2 / 6.0
    whole = 0.1 * INITIAL_MPS + rise + after_rise**2 / 14.0
    assert whole == pytest.approx(62.033, abs=0.0005)
    assert INITIAL_MPS**2 / (2.0 * whole) == pytest.approx(6.219, abs=0.0005)
    assert math.isclose((80.0**2 - 10.0**2) / (25.92 * 34.7222), 7.0, abs_tol=5e-4)
