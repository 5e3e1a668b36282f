"""Handbook formulas of gearing, tyre revolutions and ignition pulses.

Sources stand beside each check; the arithmetic of "computed" figures can be done by hand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.measures.gearing import pulses
from roadtest.measures.gearing.kinematics import engine_rpm, road_speed, turns_per_metre
from roadtest.tyres import read_tyre_size

pytestmark = pytest.mark.source("handbook formulas of gearing", "our own arithmetic")

MPH = 0.44704
MILE_M = 1609.344
INCH_M = 0.0254


@pytest.mark.source(
    "handbook formula mph = rpm D / (gear axle 336), D in inches",
    "our own arithmetic",
)
def test_the_constant_336_of_the_handbook_formula() -> None:
    """mph = rpm · D / (gear · axle · 336.135), D in inches; 336.135 = 63360/(60 π) (kinematics)."""
    diameter_in, gear, axle, rpm = 23.4, 0.82, 4.22, 3585.0
    by_handbook = rpm * diameter_in / (gear * axle * 336.135)
    turns = turns_per_metre(gear, axle, math.pi * diameter_in * INCH_M)
    assert float(road_speed(rpm, turns)) / MPH == pytest.approx(by_handbook, rel=2e-6)


@pytest.mark.parametrize(
    ("gear", "circumference_m", "rpm"),
    [(0.82, 1.8123, 3585.0), (1.00, 1.8123, 4372.0), (0.82, 1.742, 3729.7)],
)
def test_engine_speed_at_70_mph(gear: float, circumference_m: float, rpm: float) -> None:
    """Axle 4.22: rpm = 60 · v · gear · axle / C (computed by hand)."""
    turns = turns_per_metre(gear, 4.22, circumference_m)
    assert float(engine_rpm(70.0 * MPH, turns)) == pytest.approx(rpm, abs=0.06)


@pytest.mark.parametrize(("circumference_m", "mph"), [(1.8123, 19.526), (1.742, 18.768)])
def test_road_speed_per_1000_rpm(circumference_m: float, mph: float) -> None:
    """Fifth 0.82, axle 4.22 (computed by hand)."""
    turns = turns_per_metre(0.82, 4.22, circumference_m)
    assert float(road_speed(1000.0, turns)) / MPH == pytest.approx(mph, abs=0.0006)


@pytest.mark.source(
    "ETRTO rule, rolling circumference 3.05 times the free diameter",
    "read second-hand, arithmetic by hand",
)
@pytest.mark.parametrize(
    ("size", "per_mile"),
    [("155/80R13", 912.6), ("165/80R13", 888.0), ("175/70R13", 917.3), ("185/60R14", 913.5)],
)
def test_tyre_revolutions_per_mile(size: str, per_mile: float) -> None:
    """1609.344 m over 3.05 · free diameter (ETRTO rule, second-hand; computed by hand)."""
    circumference = read_tyre_size(size).circumference_m.value
    assert MILE_M / circumference == pytest.approx(per_mile, abs=0.06)


@pytest.mark.source(
    "US EPA annual test-car list, model year 2016, ratio of engine to road speed",
    "read in a stored copy of the public file",
)
@pytest.mark.parametrize(("n_over_v", "circumference_m"), [(41.9, 1.8372), (40.9, 1.8822)])
def test_rpm_per_mph_of_two_cars_in_the_us_epa_list(
    n_over_v: float, circumference_m: float
) -> None:
    """US EPA test-car list, model year 2016, vehicle 6ECPE31-034: axle 2.87, top gear taken as 1:1.

    N/V is engine speed over road speed in top gear; N/V = gear · axle · (tyre rev/mile) / 60.
    """
    turns = turns_per_metre(1.0, 2.87, circumference_m)
    assert float(engine_rpm(MPH, turns)) == pytest.approx(n_over_v, abs=0.05)


@pytest.mark.parametrize(
    ("teeth", "ratio"), [((9, 38), 4.2222), ((10, 41), 4.1000), ((10, 39), 3.9000)]
)
def test_axle_ratio_from_its_teeth(teeth: tuple[int, int], ratio: float) -> None:
    """Crown wheel over pinion (kinematics); the figures round to the trade's 4.22, 4.1 and 3.9."""
    sheet = read_build_sheet(f"[axle]\nteeth = [{teeth[0]}, {teeth[1]}]\n".encode(), "build.toml")
    assert sheet.axle_ratio == pytest.approx(ratio, abs=5e-5)


@pytest.mark.source("ignition pulses a second, rpm cylinders / 120", "our own arithmetic")
@pytest.mark.parametrize(
    ("cylinders", "strokes", "hertz_at_3000"), [(4, 4, 100.0), (6, 4, 150.0), (8, 4, 200.0),
                                                (3, 2, 150.0)],
)  # fmt: skip
def test_pulses_of_one_coil(cylinders: int, strokes: int, hertz_at_3000: float) -> None:
    """Four-stroke, one coil: rpm · cylinders / 120 pulses a second (kinematics)."""
    text = f"[engine]\ncylinders = {cylinders}\nstrokes = {strokes}\n"
    per_rev = read_build_sheet(text.encode(), "build.toml").pulses_per_rev
    assert per_rev is not None
    assert 3000.0 / 60.0 * per_rev == pytest.approx(hertz_at_3000)
    mended = pulses.mend(np.arange(400) / hertz_at_3000, per_rev)
    assert pulses.engine_speed(mended)[1] == pytest.approx(3000.0, rel=1e-9)
