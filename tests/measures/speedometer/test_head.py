"""What drives the speedometer head.

Published figures: the international mile (1609.344 m) and inch (25.4 mm), 1959; the trade's hand
check, turns per mile = 1680.7 · cable turns / R for six turns of the driven wheels and a rolling
radius of R inches [computed: 63360 / (12 π)]; one maker's 4000 pulses per mile = 2485.5 per km
[read second-hand].
"""

from __future__ import annotations

import math

import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.measures.speedometer.head import (
    DialGearing,
    delivered_per_metre,
    expected_per_metre,
    gearing_of,
    head_result,
    turns_per_mile_by_hand,
)
from roadtest.quantity import Quantity
from roadtest.units import MILE_M, Given

INCH_M = 0.0254


def test_hand_check_of_turns_per_mile_is_the_trades() -> None:
    radius_in = 11.0
    turns = turns_per_mile_by_hand(6.55, 6.0, 2.0 * math.pi * radius_in * INCH_M)
    assert turns == pytest.approx(1680.7 * 6.55 / radius_in, rel=0.05 / 1680.7)


def test_hand_check_refuses_wheels_that_were_not_turned() -> None:
    with pytest.raises(ValueError, match="wheel turns"):
        turns_per_mile_by_hand(6.0, 0.0, 1.8)


def test_4000_pulses_per_mile_are_2485_5_per_km() -> None:
    sheet = read_build_sheet(
        b'[speedometer]\ndrive = "electronic"\npulses_per_mile = 4000\n', "build.toml"
    )
    expected = expected_per_metre(sheet.speedometer)
    assert expected is not None
    assert abs(1000.0 * expected - 2485.5) <= 0.05


CABLE = """
[tyres]
rolling_circumference = "1.797 m ± 0.009 m"
[axle]
ratio = 3.90
[speedometer]
drive = "cable"
turns_per_mile = 1000
driven_teeth = 21
drive_teeth = 6
"""


def test_cable_turns_delivered_follow_from_axle_tyre_and_gears() -> None:
    sheet = read_build_sheet(CABLE.encode(), "build.toml")
    delivered = delivered_per_metre(gearing_of(sheet), sheet.speedometer)
    assert delivered is not None
    assert delivered.value * MILE_M == pytest.approx(3.90 * 6 / 21 / 1.797 * 1609.344)
    assert delivered.u95 / delivered.value == pytest.approx(0.009 / 1.797)


def test_an_adapter_multiplies_and_an_electronic_head_has_no_driven_gear() -> None:
    plain = DialGearing(3.9, Given(1.8, 0.01), 20, 5)
    geared = DialGearing(3.9, Given(1.8, 0.01), 20, 5, 1.25)
    dial = read_build_sheet(b"", "build.toml").speedometer
    turned = [delivered_per_metre(gearing, dial) for gearing in (plain, geared)]
    assert turned[0] is not None and turned[1] is not None
    assert turned[1].value == pytest.approx(1.25 * turned[0].value)
    sensor = read_build_sheet(b'[speedometer]\ndrive = "electronic"\n', "build.toml").speedometer
    pulses = delivered_per_metre(DialGearing(3.9, Given(1.8, 0.01), None, 8), sensor)
    assert pulses is not None
    assert pulses.value == pytest.approx(8 * 3.9 / 1.8)


def test_what_the_head_acts_on_is_scale_times_expected() -> None:
    head = head_result(read_build_sheet(CABLE.encode(), "b"), Quantity(1.05, 0.01, "1"))
    assert head is not None
    assert head.expected == Quantity(1000.0 / MILE_M, 0.0, "1/m")
    assert head.shown is not None
    assert head.shown.value * MILE_M == pytest.approx(1050.0)


@pytest.mark.parametrize("sheet", ["", '[speedometer]\ndrive = "gps"\nturns_per_mile = 1000\n'])
def test_nothing_known_is_nothing_said(sheet: str) -> None:
    assert head_result(read_build_sheet(sheet.encode(), "build.toml"), None) is None
