"""Units people write, and their exact factors to SI.

Inside `roadtest` everything is SI, with one exception: engine speed stays in r/min. Angles are in
rad, fractions are plain (4 % is 0.04) and temperatures are in K.

Factors are exact by definition: international yard and pound agreement of 1959 (1 yd = 0.9144 m,
1 lb = 0.45359237 kg), standard gravity 9.80665 m/s² (3rd CGPM, 1901), nautical mile 1852 m (1929).
The inch of mercury is the conventional one: 25.4 mm at 13595.1 kg/m³ under standard gravity. All
are as NIST SP 811 (2008), Appendix B, lists them [value from memory].
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, overload

if TYPE_CHECKING:  # numpy only names types here; the command line starts faster without it
    import numpy as np
    from numpy.typing import NDArray

    Floats: TypeAlias = NDArray[np.float64]

Dimension = Literal[
    "length",
    "speed",
    "mass",
    "time",
    "acceleration",
    "force",
    "power",
    "pressure",
    "temperature",
    "voltage",
    "current",
    "angle",
    "fraction",
    "engine speed",
]

STANDARD_GRAVITY_MPS2: Final = 9.80665
MILE_M: Final = 1609.344

_INCH_M: Final = 0.0254
_FOOT_M: Final = 0.3048
_POUND_KG: Final = 0.45359237
_POUND_FORCE_N: Final = _POUND_KG * STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class Unit:
    """A unit: a value in SI is `value * factor + offset`."""

    name: str
    dimension: Dimension
    factor: float
    offset: float = 0.0


@dataclass(frozen=True)
class Given:
    """A figure somebody gave us, in SI, and the half-width of its 95 % interval where they said."""

    value: float
    u95: float | None = None


class UnknownUnitError(ValueError):
    """A unit that is not in the table; the message names the nearest one that is."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.nearest = _nearest_unit(name)
        hint = f', did you mean "{self.nearest}"?' if self.nearest else ""
        super().__init__(f"unknown unit {quoted(name)}{hint}")


class QuantityError(ValueError):
    """Text that is not the quantity wanted: what was found, and what was expected instead."""

    def __init__(self, found: str, expected: str) -> None:
        self.found, self.expected = found, expected
        super().__init__(f"{found}; expected {expected}")


_TABLE: Final[dict[Unit, tuple[str, ...]]] = {
    Unit("m", "length", 1.0): ("metre", "metres", "meter", "meters"),
    Unit("km", "length", 1000.0): ("kilometre", "kilometres", "kilometer", "kilometers"),
    Unit("cm", "length", 0.01): (),
    Unit("mm", "length", 0.001): (),
    Unit("in", "length", _INCH_M): ("inch", "inches", '"'),
    Unit("ft", "length", _FOOT_M): ("foot", "feet"),
    Unit("yd", "length", 3 * _FOOT_M): ("yard", "yards"),
    Unit("mile", "length", MILE_M): ("mi", "miles"),
    Unit("m/s", "speed", 1.0): ("mps",),
    Unit("km/h", "speed", 1 / 3.6): ("kph", "kmh", "km/hr"),
    Unit("mph", "speed", MILE_M / 3600): ("mi/h", "mile/h", "miles/h"),
    Unit("knot", "speed", 1852 / 3600): ("knots", "kn", "kt"),
    Unit("kg", "mass", 1.0): (),
    Unit("lb", "mass", _POUND_KG): ("lbs", "pound", "pounds"),
    Unit("s", "time", 1.0): ("sec", "second", "seconds"),
    Unit("ms", "time", 0.001): (),
    Unit("min", "time", 60.0): ("minute", "minutes"),
    Unit("h", "time", 3600.0): ("hr", "hour", "hours"),
    Unit("m/s²", "acceleration", 1.0): ("m/s^2", "m/s2"),
    Unit("g", "acceleration", STANDARD_GRAVITY_MPS2): (),
    Unit("ft/s²", "acceleration", _FOOT_M): ("ft/s^2", "ft/s2"),
    Unit("N", "force", 1.0): (),
    Unit("lbf", "force", _POUND_FORCE_N): (),
    Unit("kgf", "force", STANDARD_GRAVITY_MPS2): ("kp",),
    Unit("W", "power", 1.0): (),
    Unit("kW", "power", 1000.0): (),
    Unit("hp", "power", 550 * _FOOT_M * _POUND_FORCE_N): ("bhp",),
    Unit("PS", "power", 75 * STANDARD_GRAVITY_MPS2): (),
    Unit("Pa", "pressure", 1.0): (),
    Unit("kPa", "pressure", 1000.0): (),
    Unit("bar", "pressure", 1e5): (),
    Unit("mbar", "pressure", 100.0): (),
    Unit("hPa", "pressure", 100.0): (),
    Unit("psi", "pressure", _POUND_FORCE_N / _INCH_M**2): ("lbf/in²", "lbf/in^2"),
    Unit("inHg", "pressure", 13595.1 * STANDARD_GRAVITY_MPS2 * _INCH_M): (),
    Unit("K", "temperature", 1.0): (),
    Unit("degC", "temperature", 1.0, 273.15): ("°C", "℃", "C", "deg C"),
    Unit("degF", "temperature", 5 / 9, 459.67 * 5 / 9): ("°F", "℉", "F", "deg F"),
    Unit("V", "voltage", 1.0): ("volt", "volts"),
    Unit("A", "current", 1.0): ("amp", "amps"),
    Unit("rad", "angle", 1.0): (),
    Unit("deg", "angle", math.pi / 180): ("°", "degree", "degrees"),
    Unit("1", "fraction", 1.0): (),
    Unit("%", "fraction", 0.01): ("percent", "per cent"),
    Unit("rpm", "engine speed", 1.0): ("r/min", "rev/min", "1/min"),
}

UNITS: Final[tuple[Unit, ...]] = tuple(_TABLE)

_BY_NAME: Final[dict[str, Unit]] = {
    name: unit for unit, others in _TABLE.items() for name in (unit.name, *others)
}
# People write RPM, Mph and KPA. One letter alone keeps its case, for there it carries meaning.
_BY_FOLDED: Final[dict[str, Unit]] = {
    name.casefold(): unit for name, unit in _BY_NAME.items() if len(name) > 1
}

SI_UNIT: Final[dict[Dimension, str]] = {
    "length": "m",
    "speed": "m/s",
    "mass": "kg",
    "time": "s",
    "acceleration": "m/s²",
    "force": "N",
    "power": "W",
    "pressure": "Pa",
    "temperature": "K",
    "voltage": "V",
    "current": "A",
    "angle": "rad",
    "fraction": "1",
    "engine speed": "rpm",
}
"""The unit in which `roadtest` holds each dimension."""

_EXAMPLES: Final[dict[Dimension, str]] = {
    "length": '"1.742 m"',
    "speed": '"60 mph"',
    "mass": '"790 kg"',
    "time": '"12 s"',
    "acceleration": '"5.8 m/s^2"',
    "force": '"400 N"',
    "power": '"41 kW"',
    "pressure": '"1013 hPa"',
    "temperature": '"20 degC"',
    "voltage": '"13.8 V"',
    "current": '"30 A"',
    "angle": '"5 deg"',
    "fraction": '"4 %"',
    "engine speed": '"100 rpm"',
}

_ANY: Final = 'a number with a unit, such as "105 degC"'
_LONGEST_TEXT: Final = 100
_NUMBER: Final = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_TERM: Final = re.compile(rf"({_NUMBER}) ?(.*)", re.DOTALL)
_BRACKETED: Final = re.compile(r"\(([^()]*)\) ?([^()]*)")
_DECIMAL_COMMA: Final = re.compile(r"[0-9],[0-9]")


def find_unit(name: str) -> Unit:
    """Return the unit called `name` ("mile", "mi" and "Miles" are one unit).

    Raises UnknownUnitError, which names the nearest unit there is.
    """
    name = name.strip()
    unit = _BY_NAME.get(name) or _BY_FOLDED.get(name.casefold())
    if unit is None:
        raise UnknownUnitError(name)
    return unit


def is_unit(name: str) -> bool:
    """Return whether there is a unit called `name`."""
    name = name.strip()
    return name in _BY_NAME or name.casefold() in _BY_FOLDED


@overload
def to_si(value: float, unit_name: str) -> float: ...
@overload
def to_si(value: Floats, unit_name: str) -> Floats: ...
def to_si(value: float | Floats, unit_name: str) -> float | Floats:
    """Return `value` (a float or an array, in `unit_name`) in SI; raises UnknownUnitError."""
    unit = find_unit(unit_name)
    return value * unit.factor + unit.offset


@overload
def from_si(value: float, unit_name: str) -> float: ...
@overload
def from_si(value: Floats, unit_name: str) -> Floats: ...
def from_si(value: float | Floats, unit_name: str) -> float | Floats:
    """Return `value` (a float or an array, in SI) in `unit_name`; raises UnknownUnitError."""
    unit = find_unit(unit_name)
    return (value - unit.offset) / unit.factor


def quoted(text: str) -> str:
    """Return `text` in quotes, on one line and cut to a length that fits a message."""
    tidy = "".join(c if c.isprintable() else " " for c in text)
    return f'"{tidy}"' if len(tidy) <= 40 else f'"{tidy[:37]}..."'


def wanted(dimension: Dimension, example: str = "") -> str:
    """Return what to expect of a quantity, in words: 'a mass such as "790 kg"'."""
    shown = f'"{example}"' if example else _EXAMPLES[dimension]
    return f"{_with_article(dimension)} such as {shown}"


def parse_quantity(text: str, dimension: Dimension, example: str = "") -> Given:
    """Return the quantity that `text` states, in SI.

    "790 kg", "1.742 m ± 0.005 m", "1.742 ± 0.005 m", "(1.742 ± 0.005) m" or "790 kg ± 2 %";
    "+/-" serves for "±". What follows the sign is the half-width of the 95 % interval. On a
    fraction, "3 % ± 1 %" means from 2 to 4 %. An `example` replaces the usual one in messages.

    Raises QuantityError (a ValueError) that says what was found and what was expected.
    """
    expected = wanted(dimension, example)
    given, unit = _parse(text, expected)
    if unit.dimension != dimension:
        raise QuantityError(f"{quoted(text)} is {_with_article(unit.dimension)}", expected)
    return given


def parse_any_quantity(text: str) -> tuple[Given, Unit]:
    """Return the quantity that `text` states, in SI, and the unit it was written in.

    As `parse_quantity`, for where the dimension is not known beforehand.
    """
    return _parse(text, _ANY)


def split_quantity(text: str) -> tuple[float, str]:
    """Return the number and the unit that `text` is made of, whether or not we know the unit.

    For quantities that are only compared with others written in the same unit. Raises
    QuantityError.
    """
    return _term(_tidy(text, _ANY), text, _ANY)


def _tidy(text: str, expected: str) -> str:
    """Return `text` with plain signs and single spaces, or say why it can't be a quantity."""
    tidy = " ".join(text.replace("−", "-").replace("+/-", "±").split())
    if not tidy:
        raise QuantityError("an empty text", expected)
    if len(tidy) > _LONGEST_TEXT:
        raise QuantityError(f"{quoted(text)}, {len(text)} characters long", expected)
    if _DECIMAL_COMMA.search(tidy):
        found = f"{quoted(text)} has a comma in a number"
        raise QuantityError(found, f"a decimal point and no thousands separator, {expected}")
    return tidy


def _parse(text: str, expected: str) -> tuple[Given, Unit]:
    value_text, spread_text = _split_spread(_tidy(text, expected))
    value, unit_name = _term(value_text, text, expected)
    if not unit_name:
        raise QuantityError(f"{quoted(text)} has no unit", expected)
    try:
        unit = find_unit(unit_name)
    except UnknownUnitError as error:
        raise QuantityError(f"{quoted(text)} has an {error}", expected) from None
    si = value * unit.factor + unit.offset
    if not math.isfinite(si):
        raise QuantityError(f"{quoted(text)} is too large a number", expected)
    return Given(si, None if spread_text is None else _spread(spread_text, value, unit)), unit


def _split_spread(tidy: str) -> tuple[str, str | None]:
    """Split "1.742 ± 0.005 m" and its like so that both parts carry their unit."""
    bracketed = _BRACKETED.fullmatch(tidy)
    if bracketed:
        tidy = " ".join(bracketed.groups())
    value_text, sign, spread_text = (part.strip() for part in tidy.partition("±"))
    if not sign:
        return value_text, None
    term = _TERM.fullmatch(spread_text)
    if term and re.fullmatch(_NUMBER, value_text):
        value_text = f"{value_text} {term[2]}"
    return value_text, spread_text


def _term(term_text: str, text: str, expected: str) -> tuple[float, str]:
    """Return the number and the unit name of one term; the name may be empty."""
    match = _TERM.fullmatch(term_text)
    if not match:
        raise QuantityError(f"{quoted(text)} does not begin with a number", expected)
    number = float(match[1])
    if not math.isfinite(number):
        raise QuantityError(f"{quoted(text)} is too large a number", expected)
    return number, match[2].strip()


def _spread(spread_text: str, value: float, unit: Unit) -> float:
    """Return the half-width in SI of what stands after "±"; `value` is in `unit`."""
    expected = f'an uncertainty such as "± 0.5 {unit.name}"'
    if unit.offset == 0.0 and unit.dimension != "fraction":
        expected += ' or "± 2 %"'
    shown = "± " + spread_text
    number, unit_name = _term(spread_text, shown, expected)
    try:
        own = find_unit(unit_name) if unit_name else None
    except UnknownUnitError as error:
        raise QuantityError(f"{quoted(shown)} has an {error}", expected) from None
    if own is None:
        raise QuantityError(f"{quoted(shown)} has no unit", expected)
    # Two per cent of 20 degC would depend on the scale, so a temperature takes no relative spread.
    relative = own.name == "%" and unit.dimension != "fraction" and unit.offset == 0.0
    if own.dimension != unit.dimension and not relative:
        raise QuantityError(f"{quoted(shown)} is {_with_article(own.dimension)}", expected)
    spread = number * own.factor * (abs(value) * unit.factor if relative else 1.0)
    if not (math.isfinite(spread) and number >= 0.0):
        raise QuantityError(f"{quoted(shown)} is negative or too large", expected)
    return spread


def _with_article(dimension: Dimension) -> str:
    return f"an {dimension}" if dimension[0] in "aeiou" else f"a {dimension}"


def _nearest_unit(name: str) -> str | None:
    folded = {known.casefold(): known for known in _BY_NAME}
    nearest = difflib.get_close_matches(name[:20].casefold(), folded, n=1, cutoff=0.5)
    return folded[nearest[0]] if nearest else None
