"""Drift and heading change: to the right positive, told from the road's own bends."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking import BrakingMeasured, measure_braking
from tests.evidence_from_truth import evidence_from
from tests.measures.braking.test_worked_stop import BEGINS_S, INITIAL_MPS, STEP_S, worked_stop
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth, from_profile, stop_figures

RECEIVER = Receiver(rate_hz=10.0)
END_S = BEGINS_S + 0.3 + (INITIAL_MPS - 1.05) / 7.0


def bent(truth: Truth, from_m: float, curvature_pm: float, to_m: float = math.inf) -> Truth:
    """Return the drive on a path of this curvature (right positive) over a stretch of it."""
    inside = np.clip(truth.distance_m, from_m, to_m) - from_m
    heading = truth.heading_rad + curvature_pm * inside
    steps = np.diff(truth.distance_m)
    middle = 0.5 * (heading[1:] + heading[:-1])
    east = np.concatenate([[0.0], np.cumsum(steps * np.sin(middle))])
    north = np.concatenate([[0.0], np.cumsum(steps * np.cos(middle))])
    return dataclasses.replace(truth, heading_rad=heading, east_m=east, north_m=north)


def driven_on() -> Truth:
    """Return the worked stop, three seconds of standing, then twelve seconds of gentle start."""
    stop = worked_stop()
    accel = np.concatenate([stop.accel_mps2[:-1], np.full(1200, 0.8)])
    return from_profile(accel, INITIAL_MPS, STEP_S)


def measured(truth: Truth, seed: int = 1, *, with_speed: bool = True) -> BrakingMeasured:
    """Return what is measured of the one stop of a drive."""
    made = Manoeuvre("stop-1", "stop", BEGINS_S, END_S, to_rest=True)
    evidence = evidence_from(truth, RECEIVER, seed, manoeuvres=[made], with_speed=with_speed)
    return measure_braking(evidence)


BEGINS_M = INITIAL_MPS * BEGINS_S


@pytest.mark.parametrize("pull_pm", [-0.0012, 0.0012])
@pytest.mark.parametrize("with_speed", [True, False])
def test_brakes_that_pull_give_drift_to_their_side(pull_pm: float, with_speed: bool) -> None:
    truth = bent(worked_stop(), BEGINS_M, pull_pm)
    (stop,) = measured(truth, with_speed=with_speed).result.stops
    figures = stop_figures(truth, BEGINS_S)
    assert stop.drift is not None
    assert stop.heading_change is not None
    assert stop.drift.low <= figures["drift_m"] <= stop.drift.high
    assert stop.heading_change.low <= figures["heading_change_rad"] <= stop.heading_change.high
    if with_speed:
        assert stop.road_curvature is None
        assert stop.drift.value * pull_pm > 0.0
        assert stop.drift.u95 < 0.25


@pytest.mark.parametrize("of_course", [False, True])
def test_a_receiver_that_smooths_and_is_late_falsifies_no_drift(of_course: bool) -> None:
    """Where it smooths speed alone, the way shown is 10 m too long when the car turns most."""
    receiver = dataclasses.replace(RECEIVER, lag_s=0.4, lag_of_course=of_course, delay_s=0.6)
    before_s = 40.0  # of speeds up and down, which tell how late they are
    hasty = np.where(np.arange(0.0, before_s, STEP_S) % 10.0 < 5.0, -2.0, 2.0)
    accel = np.concatenate([hasty, worked_stop().accel_mps2[:-1]])
    straight = from_profile(accel, INITIAL_MPS, STEP_S)
    at_rest = straight.speed_mps < 1e-6
    straight = dataclasses.replace(straight, speed_mps=np.where(at_rest, 0.0, straight.speed_mps))
    begins_s = before_s + BEGINS_S
    truth = bent(straight, float(straight.distance_at(begins_s)), 0.0012)
    made = Manoeuvre("stop-1", "stop", begins_s + 1.0, before_s + END_S + 1.0, to_rest=True)
    (stop,) = measure_braking(evidence_from(truth, receiver, 1, manoeuvres=[made])).result.stops
    assert stop.drift is not None
    assert stop.drift.low <= stop_figures(truth, begins_s)["drift_m"] <= stop.drift.high
    assert stop.drift.u95 < 0.5


def test_a_road_that_bends_all_along_is_no_drift() -> None:
    truth = bent(worked_stop(), 0.0, 0.0025)
    assert stop_figures(truth, BEGINS_S)["drift_m"] > 5.0  # against a straight line
    made = measured(truth)
    (stop,) = made.result.stops
    assert stop.drift is not None
    assert stop.heading_change is not None
    assert stop.road_curvature is not None
    assert stop.drift.low <= 0.0 <= stop.drift.high
    assert stop.drift.u95 < 0.8
    assert stop.heading_change.low <= 0.0 <= stop.heading_change.high
    assert stop.road_curvature.low <= 0.0025 <= stop.road_curvature.high
    assert any("bends" in remark for remark in made.remarks)


@pytest.mark.parametrize("curvature_pm", [-1.0 / 1500.0, 1.0 / 1500.0])
@pytest.mark.parametrize("with_speed", [True, False])
def test_a_slight_bend_is_no_drift_where_nothing_is_driven_after(
    curvature_pm: float, with_speed: bool
) -> None:
    truth = bent(worked_stop(), 0.0, curvature_pm)
    assert abs(stop_figures(truth, BEGINS_S)["drift_m"]) > 1.2  # against a straight line
    (stop,) = measured(truth, with_speed=with_speed).result.stops
    assert stop.drift is not None
    assert stop.drift.low <= 0.0 <= stop.drift.high
    assert stop.road_curvature is not None
    assert stop.road_curvature.low <= curvature_pm <= stop.road_curvature.high


@pytest.mark.parametrize("before_s", [2.5, 1.7, 1.3, 1.0])
def test_a_bend_that_ends_before_the_stop_does_not_go_on_under_it(before_s: float) -> None:
    ends_m = BEGINS_M - before_s * INITIAL_MPS
    truth = bent(bent(worked_stop(), 0.0, -0.004, ends_m), BEGINS_M, 0.0008)
    (stop,) = measured(truth).result.stops
    assert stop.drift is not None
    true = stop_figures(truth, BEGINS_S)["drift_m"]
    assert stop.drift.low <= true <= stop.drift.high
    assert stop.drift.u95 < 0.5


def test_a_pull_in_a_bend_is_told_from_the_bend() -> None:
    truth = bent(bent(worked_stop(), 0.0, -0.0015), BEGINS_M, 0.0015)
    pull = stop_figures(bent(worked_stop(), BEGINS_M, 0.0015), BEGINS_S)["drift_m"]
    (stop,) = measured(truth).result.stops
    assert stop.drift is not None
    assert stop.drift.low <= pull <= stop.drift.high
    assert stop.drift.low > 0.5


def test_a_bend_that_begins_during_the_stop_is_seen_where_the_car_drives_on() -> None:
    truth = bent(driven_on(), BEGINS_M + 10.0, 0.004)
    (stop,) = measured(truth).result.stops
    assert stop.drift is not None
    assert stop.road_curvature is not None
    assert stop.drift.low <= 0.0 <= stop.drift.high  # how far the bend reaches back is not known


def test_driving_on_straight_leaves_a_straight_stop_alone() -> None:
    (stop,) = measured(driven_on()).result.stops
    assert stop.road_curvature is None
    assert stop.drift is not None
    assert stop.drift.u95 < 0.25


def test_turning_the_world_turns_nothing_in_the_stop() -> None:
    truth = bent(worked_stop(), BEGINS_M, 0.001)
    turned = dataclasses.replace(
        truth,
        heading_rad=truth.heading_rad + 2.0,
        east_m=truth.east_m * math.cos(2.0) + truth.north_m * math.sin(2.0),
        north_m=truth.north_m * math.cos(2.0) - truth.east_m * math.sin(2.0),
    )
    (one,), (other,) = (measured(t).result.stops for t in (truth, turned))
    assert one.drift is not None
    assert other.drift is not None
    assert one.drift.value == pytest.approx(other.drift.value, abs=0.15)
