"""What drives the speedometer head: turns or pulses a metre, delivered and expected."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from roadtest.build_sheet import BuildSheet, Speedometer
from roadtest.quantity import Quantity
from roadtest.results import HeadResult
from roadtest.units import MILE_M, Given

_KM_M: Final = 1000.0


@dataclass(frozen=True)
class DialGearing:
    """Everything between the road and the speedometer head; None where it is not known.

    `drive_teeth` sits on the gearbox's output shaft: starts of a worm, teeth of a gear, or teeth of
    the wheel that an electronic sensor counts. `driven_teeth` sits on the cable. `ratio_adapter` is
    cable turns out per turn in, 1 where there is none.
    """

    axle_ratio: float | None = None
    circumference: Given | None = None  # m
    driven_teeth: int | None = None
    drive_teeth: int | None = None
    ratio_adapter: float = 1.0


def gearing_of(sheet: BuildSheet) -> DialGearing:
    """Return the speedometer's gearing as the build sheet has it."""
    dial = sheet.speedometer
    return DialGearing(
        axle_ratio=sheet.axle_ratio,
        circumference=sheet.circumference,
        driven_teeth=dial.driven_teeth,
        drive_teeth=dial.drive_teeth,
        ratio_adapter=1.0 if dial.ratio_adapter is None else dial.ratio_adapter,
    )


def expected_per_metre(dial: Speedometer) -> float | None:
    """Return what the head takes for one metre: turns of the cable, or pulses; None if unknown."""
    if dial.drive == "gps":
        return None
    if dial.drive != "electronic" and dial.turns_per_mile is not None:
        return dial.turns_per_mile / MILE_M
    return None if dial.pulses_per_km is None else dial.pulses_per_km / _KM_M


def delivered_per_metre(gearing: DialGearing, dial: Speedometer) -> Quantity | None:
    """Return turns or pulses that reach the head per metre of road, None where it can't be told.

    cable turns per metre = axle ratio / circumference · drive teeth / driven teeth · adapter;
    pulses per metre = sensor teeth · axle ratio / circumference.

    Uncertainty: of the circumference; all else is counted.

    Reference: kinematics; pulses per mile as a speedometer manual gives them: sensor-wheel teeth ×
    axle ratio × tyre revolutions per mile [read in a stored copy].
    """
    drive, road = gearing.drive_teeth, gearing.circumference
    if drive is None or gearing.axle_ratio is None or road is None or dial.drive == "gps":
        return None
    value = gearing.axle_ratio / road.value * drive * gearing.ratio_adapter
    if dial.drive != "electronic":
        if gearing.driven_teeth is None:
            return None
        value /= gearing.driven_teeth
    return Quantity(value, value * (road.u95 or 0.0) / road.value, "1/m")


def head_result(sheet: BuildSheet, scale: Quantity | None) -> HeadResult | None:
    """Return the head's part in the results, None where nothing is known of it.

    `scale` is the measured one of the dial: a head that reads in proportion to what it gets acts as
    if it got scale · expected.
    """
    dial = sheet.speedometer
    delivered = delivered_per_metre(gearing_of(sheet), dial)
    setting = expected_per_metre(dial)
    if delivered is None and setting is None:
        return None
    expected = shown = None
    if setting is not None:
        expected = Quantity(setting, 0.0, "1/m")
        if scale is not None:
            shown = Quantity(scale.value * setting, scale.u95 * setting, "1/m")
    return HeadResult(delivered, expected, shown)


def turns_per_mile_by_hand(cable_turns: float, wheel_turns: float, circumference_m: float) -> float:
    """Return cable turns per mile from turns counted while the driven wheels are turned by hand.

    turns per mile = cable turns / wheel turns · 1609.344 / circumference.

    Reference: with six wheel turns and a rolling radius of R inches this is the trade's
    1680.7 · turns / R, 63360 / (12 π) [computed].
    """
    if not (wheel_turns > 0.0 and circumference_m > 0.0 and math.isfinite(cable_turns)):
        raise ValueError("wheel turns and circumference must be positive")
    return cable_turns / wheel_turns * MILE_M / circumference_m
