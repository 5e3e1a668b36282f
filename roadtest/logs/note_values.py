"""What somebody wrote in one row of notes.csv, understood or refused."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import Final, Literal, get_args

from roadtest.errors import InputErrors
from roadtest.logs.csv_table import shown
from roadtest.logs.model import NoteItem
from roadtest.quantity import COVERAGE_FACTOR_95
from roadtest.units import Dimension, UnknownUnitError, find_unit, to_si

Units = Literal["mph", "km/h"]

ITEMS: Final[tuple[NoteItem, ...]] = get_args(NoteItem)

_OTHER_WORDS: Final[dict[str, NoteItem]] = {
    "speedo": "indicated speed",
    "speedometer": "indicated speed",
    "mileage": "odometer",
    "distance": "odometer",
    "rpm": "tach",
    "revs": "tach",
    "engine speed": "tach",
    "comment": "remark",
    "note": "remark",
    "check": "inspection",
}
"""What people write instead: named as the nearest item, never taken for it."""

_NUMBER: Final = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_VALUE: Final = re.compile(rf"({_NUMBER})\s*([^0-9\s.,][^0-9]*)?")
_FACE: Final = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]{1,9})?))?")
_TOLERANCE: Final = re.compile(
    r"(?:±|\+/-|\+-)\s*([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*(s|secs?|seconds?|min|minutes?)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class _Dial:
    dimension: Dimension
    unit: dict[Units, str]  # where the row gives none
    most: float  # SI; chosen here: more can't have been read off a dial
    such_as: str


_DIALS: Final[dict[NoteItem, _Dial]] = {
    "indicated speed": _Dial("speed", {"mph": "mph", "km/h": "km/h"}, 150.0, "mph or km/h"),
    "odometer": _Dial("length", {"mph": "mile", "km/h": "km"}, 1e10, "mile or km"),
    "tach": _Dial("engine speed", {"mph": "rpm", "km/h": "rpm"}, 30000.0, "rpm"),
}
_SLOWEST_RPM: Final = 300.0
"""Below it a reading is in hundreds or thousands, as many dials are lettered: no car engine idles
there (common practice, no published source)."""

_GEARS: Final = {str(gear): gear for gear in range(9)} | {
    "n": 0,
    "neutral": 0,
    "r": -1,
    "reverse": -1,
}
_OUTCOMES: Final = ("pass", "fail", "not done")
_TARGET_WANTED: Final = 'one target as in the build sheet, such as mfdd = "5.8 m/s^2"'
_GUARDED: Final = re.compile(r"'+[=+\-@]")


class NotUnderstoodError(ValueError):
    """A row of notes that can't be understood: what was found, and what was expected."""

    def __init__(self, found: str, expected: str) -> None:
        self.found, self.expected = found, expected
        super().__init__(f"{found}; expected {expected}")


@dataclass(frozen=True)
class NoteValue:
    """The value of a note, and the smallest step in which it was written, both SI."""

    text: str  # as written
    value: float | None = None
    resolution: float | None = None


def read_item(text: str) -> NoteItem:
    """Return the item that `text` names; raises NotUnderstoodError with the nearest one."""
    folded = " ".join(text.casefold().split())
    for item in ITEMS:
        if item == folded:
            return item
    choice = ", ".join(f'"{item}"' for item in ITEMS)
    if not folded:
        raise NotUnderstoodError("no item", f"one of {choice}")
    close = difflib.get_close_matches(folded[:40], ITEMS, n=1, cutoff=0.5)
    nearest = _OTHER_WORDS.get(folded) or (close[0] if close else None)
    hint = f'"{nearest}" perhaps; the items are {choice}' if nearest else f"one of {choice}"
    raise NotUnderstoodError(f"unknown item {shown(text)}", hint)


def read_value(item: NoteItem, value: str, unit: str, units: Units) -> NoteValue:
    """Return what the cells `value` and `unit` say about `item`; raises NotUnderstoodError.

    Numbers have a decimal point here. `units` is what the build sheet says people read.
    """
    if item == "remark":
        # A remark with a comma in it runs on into the next cell.
        return NoteValue(", ".join(part for part in (value, unit) if part))
    if item in _DIALS:
        return _dial_value(item, value, unit, units)
    if unit:
        raise NotUnderstoodError(
            f"{shown(unit)} as the unit of {_article(item)}", "no unit; words belong under remark"
        )
    if item == "left out":
        return NoteValue(value)
    if item == "target":
        return _target(value)
    return _gear(value) if item == "gear" else _inspection(value)


def _dial_value(item: NoteItem, value: str, unit: str, units: Units) -> NoteValue:
    dial = _DIALS[item]
    match = _VALUE.fullmatch(value)
    if not match or (match[2] and unit):
        found = f"{item} {shown(value)}" if value else f"{item} without a value"
        comma = " with a decimal point" if re.search(r"[0-9],[0-9]", value) else ""
        raise NotUnderstoodError(found, f"a number{comma}, its unit in the column unit")
    unit = unit or (match[2] or "").strip() or dial.unit[units]
    try:
        known = find_unit(unit)
    except UnknownUnitError:
        raise NotUnderstoodError(f"{item} in {shown(unit)}", dial.such_as) from None
    if known.dimension != dial.dimension:
        raise NotUnderstoodError(
            f"{item} in {shown(unit)}", f"a unit of {dial.dimension}: {dial.such_as}"
        )
    si = to_si(float(match[1]), unit)
    if not 0.0 <= si <= dial.most:
        raise NotUnderstoodError(f"{item} {shown(value)} {unit}", "what a dial can show")
    if item == "tach" and 0.0 < si < _SLOWEST_RPM:
        raise NotUnderstoodError(
            f"tach {shown(value)} {unit}", "revolutions a minute, such as 2900"
        )
    decimals = len(match[1].partition(".")[2])
    return NoteValue(value, si, 10.0**-decimals * known.factor)


def _gear(value: str) -> NoteValue:
    gear = _GEARS.get(value.casefold())
    if gear is None:
        raise NotUnderstoodError(f"gear {shown(value)}", "1 to 8, N for neutral or R for reverse")
    return NoteValue(value, float(gear))


def _inspection(value: str) -> NoteValue:
    outcome = " ".join(value.casefold().split())
    if outcome not in _OUTCOMES:
        raise NotUnderstoodError(f"inspection {shown(value)}", '"pass", "fail" or "not done"')
    return NoteValue(outcome)


def _target(value: str) -> NoteValue:
    from roadtest.build_sheet import read_targets  # not needed for most notes, and slow to load

    if not value:
        raise NotUnderstoodError("a target without a value", _TARGET_WANTED)
    try:
        count = len({target.id for target in read_targets(value, "")})
    except InputErrors as faults:
        fault = faults.faults[0]
        where = f"target {fault.place}: " if fault.place else "target: "
        raise NotUnderstoodError(f"{where}{fault.found}", fault.expected) from None
    if count != 1:
        raise NotUnderstoodError(f"{count} targets in one row", _TARGET_WANTED)
    return NoteValue(value)


def read_text(cell: str) -> str:
    """Return the text of a cell without the apostrophe that keeps it from being a formula."""
    return cell[1:] if _GUARDED.match(cell) else cell


def read_clock_face(text: str) -> float | None:
    """Return seconds past midnight of `HH:MM[:SS]`, None when `text` is no such time."""
    match = _FACE.fullmatch(text)
    if not match:
        return None
    hour, minute, second = int(match[1]), int(match[2]), (match[3] or "0").replace(",", ".")
    if hour > 23 or minute > 59 or float(second) >= 60.0:
        return None
    return hour * 3600.0 + minute * 60.0 + float(second)


def read_time_tolerance(remark: str) -> float | None:
    """Return the standard uncertainty in s of a time that `remark` gives as "±2 s" (95 %)."""
    match = _TOLERANCE.search(remark)
    if not match:
        return None
    half_width = float(match[1].replace(",", "."))
    seconds = half_width * (60.0 if match[2].casefold().startswith("m") else 1.0)
    # A stated ± is the half-width of a 95 % interval.
    return seconds / COVERAGE_FACTOR_95 if seconds > 0.0 else None


def _article(item: NoteItem) -> str:
    return f"an {item}" if item[0] in "aeiou" else f"a {item}"
