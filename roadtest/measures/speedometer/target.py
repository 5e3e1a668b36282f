"""The speedometer's target as a rule, and the dial's error at the rule's own test speeds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.targets import DialBand, NamedRule
from roadtest.measures.speedometer.dial_law import DialLaw
from roadtest.quantity import Quantity
from roadtest.results import DialErrorAt
from roadtest.rules import speedometer_rule
from roadtest.rules.model import SpeedometerRule
from roadtest.rules.own_band import own_band

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DialTarget:
    """The rule a speedometer is to keep, and the speeds (m/s) the rule itself tests at."""

    rule: SpeedometerRule
    test_speeds_mps: tuple[float, ...]

    def limits_at(self, true_mps: Floats, shown_mps: Floats) -> tuple[Floats, Floats]:
        """Return lower and upper limit of the error at each speed (any shape), infinite if open.

        NaN at both where the rule does not speak of the speed.
        """
        true, shown = np.maximum(true_mps, 0.0), np.maximum(shown_mps, 0.0)
        band, spoken = self.rule.band, self.rule.speeds.holds_each(true, shown)
        low = -math.inf if band.under_mps is None else -band.under_mps
        high = math.inf if band.over_mps is None else band.over_mps + band.over_share * true
        return np.where(spoken, low, np.nan), np.where(spoken, high, np.nan)


def dial_target(sheet: BuildSheet) -> DialTarget | None:
    """Return the sheet's speedometer target, None without one."""
    for target in sheet.targets.named("speedometer"):
        if isinstance(target.value, NamedRule):
            rule = speedometer_rule(target.value.name)
        elif isinstance(target.value, DialBand):
            rule = own_band(target.value.under_mps, target.value.over_mps)
        else:
            continue
        top = sheet.car.top_speed
        return DialTarget(rule, rule.test_speeds(None if top is None else top.value))
    return None


def errors_at_test_speeds(law: DialLaw, target: DialTarget) -> tuple[DialErrorAt, ...]:
    """Return the dial's error at the rule's own test speeds, by its law."""
    return tuple(
        DialErrorAt(Quantity(speed, 0.0, "m/s"), law.error_at(speed), law.beyond(speed))
        for speed in target.test_speeds_mps
    )
