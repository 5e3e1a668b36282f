"""Figures in words: SI quantities as people read them, rounded only here."""

from __future__ import annotations

import math
import re
from typing import Final

from roadtest.quantity import Quantity
from roadtest.results import GPS_KINDS, ByHand, Finding, Limit, LogInfo, ReadIn, Verdict
from roadtest.units import MILE_M, UnknownUnitError, find_unit

VERDICT_WORD: Final[dict[Verdict, str]] = {
    "fail": "FAIL",
    "not proven": "NOT PROVEN",
    "pass": "PASS",
}
"""The words for the verdicts, those that matter most first."""

VERDICT_MARK: Final[dict[Verdict, str]] = {"fail": "✗", "not proven": "?", "pass": "✓"}

NOT_MEASURED: Final = "not measured"
PERCENT_FINDINGS: Final = frozenset({"clutch_slip", "fade", "spread"})
"""Findings whose fractions are read in per cent; other fractions are ratios."""
INSPECTION: Final = "Inspection: "
"""How the title of an inspection's finding begins."""
FAR_M: Final = 1000.0  # from here on a length is a distance driven, and read in miles or km

_SPEED_IN_TEXT: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?) m/s(?![²^/0-9])")

_MOMENT_IN_TEXT: Final = re.compile(r"\bat ([0-9]+(?:\.[0-9]+)?) s\b")
_STRETCH_IN_TEXT: Final = re.compile(r"\bfrom ([0-9]+(?:\.[0-9]+)?) s to ([0-9]+(?:\.[0-9]+)?) s\b")
_A_NAME: Final = re.compile(r"\S*(?:[0-9]|\.\S)")  # "stop-3: …", "tach.csv: …"
_READ_AS: Final[dict[str, tuple[str, str]]] = {  # SI unit: read with mph, read with km/h
    "m/s": ("mph", "km/h"),
    "W": ("hp", "kW"),
    "rad": ("deg", "deg"),
    "K": ("degC", "degC"),
    "Pa": ("kPa", "kPa"),
}
_SYMBOL: Final[dict[str, str]] = {
    "degC": "°C",
    "degF": "°F",
    "deg": "°",
    "r/min": "rpm",
    "1": "",
    "m/s^2": "m/s²",
    "mile": "miles",
}


def in_read_unit(quantity: Quantity, units: ReadIn) -> Quantity:
    """Return an SI `quantity` in the unit people read; its unit is the symbol to print.

    Speeds follow `units`, powers are in hp beside mph and in kW beside km/h, lengths from 1000 m
    on are in miles or km, absolute temperatures in °C. What is in no table stays as it is.
    """
    unit, second = quantity.unit, units == "km/h"
    if unit == "1/m":
        far, name = (1000.0, "per km") if second else (MILE_M, "per mile")
        return Quantity(quantity.value * far, quantity.u95 * far, name)
    if unit == "m" and abs(quantity.value) >= FAR_M:
        read_as = "km" if second else "mile"
    else:
        read_as = _READ_AS[unit][second] if unit in _READ_AS else unit
    symbol = _SYMBOL.get(read_as, read_as)
    if read_as == unit:
        return Quantity(quantity.value, quantity.u95, symbol)
    try:
        old, new = find_unit(unit), find_unit(read_as)
    except UnknownUnitError:
        return Quantity(quantity.value, quantity.u95, symbol)
    value = (quantity.value * old.factor + old.offset - new.offset) / new.factor
    return Quantity(value, quantity.u95 * old.factor / new.factor, symbol)


def unit_symbol(unit: str) -> str:
    """Return the symbol to print for a unit, "°C" for "degC"."""
    return _SYMBOL.get(unit, unit)


def rounded(value: float, u95: float) -> tuple[str, str]:
    """Return `value` and `u95` as text: u95 to two significant digits, value to match.

    With u95 = 0 the value is an exact or nominal one: four significant digits at most.

    Reference: JCGM 100:2008, 7.2.6 (at most two significant digits) [value from memory].
    """
    if u95 == 0.0:
        return number_text(value), "0"
    decimals = 1 - math.floor(math.log10(u95))
    if round(u95, decimals) >= 10.0 ** (2 - decimals):  # 0.0996 becomes 0.10, not 0.100
        decimals -= 1
    return _fixed(value, decimals), _fixed(u95, decimals)


def number_text(value: float, digits: int = 4) -> str:
    """Return `value` with at most `digits` significant digits, no exponent, no idle zeros.

    Digits before the decimal point are all kept.
    """
    if value == 0.0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = _fixed(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def pair_text(quantity: Quantity | None, *, signed: bool = False) -> str:
    """Return "58.31 ± 0.40" of a quantity already in the unit to read, without the unit."""
    if quantity is None:
        return NOT_MEASURED
    value, u95 = rounded(quantity.value, quantity.u95)
    if signed and quantity.value > 0.0 and value.strip("0."):
        value = f"+{value}"
    return value if quantity.u95 == 0.0 else f"{value} ± {u95}"


def quantity_text(
    quantity: Quantity | None, units: ReadIn, *, percent: bool = False, signed: bool = False
) -> str:
    """Return "58.31 ± 0.40 mph" of an SI quantity; a fraction as such, or in per cent."""
    if quantity is None:
        return NOT_MEASURED
    if percent and quantity.unit == "1":
        read = Quantity(100.0 * quantity.value, 100.0 * quantity.u95, "%")
    else:
        read = in_read_unit(quantity, units)
    return f"{pair_text(read, signed=signed)} {read.unit}".rstrip()


def as_people_read(text: str, units: ReadIn) -> str:
    """Return `text` with its speeds in the unit people read, and moments of the drive as a clock.

    Speeds are those written in m/s ("from 4.8 m/s"), moments those written in seconds after "at",
    or with "from" and "to".
    """

    def read(found: re.Match[str]) -> str:
        speed = in_read_unit(Quantity(float(found[1]), 0.0, "m/s"), units)
        return f"{number_text(speed.value, 3)} {speed.unit}"

    def at(found: re.Match[str]) -> str:
        return f"at {clock_text(float(found[1]))}"

    def between(found: re.Match[str]) -> str:
        return f"from {clock_text(float(found[1]))} to {clock_text(float(found[2]))}"

    return _STRETCH_IN_TEXT.sub(between, _MOMENT_IN_TEXT.sub(at, _SPEED_IN_TEXT.sub(read, text)))


def limit_text(limit: Limit | None, units: ReadIn, *, percent: bool = False) -> str:
    """Return "at least 5.8 m/s²", "at most 105 °C" or "0 to 8.436 mph"; "" without a limit."""
    if limit is None:
        return ""
    low, high = (
        None
        if end is None
        else quantity_text(Quantity(end, 0.0, limit.unit), units, percent=percent)
        for end in (limit.low, limit.high)
    )
    if low is None:
        return f"at most {high}"
    if high is None:
        return f"at least {low}"
    if limit.low is not None and limit.high == -limit.low:
        return f"at most {high} either way"
    number, _, symbol = low.partition(" ")
    return f"{number} to {high}" if high.endswith(symbol) else f"{low} to {high}"


def found_text(finding: Finding, units: ReadIn) -> str:
    """Return the figure that decided a finding, or of how many things it rests on none is known."""
    unknown = sum(item.measured is None for item in finding.items)
    if finding.measured is None and 0 < unknown < len(finding.items):
        return f"{unknown} of {len(finding.items)} not judged"
    return quantity_text(finding.measured, units, percent=finding.id in PERCENT_FINDINGS)


def found_against_limit(finding: Finding, units: ReadIn) -> str:
    """Return "5.9 ± 0.3 m/s²; allowed: at least 5.8 m/s²"; "" with neither figure nor limit."""
    percent = finding.id in PERCENT_FINDINGS
    allowed = limit_text(finding.limit, units, percent=percent)
    if finding.measured is None and not allowed:
        return ""
    said = found_text(finding, units)
    return f"{said}; allowed: {allowed}" if allowed else said


def probability_text(probability: float) -> str:
    """Return "79.8 %"; never 0 or 100 %, for the model behind it is not as sure as that."""
    if probability >= 0.9995:
        return "over 99.9 %"
    if probability < 0.0005:
        return "under 0.1 %"
    return f"{number_text(100.0 * probability, 3)} %"


def short_title(title: str) -> str:
    """Return a finding's title without the rule's name and what follows a comma.

    Of an inspection it is what was looked at.
    """
    if title.startswith(INSPECTION):
        return title.removeprefix(INSPECTION)
    return title.partition(":")[0].partition(",")[0]


def moment_text(utc: str) -> str:
    """Return "2026-05-02 08:00:01 UTC" of a moment in ISO 8601 with a Z."""
    return utc.replace("T", " ").replace("Z", " UTC")


def clock_text(seconds: float) -> str:
    """Return a time into the drive as "2:05" or "1:02:05"."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def duration_text(seconds: float) -> str:
    """Return how long something took: "45 s", "10 min", "1 h 5 min"."""
    if seconds < 60.0:
        return f"{number_text(seconds, 3)} s"
    hours, minutes = divmod(round(seconds / 60.0), 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"


def sentence(text: str) -> str:
    """Return `text` with a capital first and a full stop last; names keep their small letter."""
    text = text.strip()
    if not text:
        return ""
    ended = text if text[-1] in ".!?" else f"{text}."
    return ended if _A_NAME.match(ended) else ended[0].upper() + ended[1:]


def used_of(log: LogInfo) -> str:
    """Return "739 of 740 fixes": how many of what a log holds are used."""
    things = "fixes" if log.kind in GPS_KINDS else "rows"
    return f"{log.fixes_used} of {log.fixes_read} {things}"


def lost_of(log: LogInfo, reason: str) -> str:
    """Return "3 sentences" or "10 fixes": how many of what a log lost for `reason`."""
    if reason in log.rejected_sentences:
        return plural(log.rejected[reason], "sentence")
    if log.kind not in GPS_KINDS:
        return plural(log.rejected[reason], "row")
    return "1 fix" if log.rejected[reason] == 1 else f"{log.rejected[reason]} fixes"


def plural(count: int, noun: str) -> str:
    """Return "1 gap" or "2 gaps"."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def by_hand_said(by_hand: ByHand) -> list[tuple[str, str]]:
    """Return label and line for all that a person left out or moved, and why."""
    said = [(one.manoeuvre, f"left out by hand: {one.reason}") for one in by_hand.left_out]
    for one in by_hand.targets:
        was = "a target that the build sheet does not have" if one.was is None else f"was {one.was}"
        said.append((one.target, f"target moved by hand to {one.now} ({was}): {one.reason}"))
    return said + [
        ("notes", f"not left out, for it was not found: {one}") for one in by_hand.not_found
    ]


def by_hand_counted(by_hand: ByHand) -> str:
    """Return how much a person left out or moved, "" where that is nothing."""
    parts = []
    if by_hand.left_out:
        parts.append(f"{plural(len(by_hand.left_out), 'manoeuvre')} left out")
    if by_hand.targets:
        parts.append(f"{plural(len(by_hand.targets), 'target')} moved")
    return ", ".join(parts)


def _fixed(value: float, decimals: int) -> str:
    """Return `value` to `decimals` places (tens where negative), never "-0"."""
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text
