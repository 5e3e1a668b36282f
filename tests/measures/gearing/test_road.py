"""What is known of the road speed that engine speed is held against."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pytest

from roadtest.measures.gearing.road import Road
from roadtest.motion.smoothed import Smoothed
from tests.evidence_from_truth import evidence_from
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import KNOT_MPS, Receiver


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_rounding_is_that_of_one_reading_however_often_it_is_repeated(rate_hz: float) -> None:
    def script(driver: Driver) -> None:
        for speed in (10.0, 14.0, 18.0):
            driver.hold(speed, 12.0)

    receiver = Receiver(rate_hz=rate_hz, speed_step_mps=KNOT_MPS)
    evidence = evidence_from(simulate(script, seed=2), receiver, 2, draws=2)
    assert Road.of(evidence).u_rounding_mps == pytest.approx(KNOT_MPS / 12.0**0.5)


SMOOTHED_S: Final = 0.5
OFF_S: Final = 10.0  # an even start, 1.5 m/s² from here on for as long again


def smoothed_start() -> Road:
    """Return the road of a start as a receiver shows it that smooths over `SMOOTHED_S`."""
    evidence = evidence_from(
        simulate(lambda driver: driver.hold(14.0, 20.0), seed=2), Receiver(), 2, draws=2
    )
    time = evidence.motion.time_s
    since = np.maximum(time - OFF_S, 0.0)
    settled = -np.expm1(-since / SMOOTHED_S)
    acceleration = 1.5 * settled
    shown = replace(
        evidence.motion,
        speed_mps=3.0 + 1.5 * (since - SMOOTHED_S * settled),
        acceleration_mps2=acceleration,
    )
    smoothed = Smoothed(np.full(10, SMOOTHED_S), np.zeros(10, dtype=bool))
    return Road.of(replace(evidence, motion=shown), smoothed)


def test_an_even_acceleration_is_late_by_the_smoothing_and_no_more() -> None:
    """Of a filter that has settled nothing but its delay is left, however slow the car."""
    rise, u = smoothed_start().unsmoothed_by(OFF_S + np.arange(3.5, 8.0, 0.5))
    np.testing.assert_allclose(rise, 0.0, atol=4e-4)
    np.testing.assert_allclose(u, 0.0, atol=1e-3)


def test_what_unsmoothing_leaves_where_a_foot_goes_down_is_within_what_it_says() -> None:
    """From shortly after the acceleration begins till the filter has settled."""
    road, time = smoothed_start(), OFF_S + np.arange(0.6, 2.0, 0.1)
    rise, u = road.unsmoothed_by(time)
    true = 3.0 + 1.5 * np.maximum(time - SMOOTHED_S - OFF_S, 0.0)
    off = np.log(road.speed_at(time).speed_mps) + rise - np.log(true)
    assert np.max(np.abs(off)) > 0.002
    assert np.all(np.abs(off) < 2.0 * u)
