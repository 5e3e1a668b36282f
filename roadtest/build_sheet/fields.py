"""How one value of a build sheet is read, and what to say when it can't be.

Each reader takes what TOML gives and returns the value in SI, or raises SheetValueError.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from difflib import get_close_matches
from itertools import pairwise
from typing import Annotated, Final, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, PlainValidator

from roadtest.tyres import Tyre, read_tyre_size
from roadtest.units import (
    Dimension,
    Given,
    QuantityError,
    parse_quantity,
    quoted,
    to_si,
    wanted,
)

T = TypeVar("T")
LONGEST_TEXT: Final = 200


class SheetValueError(QuantityError):
    """A value that can't be used; `at` is where below its key, () for the key itself."""

    def __init__(self, found: str, expected: str, at: tuple[int | str, ...] = ()) -> None:
        super().__init__(found, expected)
        self.at = at


@dataclass(frozen=True)
class Span:
    """From `low` to `high`, both allowed, in `unit` ("" for plain numbers)."""

    low: float
    high: float
    unit: str = ""
    example: str = ""  # of a quantity, for messages; "" for the usual one

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.low:.12g}{unit} to {self.high:.12g}{unit}"


def describe(value: object) -> str:
    """Return what a TOML value is, in words short enough for a message."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        # Very long integers can't even be printed, and nobody would read them.
        return f"the number {value}" if abs(value) < 10**15 else "a very large number"
    if isinstance(value, float):
        return f"the number {value:g}"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "a table"
    return "a date or time" if isinstance(value, (date, datetime, time)) else "something else"


_OTHER_WORDS: Final = {
    "kph": "km/h",
    "kmh": "km/h",
    "weight": "mass",
    "tires": "tyres",
    "wheels": "tyres",
    "transmission": "gearbox",
    "differential": "axle",
    "final_drive": "axle",
    "roll_out": "rolling_circumference",
    "circumference": "rolling_circumference",
    "model": "label",
    "name": "label",
    "vin": "chassis",
    "redline": "limit_rpm",
    "max_rpm": "limit_rpm",
    "timezone": "utc_offset",
}
"""What people write for a key or word of the sheet."""


def nearest(name: str, known: Iterable[str]) -> str:
    """Return ', did you mean "…"?' where a known name or another word for it is near, else ""."""
    words = {one: one for one in known}
    words |= {other: one for other, one in _OTHER_WORDS.items() if one in words}
    matches = get_close_matches(name[:60].casefold(), list(words), n=1, cutoff=0.6)
    return f', did you mean "{words[matches[0]]}"?' if matches else ""


def quantity(
    dimension: Dimension, span: Span, *, spread: bool = False
) -> Callable[[object], Given]:
    """Return a reader of quantities within `span`; with `spread`, "±" may be given."""

    expected = wanted(dimension, span.example)

    def read(value: object) -> Given:
        if not isinstance(value, str):
            raise SheetValueError(describe(value), f"{expected}, in quotes")
        given = parse_quantity(value, dimension, span.example)
        if given.u95 is not None and not spread:
            raise SheetValueError(f'{quoted(value)} has a "±"', f"{expected}, without")
        # Limits belong to the span, whatever rounding the conversion does.
        low, high = to_si(span.low, span.unit), to_si(span.high, span.unit)
        slack = 1e-12 * max(abs(low), abs(high))
        if not low - slack <= given.value <= high + slack:
            raise SheetValueError(f"{quoted(value)} is out of range", f"{expected}, from {span}")
        if given.u95 is not None and not _is_known(given, low, high):
            found = f'what is after the "±" of {quoted(value)} is too much'
            raise SheetValueError(found, f'{expected}, from {span} with its "±"')
        return given

    return read


def _is_known(given: Given, low: float, high: float) -> bool:
    """Tell whether a ± leaves something known: what can't be less than `low` > 0 stays above it."""
    spread = given.u95 or 0.0
    return spread <= high - low and (low <= 0.0 or low <= given.value - spread)


def figure(dimension: Dimension, span: Span) -> Callable[[object], float]:
    """Return a reader of quantities within `span` that gives the bare SI value."""
    read_given = quantity(dimension, span)

    def read(value: object) -> float:
        return read_given(value).value

    return read


def number(what: str, span: Span) -> Callable[[object], float]:
    """Return a reader of plain numbers within `span`."""

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise SheetValueError(describe(value), f"{what}, a plain number from {span}")
        if not span.low <= value <= span.high:  # false for nan too
            raise SheetValueError(f"{describe(value)} is out of range", f"{what} from {span}")
        return float(value)

    return read


def whole(what: str, span: Span) -> Callable[[object], int]:
    """Return a reader of whole numbers within `span`."""
    read_number = number(what, span)

    def read(value: object) -> int:
        found = read_number(value)
        if not isinstance(value, int):
            raise SheetValueError(describe(value), f"{what}, a whole number from {span}")
        return int(found)

    return read


def choice(*known: T) -> Callable[[object], T]:
    """Return a reader that takes only the `known` values."""
    accepted = ", ".join(f'"{k}"' if isinstance(k, str) else str(k) for k in known)
    expected = f"one of {accepted}"

    def read(value: object) -> T:
        for k in known:
            if type(value) is type(k) and value == k:
                return k
        names = [k for k in known if isinstance(k, str)]
        hint = nearest(value, names) if isinstance(value, str) else ""
        raise SheetValueError(describe(value) + hint, expected)

    return read


def read_text(value: object) -> str:
    """Return one line of text."""
    expected = f"one line of text in quotes, at most {LONGEST_TEXT} characters"
    if not isinstance(value, str):
        raise SheetValueError(describe(value), expected)
    tidy = value.strip()
    if not tidy:
        raise SheetValueError("an empty text", expected)
    if len(tidy) > LONGEST_TEXT or not tidy.isprintable():
        raise SheetValueError(quoted(value), expected)
    return tidy


def read_bool(value: object) -> bool:
    """Return true or false."""
    if not isinstance(value, bool):
        raise SheetValueError(describe(value), "true or false, without quotes")
    return value


def read_date(value: object) -> date:
    """Return a date, from TOML's own or from text."""
    expected = "a date such as 1967-05-01"
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            raise SheetValueError(
                f"{quoted(value)} is not a day of the calendar", expected
            ) from None
    raise SheetValueError(describe(value), expected)


def read_utc_offset(value: object) -> float:
    """Return the offset from UTC in s."""
    expected = 'an offset from UTC such as "+01:00"'
    if not isinstance(value, str):
        raise SheetValueError(describe(value), expected)
    match = re.fullmatch(r"([+−-])([0-9]{2}):([0-9]{2})", value)
    if value == "Z":
        return 0.0
    if not match or int(match[2]) > 14 or int(match[3]) > 59:
        raise SheetValueError(quoted(value), expected)
    offset_s = int(match[2]) * 3600.0 + int(match[3]) * 60.0
    return offset_s if match[1] == "+" or offset_s == 0.0 else -offset_s


def read_size(value: object) -> Tyre:
    """Return what a tyre size says."""
    if not isinstance(value, str):
        raise SheetValueError(describe(value), 'a tyre size in quotes, such as "165/80R13"')
    return read_tyre_size(value)


def falling(ratios: list[float]) -> list[float]:
    """Check that each gear's ratio is smaller than the one before."""
    if not 1 <= len(ratios) <= 12:
        raise SheetValueError(f"{len(ratios)} ratios", "1 to 12 ratios, first gear first")
    for at, (lower, upper) in enumerate(pairwise(ratios), start=1):
        if upper >= lower:
            expected = "each ratio smaller than the one before, first gear first"
            raise SheetValueError(f"{upper:g} after {lower:g}", expected, (at,))
    return ratios


def one_or_more(value: object) -> object:
    """Take a single table where a list of tables is meant: [x] for [[x]]."""
    return [value] if isinstance(value, dict) else value


# What no road car is outside of, so that a slip of a digit or a unit is told: our own choice.
_SPEED: Final = Span(0.1, 400, "mph")

Text = Annotated[str, PlainValidator(read_text)]
Yes = Annotated[bool, PlainValidator(read_bool)]
Day = Annotated[date, PlainValidator(read_date)]
UtcOffset = Annotated[float, PlainValidator(read_utc_offset)]
Size = Annotated[Tyre, PlainValidator(read_size)]

Odometer = Annotated[
    Given, PlainValidator(quantity("length", Span(0, 5e6, "km", "41210 mile"), spread=True))
]
Mass = Annotated[Given, PlainValidator(quantity("mass", Span(200, 5000, "kg"), spread=True))]
RotatingMass = Annotated[
    Given, PlainValidator(quantity("fraction", Span(0, 50, "%", "3 %"), spread=True))
]
RollOut = Annotated[Given, PlainValidator(quantity("length", Span(1, 3.5, "m"), spread=True))]
MeasuredSpeed = Annotated[Given, PlainValidator(quantity("speed", _SPEED, spread=True))]
Temperature = Annotated[
    Given, PlainValidator(quantity("temperature", Span(-50, 60, "degC"), spread=True))
]
Pressure = Annotated[
    Given, PlainValidator(quantity("pressure", Span(500, 1100, "hPa"), spread=True))
]

Speed = Annotated[
    float, PlainValidator(figure("speed", _SPEED)), Field(description=wanted("speed"))
]
DialStep = Annotated[float, PlainValidator(figure("speed", Span(0.1, 50, "mph", "2 mph")))]
RpmStep = Annotated[float, PlainValidator(figure("engine speed", Span(1, 2000, "rpm")))]
Seconds = Annotated[
    float,
    PlainValidator(figure("time", Span(0.1, 3600, "s"))),
    Field(description=wanted("time")),
]
Metres = Annotated[
    float,
    PlainValidator(figure("length", Span(0.1, 2000, "m", "51 m"))),
    Field(description=wanted("length", "51 m")),
]

Ratio = Annotated[float, PlainValidator(number("a ratio", Span(0.3, 20)))]
AxleRatio = Annotated[float, PlainValidator(number("an axle ratio", Span(1, 15)))]
Ratios = Annotated[
    list[Ratio],
    AfterValidator(falling),
    Field(description="a list of ratios such as [3.41, 2.08, 1.40, 1.00]"),
]
Teeth = Annotated[int, PlainValidator(whole("a number of teeth", Span(1, 200)))]
Cylinders = Annotated[int, PlainValidator(whole("a number of cylinders", Span(1, 24)))]
Strokes = Annotated[int, PlainValidator(choice(4, 2))]
Rpm = Annotated[
    float,
    PlainValidator(number("an engine speed in rpm", Span(500, 30_000))),
    Field(description="an engine speed in rpm, a plain number such as 3200"),
]
IdleRpm = Annotated[float, PlainValidator(number("an idle speed in rpm", Span(200, 3000)))]
Turns = Annotated[float, PlainValidator(number("a number of turns", Span(200, 20_000)))]
Pulses = Annotated[float, PlainValidator(number("a number of pulses", Span(100, 10_000_000)))]
PulsesPerRev = Annotated[float, PlainValidator(number("pulses per turn", Span(0.1, 1000)))]
Adapter = Annotated[float, PlainValidator(number("an adapter ratio", Span(0.1, 10)))]
Gear = Annotated[
    int,
    PlainValidator(whole("a gear", Span(1, 12))),
    Field(description="a gear, a whole number such as 4"),
]

OneOrMore = BeforeValidator(one_or_more)
