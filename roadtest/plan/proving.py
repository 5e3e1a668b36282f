"""From a foreseen finding to what the car must do, and whether this logger can prove it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from roadtest.build_sheet import BuildSheet, Target
from roadtest.plan.car import FULL_BRAKING_MPS2, ROLLING, PlanCar
from roadtest.plan.model import Predicted
from roadtest.quantity import Quantity
from roadtest.results import Finding, FindingItem, Limit
from roadtest.units import MILE_M
from roadtest.wording import PERCENT_FINDINGS, in_read_unit, number_text, rounded, sentence

LONGEST_WAY_M: Final = 80e3  # for the odometer; our choice
_OF_TWO_READINGS: Final = 1.0 - math.sqrt(0.05)
"""95 % half-width of the difference of two readings to a step (a triangle), over the step."""
_MEANS: Final = ("rolling_coefficient",)  # where more runs narrow the interval
_MOST_RUNS: Final = 16
_ROLL_OUT: Final = "no logger will, with the tyre known by its size alone: roll it out"
_REMEDY: Final = {
    "axle": _ROLL_OUT,
    "tach": _ROLL_OUT,
    "speedometer": "a dial read more closely is needed, or a wider target",
    "cruise_rpm": "an engine speed logged more closely is needed",
    "gearbox": "an engine speed logged more closely, and longer in each gear, is needed",
    "clutch_slip": "an engine speed logged more closely is needed",
}
_BY_THE_ROAD: Final = ("rolling_coefficient",)
"""Figures whose intervals hang on the road's own hills, by a factor of five and more: the widest
of the throws is told."""
_OF_STOPS: Final = ("mfdd", "stopping_distance", "fade", "drift", "spread")
_FASTER: Final = "a faster or quieter logger is needed"
_BY_THE_SHEET: Final = ("cruise_rpm",)  # figures that the sheet itself settles


def proof_of(car: PlanCar, target: Target, findings: Sequence[Finding], runs: str) -> Predicted:
    """Return what is foreseen for one target, from its finding in every throw of the dice."""
    finding = findings[0]
    if target.id == "odometer":
        return _odometer(car.sheet, finding)
    if target.id.startswith("channel."):
        name = target.id.removeprefix("channel.")
        said = f"Needs a log of {name}; judged on its highest and lowest reading as logged"
        return Predicted(target.id, finding.title, None, finding.limit, "whole drive", said, True)
    hardest = [item for one in findings if (item := _hardest(target.id, one)) is not None]
    if 2 * len(hardest) <= len(findings):
        blind = next(one for one in findings if _hardest(target.id, one) is None)
        why = _unseen(car, target, blind.to_settle or blind.reason)
        return Predicted(target.id, finding.title, None, finding.limit, runs, why, False)
    item = _widest(hardest) if target.id in _BY_THE_ROAD else _typical(hardest)
    assert item.measured is not None and item.limit is not None
    share = _share_of_room(target.id, item)
    percent = target.id in PERCENT_FINDINGS
    if share >= 1.0:
        says, provable, runs = _too_wide(car, target.id, item, runs, percent)
    else:
        says, provable = _must(car.sheet, item.measured, item.limit, percent), True
        if target.id in _BY_THE_SHEET and all(one.verdict == "fail" for one in findings):
            figure = say(car.sheet, item.measured.value, item.measured, percent)
            says += f"; EXPECT A FAIL: by the build sheet itself it will be {figure}"
    return Predicted(target.id, finding.title, item.measured, item.limit, runs, says, provable)


def _hardest(target_id: str, finding: Finding) -> FindingItem | None:
    """Return the item with the least room between its interval and what a car can do."""
    items = [i for i in finding.items if i.measured is not None and i.limit is not None]
    if not items and finding.measured is not None and finding.limit is not None:
        items = [FindingItem(None, finding.measured, finding.limit, finding.verdict)]
    return max(items, key=lambda item: _share_of_room(target_id, item), default=None)


def _widest(items: Sequence[FindingItem]) -> FindingItem:
    """Return the item with the largest half-width."""
    return max(items, key=lambda item: item.measured.u95 if item.measured else 0.0)


def _typical(items: Sequence[FindingItem]) -> FindingItem:
    """Return the first item with the middle one of all half-widths, and of all values."""
    measured = [item.measured for item in items if item.measured is not None]
    value = float(np.median([figure.value for figure in measured]))
    u95 = float(np.median([figure.u95 for figure in measured]))
    return replace(items[0], measured=Quantity(value, u95, measured[0].unit))


def _share_of_room(target_id: str, item: FindingItem) -> float:
    """Return the interval's half-width over the room there is for it; 1 or more: can't be proven.

    The room is half of a band, or from the limit to the best any car does.
    """
    measured, limit = item.measured, item.limit
    if measured is None or limit is None:
        return 0.0
    if limit.low is not None and limit.high is not None:
        room = 0.5 * (limit.high - limit.low)
    elif limit.low is not None:
        room = _best(target_id) - limit.low
    elif limit.high is not None:
        room = limit.high - _best(target_id)
    else:
        return 0.0
    return measured.u95 / room if room > 0.0 else math.inf


def _best(target_id: str) -> float:
    """Return the best value there can be of a figure with one limit."""
    if target_id == "mfdd":
        return FULL_BRAKING_MPS2
    if target_id == "fade":
        return 1.0
    if target_id == "rolling_coefficient":
        return ROLLING
    return 0.0


def _must(sheet: BuildSheet, figure: Quantity, limit: Limit, percent: bool) -> str:
    """Say what the car must do for the target to be proven."""
    low = None if limit.low is None else limit.low + figure.u95
    high = None if limit.high is None else limit.high - figure.u95
    if low is not None and high is not None:
        return f"proven from {say(sheet, low, figure, percent)} to " + say(
            sheet, high, figure, percent
        )
    if low is not None:
        return f"proven at {say(sheet, low, figure, percent)} or more"
    return f"proven at {say(sheet, high or 0.0, figure, percent)} or less"


def _too_wide(
    car: PlanCar, target_id: str, item: FindingItem, runs: str, percent: bool
) -> tuple[str, bool, str]:
    """Say that the interval leaves no room, or how many more runs would make it fit."""
    measured = item.measured
    assert measured is not None
    share = _share_of_room(target_id, item)
    if target_id in _MEANS and math.isfinite(share):
        pairs = math.ceil(2.0 * share**2 * 1.1)
        if pairs <= _MOST_RUNS:
            return (
                "two each way leave its interval too wide; so many narrow it enough, if all of it "
                "is scatter",
                True,
                f"{pairs} coasts each way",
            )
    width = say(car.sheet, measured.u95, measured, percent)
    remedy = _REMEDY.get(target_id, _FASTER)
    if remedy == _ROLL_OUT and _rolled_out(car.sheet):
        remedy = "the tyre's own interval is too wide: roll it out more closely"
    said = f"THIS LOGGER CAN'T PROVE IT: ±{width} leaves no room within the limit, whatever the car"
    return f"{said} does; {remedy}", False, runs


def _unseen(car: PlanCar, target: Target, why: str) -> str:
    """Say why nothing is foreseen for a target."""
    if target.id in ("standing", "through"):
        return f"CAN'T BE DRIVEN within the engine's and the car's own limits. {why}"
    if target.id in _OF_STOPS:  # which the card has driven; so what is wanting is the logger
        why = sentence(_FASTER)
    return f"THIS LOGGER CAN'T PROVE IT: the figure can't be measured with it. {why}"


def _rolled_out(sheet: BuildSheet) -> bool:
    return sheet.tyres is not None and sheet.tyres.rolling_circumference is not None


def _odometer(sheet: BuildSheet, finding: Finding) -> Predicted:
    """Return what two odometer readings to a tenth show over a way long enough, as a share of it.

    Both readings are taken to a tenth of the dial's unit, so their difference has a triangular
    error of 0.776 steps (95 %); the log's own distance is better than that by far.
    """
    step = 0.1 * (MILE_M if sheet.units == "mph" else 1000.0)
    limit = finding.limit
    room = 0.04 if limit is None or limit.high is None else limit.high - 1.0
    least = 5.0 * (MILE_M if sheet.units == "mph" else 1000.0)
    way = max(least, 2.0 * _OF_TWO_READINGS * step / max(room, 1e-9))
    distance = Quantity(min(way, LONGEST_WAY_M), 0.0, "m")
    u95 = _OF_TWO_READINGS * step / distance.value
    shown = in_read_unit(distance, sheet.units)
    runs = f"{number_text(shown.value, 2)} {shown.unit}, two readings"
    expected = Quantity(1.0, u95, "1")
    if u95 >= room:
        says = "NO DRIVE OF A SENSIBLE LENGTH PROVES IT with readings to a tenth"
        return Predicted("odometer", finding.title, expected, limit, runs, says, False)
    says = f"proven within {number_text(100.0 * (room - u95), 2)} % of right"
    return Predicted("odometer", finding.title, expected, limit, runs, says, True)


def say(sheet: BuildSheet, value: float, like: Quantity, percent: bool) -> str:
    """Return a value with as many decimals as a figure's interval asks for, in the sheet's unit."""
    if percent and like.unit == "1":
        read = Quantity(100.0 * value, 100.0 * like.u95, "%")
    else:
        read = in_read_unit(Quantity(value, like.u95, like.unit), sheet.units)
    return f"{rounded(read.value, read.u95)[0]} {read.unit}".rstrip()
