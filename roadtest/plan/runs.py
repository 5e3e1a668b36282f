"""Which speeds, gears and how many runs a build sheet's targets and work ask for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from roadtest.build_sheet import (
    BuildSheet,
    NamedRule,
    StandingLimit,
    StoppingLimit,
    ThroughLimit,
)
from roadtest.measures.speedometer.target import dial_target
from roadtest.plan.car import PUBLIC_MOST_MPS, PlanCar
from roadtest.rules import braking_rule
from roadtest.units import from_si, to_si
from roadtest.work_checks import checks_for

HOLD_S: Final = 20.0
"""Long enough that a time noted by hand, good to 5 s, falls inside."""
GEAR_HOLD_S: Final = 20.0
LEAST_STOPS: Final = 4  # what fade and spread need; two each way
STOPS_OF_SERIES: Final = 6
"""FMVSS 135 has six stops of each kind (value from memory)."""
COAST_PAIRS: Final = 2
STANDING_RUNS: Final = 2  # one each way
PULL_RUNS: Final = 2

_DIAL: Final = {"mph": (30.0, 40.0, 50.0, 60.0, 70.0), "km/h": (50.0, 70.0, 90.0, 110.0)}
_MARK: Final = {"mph": 5.0, "km/h": 10.0}  # that every dial has
_LEAST_HOLD_MPS: Final = 3.0  # slower, nobody holds a dial speed
_STOP_FROM: Final = {"mph": 50.0, "km/h": 80.0}
_COAST: Final = {"mph": (60.0, 20.0), "km/h": (100.0, 30.0)}
_LEAST_SPAN_MPS: Final = 6.0  # that a coast-down must fall through to be worth driving; our choice


@dataclass(frozen=True)
class Wanted:
    """What kinds of driving a sheet asks for, by its targets and its work."""

    targets: frozenset[str]
    drives: frozenset[str]

    def any_of(self, *names: str) -> bool:
        """Return whether any of these targets is set."""
        return not self.targets.isdisjoint(names)


def wanted_by(sheet: BuildSheet) -> Wanted:
    """Return what a sheet asks for; one without targets or work asks for holds and stops."""
    targets = frozenset(target.id for target in sheet.targets)
    drives = {kind for _, checks in checks_for(sheet.work.done) for kind in checks.drive}
    if not targets and not drives:
        drives = {"hold", "stop"}
    return Wanted(targets, frozenset(drives))


def hold_speeds(car: PlanCar) -> tuple[float, ...]:
    """Return the dial speeds to hold, m/s, from the slowest: those of the sheet, or marks.

    Marks are round ones, and those nearest to the speeds the target's rule tests at.
    """
    sheet = car.sheet
    if sheet.indicated_speeds:
        wished = [given.value for given in sheet.indicated_speeds]
    else:
        wished = _marks(sheet)
    kept = {v for v in wished if _LEAST_HOLD_MPS < v <= car.ceiling_mps}
    return tuple(sorted(kept)) or (min(to_si(30.0, "mph"), 0.9 * car.ceiling_mps),)


def _marks(sheet: BuildSheet) -> list[float]:
    units, target = sheet.speedometer.units, dial_target(sheet)
    marks = set(_DIAL[units])
    if target is not None:
        step = _MARK[units]
        tested = {step * round(from_si(v, units) / step) for v in target.test_speeds_mps}
        judged = {v for v in marks if target.rule.speeds.holds(to_si(v, units), to_si(v, units))}
        marks = judged | tested or marks
    return [to_si(v, units) for v in marks]


def gear_holds(car: PlanCar) -> tuple[tuple[int, float], ...]:
    """Return each gear with a middling speed for it, none where the gearing isn't known."""
    made = []
    for gear in range(1, len(car.sheet.ratios) + 1):
        speed = car.middle_speed(gear)
        if speed is not None:
            made.append((gear, min(speed, PUBLIC_MOST_MPS)))
    return tuple(made)


def coast_speeds(car: PlanCar) -> tuple[float, float] | None:
    """Return from and to what speed to coast; None for a car too slow for it."""
    high, low = (to_si(v, car.sheet.units) for v in _COAST[car.sheet.units])
    high = min(high, 0.95 * car.ceiling_mps)
    return (high, low) if high - low >= _LEAST_SPAN_MPS else None


def stop_speed(car: PlanCar) -> float:
    """Return the speed to stop from, m/s: the target's, its rule's, or a round one."""
    speeds = []
    for target in (*car.sheet.targets.named("stopping_distance"), *car.sheet.targets.named("mfdd")):
        if isinstance(target.value, StoppingLimit):
            speeds.append(target.value.from_mps)
        elif isinstance(target.value, NamedRule):
            nominal = braking_rule(target.value.name).nominal_speed_mps
            speeds += [] if nominal is None else [nominal]
    wished = speeds[0] if speeds else to_si(_STOP_FROM[car.sheet.units], car.sheet.units)
    return min(wished, car.ceiling_mps)


def stop_count(car: PlanCar) -> int:
    """Return how many like stops to make."""
    series = wanted_by(car.sheet).any_of("fade", "spread")
    return STOPS_OF_SERIES if series else LEAST_STOPS


def pull_gear(car: PlanCar) -> int | None:
    """Return the gear for a pull that no target names: third, or the highest below it there is."""
    ratios = len(car.sheet.ratios)
    return min(3, ratios) if ratios and car.rpm(1, 1.0) is not None else None


def pulls(car: PlanCar) -> tuple[tuple[int | None, float, float, float], ...]:
    """Return gear, from, to (m/s) and time (s) of each pull the engine and the car allow."""
    wanted = wanted_by(car.sheet)
    made: list[tuple[int | None, float, float, float]] = []
    for target in car.sheet.targets.named("through"):
        asked = target.value
        if isinstance(asked, ThroughLimit) and car.fits(asked.gear, asked.to_mps):
            made.append((asked.gear, asked.from_mps, asked.to_mps, asked.at_most_s))
    gear = pull_gear(car)
    if not made and (wanted.any_of("clutch_slip") or "pull" in wanted.drives) and gear is not None:
        middle = car.middle_speed(gear)
        per_mps = car.rpm(gear, 1.0)
        if middle is not None and per_mps is not None:
            low = max(car.lowest_rpm / per_mps, 0.6 * middle)
            high = min(1.3 * middle, car.ceiling_mps, PUBLIC_MOST_MPS)
            limit = car.sheet.engine.limit_rpm
            high = high if limit is None else min(high, 0.95 * limit / per_mps)
            if high > low:
                made.append((gear, low, high, (high - low) / 1.2))
    return tuple(made)


def starts(car: PlanCar) -> tuple[tuple[float, float], ...]:
    """Return speed (m/s) and time (s) of every standing start the car allows."""
    return tuple(
        (target.value.to_mps, target.value.at_most_s)
        for target in car.sheet.targets.named("standing")
        if isinstance(target.value, StandingLimit) and target.value.to_mps <= car.ceiling_mps
    )
