"""What is known of the road speed that engine speed is held against."""

from __future__ import annotations

import pytest

from roadtest.measures.gearing.road import Road
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
