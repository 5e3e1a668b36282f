"""Published limits, one module a document, and how to find them by the names targets use."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from roadtest.rules import (
    fmvss_135,
    gb_iva,
    gb_roadworthiness,
    un_r13_m1,
    un_r13h,
    un_r39,
    us_393_52,
    us_393_82,
)
from roadtest.rules.model import BrakingRule, SpeedometerRule

_SPEEDOMETER: Final[Mapping[str, SpeedometerRule]] = MappingProxyType(
    {rule.name: rule for rule in (un_r39.RULE, gb_iva.RULE, us_393_82.RULE)}
)
_BRAKING: Final[Mapping[str, BrakingRule]] = MappingProxyType(
    {
        rule.name: rule
        for rule in (
            un_r13h.RULE,
            un_r13_m1.RULE,
            fmvss_135.RULE,
            us_393_52.RULE,
            gb_roadworthiness.RULE,
        )
    }
)

SPEEDOMETER_RULES: Final[tuple[str, ...]] = tuple(_SPEEDOMETER)
BRAKING_RULES: Final[tuple[str, ...]] = tuple(_BRAKING)


def speedometer_rule(name: str) -> SpeedometerRule:
    """Return the speedometer rule called `name`; raises ValueError naming those there are."""
    if name not in _SPEEDOMETER:
        raise ValueError(_unknown(name, "speedometer", SPEEDOMETER_RULES))
    return _SPEEDOMETER[name]


def braking_rule(name: str) -> BrakingRule:
    """Return the braking rule called `name`; raises ValueError naming those there are."""
    if name not in _BRAKING:
        raise ValueError(_unknown(name, "braking", BRAKING_RULES))
    return _BRAKING[name]


def _unknown(name: str, kind: str, known: tuple[str, ...]) -> str:
    accepted = ", ".join(f'"{rule}"' for rule in known)
    return f'unknown {kind} rule "{name}"; expected one of {accepted}'
