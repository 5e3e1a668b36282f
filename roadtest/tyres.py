"""From the size on a tyre's wall to its diameter and rolling circumference.

A size says only what the tyre was designed to be. Wear, the maker, load and pressure make the
circumference uncertain by 2 to 5 %; a measured roll-out is always better.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, Literal

from roadtest.units import Given, QuantityError, find_unit, quoted

Construction = Literal["radial", "cross-ply"]

_INCH_M: Final = find_unit("in").factor

ROLLING_FACTOR: Final[dict[Construction, float]] = {"radial": 3.05, "cross-ply": 2.99}
"""Rolling circumference over the diameter of the new tyre, at reference load and pressure.

Radial: ETRTO rule, as quoted in a public document on tyre and sensor modelling [second-hand]; two
2016 cars in the US EPA test-car list come to 3.054 and 3.055. Cross-ply: value from memory, weak.
"""

_U95_RULE: Final[dict[Construction, float]] = {"radial": 0.005, "cross-ply": 0.02}
"""Of the factors above, relative: 0.16 % was seen against the radial one; the cross-ply one may lie
anywhere from 2.95 to the radial figure (our choice)."""

_U95_MAKER: Final[dict[Construction, float]] = {"radial": 0.03, "cross-ply": 0.05}
"""Makers' freedom, as a part of twice the section height: UN R30, 6.1.4 lets it be 3 % lower, and
4 % (radial) or 8 % (cross-ply) higher than the design figure [value from memory]."""

_U95_WEAR: Final = 0.02
"""Up to 6.4 mm of tread wear takes about 2 % off the radius (the same document as for 3.05)."""

_U95_LOAD: Final = 0.01
"""Load and pressure other than the reference ones. Unloaded a tyre rolls π·D, 3 % more than the
rule says; a light car stands about a third of the way (our estimate, no published source)."""

_OLD_METRIC_ASPECT: Final = Given(0.81, 0.02)
"""A metric size without an aspect ratio is of the 80 or 82 series [value from memory]."""

_CROSS_PLY_DIAMETER_MM: Final[dict[tuple[str, str], float]] = {
    ("5.20", "13"): 582.0,
    ("5.60", "13"): 600.0,
    ("5.90", "13"): 616.0,
    ("5.20", "14"): 612.0,
    ("5.60", "14"): 626.0,
    ("5.60", "15"): 650.0,
}
"""Design diameters, UN R30, Annex 5 [value from memory, ±1 %]."""

_U95_TABLE: Final = 0.01

_INCH_ASPECT: Final = Given(0.95, 0.10)
"""Section height over nominal width where the table has no entry. Its six sizes lie between 0.945
and 0.971 [computed]; low sections come to 0.88 and pre-war balloons to 1.05 [value from memory]."""

_EXPECTED: Final = 'a size such as "165/80R13", "165R13" or "5.20-13"'
_TAIL: Final = r"(?: ?[0-9]{2,3} ?[A-Z][0-9]?| ?[0-9] ?PR| ?XL| ?TL| ?TT)*"
_METRIC: Final = re.compile(
    r"P?(?P<width>[0-9]{3})(?: ?/ ?(?P<aspect>[0-9]{2,3}))?"
    r" ?(?P<build>[A-Z]?R|[A-Z]|[-X×]) ?(?P<rim>[0-9]{2,3}(?:\.5)?)" + _TAIL
)
_INCH: Final = re.compile(
    r"(?P<width>[0-9]{1,2}\.[0-9]{1,2}) ?(?P<build>[A-Z]?R|[A-Z]|[-/×]) ?(?P<rim>[0-9]{2})" + _TAIL
)


@dataclass(frozen=True)
class UncertainPart:
    """One line of the budget: what makes the circumference uncertain, relative, 95 %."""

    what: str
    u95_relative: float


@dataclass(frozen=True)
class Tyre:
    """What a size says: the new tyre's overall diameter and its rolling circumference, in m."""

    size: str
    construction: Construction
    diameter_m: Given  # u95: of the design figure and the maker's freedom, new tyre
    circumference_m: Given  # u95: all of `budget`
    basis: str  # the rule and its source, for the report
    budget: tuple[UncertainPart, ...]


@dataclass(frozen=True)
class _Design:
    """Diameter of the new tyre as designed, and how far the size itself leaves it open."""

    construction: Construction
    diameter_m: float
    height_m: float  # of the section, rim to tread
    open_relative: float  # 95 %
    source: str


def read_tyre_size(size: str) -> Tyre:
    """Return what the tyre size `size` says.

    ISO metric ("165/80R13", "185/60 R 14 82H"), metric without aspect ratio ("165R13", "165SR13",
    "145-10") and inch sizes ("5.20-13", "5.60x15", "6.00-16 6PR", "5.60R15"). A rim of 100 or more
    is in mm. "R" makes it radial, anything else cross-ply.

    free diameter = rim + 2 · width · aspect (ISO 4000-1, UN R30) [value from memory];
    rolling circumference = 3.05 · diameter for radial, 2.99 for cross-ply (`ROLLING_FACTOR`).

    *Uncertainty*: independent parts added in squares, each listed in `budget`. Wear only ever takes
    away, so the whole 2 % is counted on both sides. Growth with speed (under 0.5 % below 130 km/h)
    is neglected.

    Raises QuantityError (a ValueError) that says what was found and what was expected.
    """
    tidy = " ".join(size.upper().split())
    if len(tidy) <= 40:
        metric, inch = _METRIC.fullmatch(tidy), _INCH.fullmatch(tidy)
        if metric:
            return _tyre(size, _metric_design(metric, size))
        if inch:
            return _tyre(size, _inch_design(inch, size))
    raise QuantityError(f"tyre size {quoted(size)} is not understood", _EXPECTED)


def _tyre(size: str, design: _Design) -> Tyre:
    construction, diameter = design.construction, design.diameter_m
    maker = _U95_MAKER[construction] * 2 * design.height_m / diameter
    parts = (
        UncertainPart("size gives the diameter no closer", design.open_relative),
        UncertainPart("maker's tolerance", maker),
        UncertainPart("tread wear", _U95_WEAR),
        UncertainPart("load and pressure", _U95_LOAD),
        UncertainPart("rolling circumference rule", _U95_RULE[construction]),
    )
    factor = ROLLING_FACTOR[construction]
    rolling = diameter * factor
    u95_relative = math.hypot(*(part.u95_relative for part in parts))
    rule = "ETRTO rule, second-hand" if construction == "radial" else "value from memory, weak"
    return Tyre(
        size=size,
        construction=construction,
        diameter_m=Given(diameter, diameter * math.hypot(design.open_relative, maker)),
        circumference_m=Given(rolling, rolling * u95_relative),
        basis=f"{design.source}; rolling circumference {factor} × diameter ({rule})",
        budget=tuple(part for part in parts if part.u95_relative > 0.0),
    )


def _metric_design(match: re.Match[str], size: str) -> _Design:
    width_mm = float(match["width"])
    rim_m = _rim_m(match["rim"], size)
    aspect = Given(float(match["aspect"]) / 100, 0.0) if match["aspect"] else _OLD_METRIC_ASPECT
    if not (105 <= width_mm <= 355 and 0.25 <= aspect.value <= 1.0):
        found = (
            f"tyre size {quoted(size)} is {width_mm:g} mm wide, aspect {aspect.value * 100:.0f} %"
        )
        raise QuantityError(found, "105 to 355 mm and 25 to 100 %")
    source = "diameter = rim + 2 × width × aspect (ISO 4000-1, UN R30; from memory)"
    if not match["aspect"]:
        source += ", aspect taken as 81 ± 2 % (80 or 82 series; from memory)"
    return _design(match["build"], rim_m, width_mm / 1000, aspect, source)


def _inch_design(match: re.Match[str], size: str) -> _Design:
    width_in, rim_m = float(match["width"]), _rim_m(match["rim"], size)
    if not 3.0 <= width_in <= 10.0:
        raise QuantityError(f"tyre size {quoted(size)} is {width_in:g} in wide", "3 to 10 in")
    known_mm = _CROSS_PLY_DIAMETER_MM.get((f"{width_in:.2f}", match["rim"]))
    if known_mm is None:
        source = "no table entry: section height taken as 0.95 ± 0.10 of the width (our estimate)"
        return _design(match["build"], rim_m, width_in * _INCH_M, _INCH_ASPECT, source)
    diameter = known_mm / 1000
    source = "design diameter of UN R30, Annex 5 (from memory, ±1 %)"
    return _Design(
        _construction(match["build"]), diameter, (diameter - rim_m) / 2, _U95_TABLE, source
    )


def _design(build: str, rim_m: float, width_m: float, aspect: Given, source: str) -> _Design:
    height = width_m * aspect.value
    diameter = rim_m + 2 * height
    open_m = 2 * width_m * (aspect.u95 or 0.0)
    return _Design(_construction(build), diameter, height, open_m / diameter, source)


def _construction(build: str) -> Construction:
    return "radial" if build.endswith("R") else "cross-ply"


def _rim_m(text: str, size: str) -> float:
    rim = float(text)
    rim_m = rim / 1000 if rim >= 100 else rim * _INCH_M
    if not 8 * _INCH_M <= rim_m <= 24 * _INCH_M:
        raise QuantityError(f"tyre size {quoted(size)} has a rim of {text}", "8 to 24 in")
    return rim_m
