"""Simulated drives that several tests look at, made once."""

from __future__ import annotations

from functools import cache

from roadtest.evidence import Evidence
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import FOUR, ROLL_OUT_M, SHEET, shakedown_of
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Tach
from tests.simulation.truth import Truth

SMALLER = 0.96  # of the circumference on the sheet
OLD_SET = """
[[alternatives.tyres]]
label = "old set"
rolling_circumference = "1.672 m ± 0.006 m"
"""
OFFSET_S = 77.0

_CARS: dict[str, dict[str, object]] = {
    "right": {},
    "wrong axle": {"axle": 3.90},
    "wrong gearbox": {"ratios": FOUR},
    "wrong tyre": {"circumference_m": SMALLER * ROLL_OUT_M},
    "six cylinders": {},
    "slipping clutch": {"clutch_grip_nm": 100.0},
}


@cache
def truth_of(case: str) -> Truth:
    """Return what really happened."""
    return shakedown_of(1, **_CARS[case])


@cache
def evidence_of(case: str) -> Evidence:
    """Return a quiet 5 Hz receiver's and a 10 Hz tach's view of it."""
    truth = truth_of(case)
    tach = Tach(offset_s=OFFSET_S, scale=2.0 / 3.0 if case == "six cylinders" else 1.0)
    return evidence_from(
        truth,
        Receiver(rate_hz=5.0),
        1,
        sheet=SHEET + (OLD_SET if case == "wrong tyre" else ""),
        tach=[tach_log(truth, tach, 2)],
        draws=100,
    )
