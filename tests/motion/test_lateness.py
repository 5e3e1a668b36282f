"""How late a receiver shows speeds, told from the places, and a gap bridged in spite of it."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.motion.distance import distance_driven
from roadtest.motion.lateness import lateness
from tests.evidence_from_truth import evidence_from
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth, from_profile

STEP_S = 0.01
GAP_S = (61.0, 79.0)


def drive() -> Truth:
    """Return a straight road on which the speed rises and falls, and rises over the gap."""
    time = np.arange(0.0, 140.0, STEP_S)
    accel = 0.8 * np.sign(np.sin(2.0 * np.pi * time / 40.0))
    return from_profile(accel, 8.0, STEP_S)


@pytest.mark.parametrize("late_s", [0.0, 1.2])
def test_lateness_is_told_and_does_not_falsify_the_way_over_a_gap(late_s: float) -> None:
    truth = drive()
    receiver = Receiver(rate_hz=5.0, delay_s=late_s, gaps=(GAP_S,))
    evidence = evidence_from(truth, receiver, 3, manoeuvres=())
    motion, ground = evidence.motion, evidence.ground
    found = lateness(motion, ground)
    assert found.value_s == pytest.approx(late_s, abs=0.05)
    assert found.u_s < 0.05
    # Among other speeds: each end is late, too.
    ends = np.array([44.0, 95.0])
    start_s = evidence.start_unix_s - truth.start_utc_s
    way = distance_driven(motion, ground, *(ends - start_s).tolist())
    true = float(np.diff(truth.distance_at(ends))[0])
    speeds = truth.speed_at(ends)
    assert late_s == 0.0 or late_s * abs(float(speeds[1] - speeds[0])) > 5.0
    gap = truth.speed_at(np.array(GAP_S))
    assert late_s == 0.0 or late_s * abs(float(gap[1] - gap[0])) > 10.0  # what would be missing
    assert abs(way.value - true) < min(way.u95, 8.0)
    # The log ends on the move: its last speeds are of the time before.
    end_s = float(motion.time_s[-1])
    way = distance_driven(motion, ground, 0.0, end_s)
    true = float(np.diff(truth.distance_at(np.array([0.0, end_s]) + start_s))[0])
    assert abs(way.value - true) < min(way.u95, 8.0)
