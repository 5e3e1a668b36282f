"""What to drive for a build sheet's targets and work, in an order that is safe."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from roadtest.build_sheet import BeddingWanted, StoppingLimit
from roadtest.plan import straights
from roadtest.plan.car import PUBLIC_MOST_MPS, PlanCar
from roadtest.plan.model import Step
from roadtest.plan.runs import (
    COAST_PAIRS,
    GEAR_HOLD_S,
    HOLD_S,
    PULL_RUNS,
    STANDING_RUNS,
    Wanted,
    coast_speeds,
    gear_holds,
    hold_speeds,
    pulls,
    starts,
    stop_count,
    stop_speed,
    wanted_by,
)
from roadtest.units import to_si

_GENTLE: Final = {"mph": (5.0, 20.0, 30.0), "km/h": (8.0, 30.0, 50.0)}
_WARM_WAY: Final = {"mph": "5 miles", "km/h": "8 km"}
_GEARING: Final = ("gearbox", "axle", "tach", "cruise_rpm")


def programme(car: PlanCar) -> tuple[Step, ...]:
    """Return the steps of the drive, in order: brakes gently first, nothing fast before warm."""
    wanted = wanted_by(car.sheet)
    return (
        *_gentle(car),
        *_bedding(wanted, car),
        *_warming(wanted, car),
        *_holds(wanted, car),
        *_gear_holds(wanted, car),
        *_coasts(wanted, car),
        *_stops(wanted, car),
        *_pulls(wanted, car),
        *_standing(wanted, car),
    )


def _gentle(car: PlanCar) -> Iterator[Step]:
    units = car.sheet.units
    speeds = tuple(min(to_si(v, units), car.ceiling_mps) for v in _GENTLE[units])
    yield Step(
        "gentle",
        "Prove the brakes gently",
        1,
        tuple(dict.fromkeys(speeds)),
        0.0,
        straight_m=straights.stop_straight_m(max(speeds)),
        note="before anything fast, from walking pace up; end the drive if the pedal is long or "
        "soft or the car pulls",
    )


def _bedding(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    asked = [
        target.value
        for target in car.sheet.targets.named("bedding")
        if isinstance(target.value, BeddingWanted)
    ]
    if "bedding" not in wanted.drives and not asked:
        return
    units = car.sheet.units
    top = to_si(_GENTLE[units][2], units)
    count, top, low, how = 1, top, 0.2 * top, "20 to 30 light snubs, "
    if asked:
        count, top, low, how = asked[0].count, asked[0].from_mps, asked[0].to_mps, "light snubs, "
    top = min(top, car.ceiling_mps)
    yield Step(
        "bedding",
        "Bed in the new linings",
        count,
        (top,),
        min(low, top),
        straight_m=straights.stop_straight_m(top),
        note=f"as their maker says, else {how}half a minute's rolling between "
        "(common practice, no published source); no hard stop before",
    )


def _warming(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    note = "tyres, oil and coolant warm"
    if wanted.any_of("odometer"):
        note += "; note the odometer, standing, at both ends"
    if "traffic" in wanted.drives:
        note += "; ten minutes of it in slow traffic, watching temperature and volts"
    if "bends" in wanted.drives:
        note += "; bends both ways, listening"
    yield Step(
        "warm",
        "Warm up",
        seconds=900.0,
        straight_m=None,
        note=f"{note}; at least {_WARM_WAY[car.sheet.units]}",
    )
    yield Step(
        "look",
        "Stand. Look by hand",
        note="leaks, heat at each wheel, wheel fixings to their torque again",
    )


def _holds(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    if not (wanted.any_of("speedometer") or "hold" in wanted.drives):
        return
    speeds = hold_speeds(car)
    yield Step(
        "hold",
        "Hold the needle on the mark",
        1,
        speeds,
        gears=tuple(car.gear_for(v) for v in speeds),
        seconds=HOLD_S,
        straight_m=straights.hold_straight_m(max(speeds), HOLD_S),
        note="the observer notes time, dial and tach at the middle of each"
        + (f"; those above {_public(car)}: closed road" if max(speeds) > PUBLIC_MOST_MPS else ""),
    )


def _public(car: PlanCar) -> str:
    """Return the speed that many roads allow, as a crew reads it."""
    return "70 mph" if car.sheet.units == "mph" else "110 km/h"


def _gear_holds(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    if not (wanted.any_of(*_GEARING) or wanted.drives >= {"hold", "pull"}):
        return
    held = gear_holds(car)
    if held:
        speeds = tuple(speed for _, speed in held)
        yield Step(
            "hold",
            "Drive steadily in each gear",
            1,
            speeds,
            gears=tuple(gear for gear, _ in held),
            seconds=GEAR_HOLD_S,
            straight_m=straights.hold_straight_m(max(speeds), GEAR_HOLD_S),
            note="engine speed logged",
        )


def _coasts(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    speeds = coast_speeds(car)
    if speeds is None or not (wanted.any_of("rolling_coefficient") or "coast" in wanted.drives):
        return
    high, low = speeds
    yield Step(
        "coast",
        "Coast in neutral",
        2 * COAST_PAIRS,
        (high,),
        low,
        straight_m=straights.coast_straight_m(high, low, car.load, car.rolling_mass_kg),
        note="engine on, ignition unlocked; every second one back along the same road",
    )


def _stops(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    asked = wanted.any_of("mfdd", "stopping_distance", "fade", "drift", "spread")
    if not (asked or "stop" in wanted.drives):
        return
    speed = stop_speed(car)
    allowed = [
        target.value.at_most_m
        for target in car.sheet.targets.named("stopping_distance")
        if isinstance(target.value, StoppingLimit)
    ]
    note = (
        "closed road only; in neutral or clutch down, every second one the other way, mirror first"
    )
    if wanted.any_of("fade"):
        note += "; for fade one after the other; then cool the brakes rolling"
    yield Step(
        "stop",
        "Stop hard",
        stop_count(car),
        (speed,),
        0.0,
        straight_m=straights.stop_straight_m(speed, max(allowed, default=0.0)),
        note=note,
    )


def _pulls(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    for gear, low, high, seconds in pulls(car):
        yield Step(
            "pull",
            "Pull at full throttle",
            PULL_RUNS,
            (low,),
            high,
            gears=(gear,),
            seconds=seconds,
            straight_m=straights.pull_straight_m(low, high, seconds),
            note="part throttle first, one listener for detonation"
            if car.sheet.boosted or "ignition" in car.sheet.work.done
            else "both ways along the same road",
        )


def _standing(wanted: Wanted, car: PlanCar) -> Iterator[Step]:
    for to, seconds in starts(car):
        yield Step(
            "standing",
            "Start from rest, flat out",
            STANDING_RUNS,
            (0.0,),
            to,
            seconds=seconds,
            straight_m=straights.pull_straight_m(0.0, to, seconds),
            note="closed road only; there and back on the same road; stand a second before each",
        )
