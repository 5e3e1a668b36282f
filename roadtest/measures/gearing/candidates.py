"""What could be in the car: gearboxes, axles, tach settings and tyres, each with its odds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.model import UNLISTED, Axle, Gearbox, Tyres
from roadtest.quantity import COVERAGE_FACTOR_95
from roadtest.units import Given

TACH_RIGHT: Final = "tach right"
TACH_FREE: Final = "tach off by some factor"

# Odds beforehand (our choice; the data outweigh them by orders of magnitude where they tell at
# all): the sheet is mostly right, what it names as an alternative is the next best guess.
_ON_SHEET: Final = 0.65
_ALTERNATIVES: Final = 0.30  # all together
_UNLISTED: Final = 0.05
_TACH_RIGHT: Final = 0.85
_TACH_COUNT: Final = 0.11  # all other cylinder counts together
_TACH_FREE: Final = 0.04
_TYRE_GIVEN: Final = 0.90
_TYRE_OTHER: Final = 0.05

_U_TACH_RIGHT: Final = 0.001
"""A logger counts pulses against a quartz: what is left is rounding in its arithmetic (our choice).
A dial that reads further off than this has a scale of its own."""
_U_TACH_FREE: Final = 0.10
_AXLE: Final = (math.log(3.9), 0.15)  # of small cars: 2.9 to 5.2 (common practice)
_TYRE_ANY: Final = (math.log(1.80), 0.07)  # rolling circumference of small cars, 1.57 to 2.06 m
_U_OTHER_TYRE: Final = 0.05
_LEAST_DECIMALS: Final = 2  # in which ratios are told (common practice)
_COUNTS: Final = (2, 3, 4, 5, 6, 8, 12)  # settings of tachs that can be set
_COUNT_FACTORS: Final = ("1/2", "2/3", "3/4", "4/3", "3/2", "2")  # where cylinders are not known


@dataclass(frozen=True)
class BoxCandidate:
    """A gearbox; `gearbox` None stands for any other one."""

    label: str
    gearbox: Gearbox | None
    prior: float


@dataclass(frozen=True)
class LevelPart:
    """One thing that shifts all gears alike: its logarithm, the standard uncertainty, its odds."""

    label: str
    log_value: float
    u: float
    prior: float
    named: bool = True  # False: a free parameter
    factor: str = ""  # "2/3", for a tach


@dataclass(frozen=True)
class Candidates:
    """Everything a story is made of."""

    boxes: tuple[BoxCandidate, ...]
    axles: tuple[LevelPart, ...]
    tachs: tuple[LevelPart, ...]
    tyres: tuple[LevelPart, ...]


def candidates(sheet: BuildSheet) -> Candidates:
    """Return the candidates that a build sheet gives rise to."""
    return Candidates(_boxes(sheet), _axles(sheet), _tachs(sheet), _tyres(sheet))


def rounding_u(values: Sequence[float]) -> float:
    """Return the standard uncertainty that writing `values` to their decimals leaves in each.

    Half of the last decimal that any of them shows, two at least, as a rectangular distribution.
    """
    decimals = max((_decimals(value) for value in values), default=3)
    return float(0.5 * 10.0 ** -max(decimals, _LEAST_DECIMALS) / math.sqrt(3.0))


def _decimals(value: float) -> int:
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


def _shares(listed: bool, count: int) -> tuple[float, float, float]:
    """Return the odds of the sheet's own, of each of `count` alternatives, and of neither."""
    own = _ON_SHEET if listed else 0.0
    each = _ALTERNATIVES / count if count else 0.0
    total = own + each * count + _UNLISTED
    return own / total, each / total, _UNLISTED / total


def _boxes(sheet: BuildSheet) -> tuple[BoxCandidate, ...]:
    others = _unlike(sheet.alternatives.gearboxes, [b for b in (sheet.gearbox,) if b])
    own, each, unlisted = _shares(sheet.gearbox is not None, len(others))
    listed = [BoxCandidate(sheet.gearbox.label, sheet.gearbox, own)] if sheet.gearbox else []
    listed += [BoxCandidate(box.label, box, each) for box in others]
    return (*listed, BoxCandidate(UNLISTED, None, unlisted))


def _unlike(others: Iterable[Gearbox], own: Sequence[Gearbox]) -> list[Gearbox]:
    seen = {box.ratios for box in own}
    return [box for box in others if box.ratios not in seen]


def _axles(sheet: BuildSheet) -> tuple[LevelPart, ...]:
    own_ratio = sheet.axle_ratio
    others = [axle for axle in sheet.alternatives.axles if axle.ratio != own_ratio]
    own, each, unlisted = _shares(sheet.axle is not None, len(others))
    listed = [axle_part(sheet.axle, own)] if sheet.axle else []
    listed += [axle_part(axle, each) for axle in others]
    return (*listed, LevelPart(UNLISTED, *_AXLE, unlisted, named=False))


def axle_part(axle: Axle, prior: float = 1.0) -> LevelPart:
    """Return an axle on the sheet: counted teeth are exact, a ratio is rounded."""
    u = 0.0 if axle.teeth else rounding_u([axle.ratio]) / axle.ratio
    return LevelPart(axle.label, math.log(axle.ratio), u, prior)


def _tachs(sheet: BuildSheet) -> tuple[LevelPart, ...]:
    cylinders, setting = sheet.engine.cylinders, sheet.tach.cylinders_setting
    right = LevelPart(TACH_RIGHT, 0.0, _U_TACH_RIGHT, _TACH_RIGHT)
    free = LevelPart(TACH_FREE, 0.0, _U_TACH_FREE, _TACH_FREE, named=False)
    if cylinders is None:
        each = _TACH_COUNT / len(_COUNT_FACTORS)
        counts = [_factor(text, each) for text in _COUNT_FACTORS]
        return (right, *counts, free)
    wrong = [count for count in _COUNTS if count != cylinders]
    odds = {count: _TACH_COUNT / len(wrong) for count in wrong}
    if setting is not None and setting != cylinders:  # the sheet itself says so
        odds = {count: 0.02 / len(wrong) for count in wrong} | {setting: _TACH_COUNT + _TACH_RIGHT}
        right = LevelPart(TACH_RIGHT, 0.0, _U_TACH_RIGHT, 0.05)
    counts = [
        LevelPart(
            f"tach set for {count} cylinders",
            math.log(cylinders / count),
            _U_TACH_RIGHT,
            prior,
            factor=_reduced(cylinders, count),
        )
        for count, prior in odds.items()
    ]
    return (right, *counts, free)


def _factor(text: str, prior: float) -> LevelPart:
    over, _, under = text.partition("/")
    value = math.log(int(over) / int(under or 1))
    return LevelPart(
        f"tach set for another number of cylinders (shows {text})",
        value,
        _U_TACH_RIGHT,
        prior,
        factor=text,
    )


def _reduced(over: int, under: int) -> str:
    common = math.gcd(over, under)
    over, under = over // common, under // common
    return f"{over}/{under}" if under > 1 else f"{over}"


def _tyres(sheet: BuildSheet) -> tuple[LevelPart, ...]:
    given = sheet.circumference
    if given is None or sheet.tyres is None:
        return (LevelPart("tyre not known", *_TYRE_ANY, 1.0, named=False), *_other_tyres(sheet))
    own = _tyre("tyre as given", given, _TYRE_GIVEN)
    other = LevelPart("another tyre", own.log_value, _U_OTHER_TYRE, _TYRE_OTHER, named=False)
    found = [own, *_other_tyres(sheet), other]
    by_size = sheet.tyres.tyre
    if sheet.tyres.rolling_circumference is not None and by_size is not None:
        found.append(
            _tyre("roll-out wrong, tyre of the size given", by_size.circumference_m, _TYRE_OTHER)
        )
    return tuple(found)


def _other_tyres(sheet: BuildSheet) -> list[LevelPart]:
    named: list[tuple[Tyres, Given]] = [
        (tyres, tyres.circumference) for tyres in sheet.alternatives.tyres if tyres.circumference
    ]
    each = 0.5 * _ALTERNATIVES / max(len(named), 1)
    return [
        _tyre(tyres.label if tyres.label else "other tyre named", given, each)
        for tyres, given in named
    ]


def _tyre(label: str, given: Given, prior: float) -> LevelPart:
    u95 = given.u95 if given.u95 is not None else 0.005 * given.value
    return LevelPart(label, math.log(given.value), u95 / COVERAGE_FACTOR_95 / given.value, prior)
