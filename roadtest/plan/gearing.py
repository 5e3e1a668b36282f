"""Engine speeds, and what a change of gearing or tyre does to them and to the dial."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.measures.gearing.cruise import cruise_speeds
from roadtest.measures.speedometer.head import gearing_of
from roadtest.measures.speedometer.prediction import Prediction, predict_error
from roadtest.plan.car import PlanCar
from roadtest.plan.model import Change, EngineSpeeds
from roadtest.units import from_si, to_si
from roadtest.wording import number_text, quantity_text

_ROUND: Final = {
    "mph": (20.0, 30.0, 40.0, 50.0, 60.0, 70.0),
    "km/h": (30.0, 50.0, 70.0, 90.0, 110.0),
}
_SAME_MPS: Final = 0.01


def engine_speeds(car: PlanCar) -> EngineSpeeds | None:
    """Return the engine speed at round road speeds in each gear; None without the gearing."""
    sheet = car.sheet
    around = sheet.circumference
    if around is None or car.rpm(1, 1.0) is None:
        return None
    gears = tuple(range(1, len(sheet.ratios) + 1))
    speeds = sorted({*(to_si(v, sheet.units) for v in _ROUND[sheet.units]), *cruise_speeds(sheet)})
    rows = []
    for k, speed in enumerate(speeds):
        if k and speed - speeds[k - 1] < _SAME_MPS:
            continue
        cells = tuple(car.rpm(gear, speed) if car.fits(gear, speed) else None for gear in gears)
        if any(cell is not None for cell in cells):
            rows.append((speed, cells))
    return EngineSpeeds(gears, tuple(rows), (around.u95 or 0.0) / around.value)


def changes_between(old: PlanCar, new: PlanCar) -> tuple[Change, ...]:
    """Return what a considered change does to the dial and to the cruising engine speeds."""
    return (*_dial(old.sheet, new.sheet), *_cruise(old, new))


def _dial(old: BuildSheet, new: BuildSheet) -> Iterator[Change]:
    """Yield the dial's error before and after.

    Before: from the head's own figures where the sheet has them, else taken as right.
    """
    now = predict_error(old)
    if now is not None:
        then, lead = predict_error(new), "dial error"
    else:
        now = predict_error(old, gearing_of(old))
        then = predict_error(new, gearing_of(old))
        lead = "dial error, if it is right now,"
    if now is None or then is None:
        yield Change("dial error", "not known from the sheet", "not known from the sheet")
        return
    yield Change("dial over true speed", _scale(now), _scale(then))
    pairs = zip(now.errors, then.errors, strict=True)
    for before, after in sorted(pairs, key=lambda pair: pair[0].speed.value):
        at = quantity_text(before.speed, new.units)
        yield Change(
            f"{lead} at {at}",
            quantity_text(before.error, new.units, signed=True),
            quantity_text(after.error, new.units, signed=True),
        )
    if then.verdict is not None:
        yield Change("speedometer's target", now.verdict or "no target", then.verdict)


def _scale(prediction: Prediction) -> str:
    return quantity_text(prediction.scale, "mph")


def _cruise(old: PlanCar, new: PlanCar) -> Iterator[Change]:
    for speed in cruise_speeds(new.sheet):
        before, after = (_top(car, speed) for car in (old, new))
        if before is not None or after is not None:
            at = number_text(float(from_si(speed, new.sheet.units)), 3)
            yield Change(f"top gear at {at} {new.sheet.units}", _rpm(before), _rpm(after))


def _top(car: PlanCar, speed_mps: float) -> float | None:
    return car.rpm(len(car.sheet.ratios), speed_mps)


def _rpm(rpm: float | None) -> str:
    return "not known" if rpm is None else f"{rpm:.0f} rpm"
