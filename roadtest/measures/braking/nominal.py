"""The speed to which a stopping distance is brought."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet, NamedRule, StoppingLimit
from roadtest.measures.mfdd import distance_at_nominal
from roadtest.rules import braking_rule
from roadtest.units import to_si

Floats = NDArray[np.float64]

NOMINAL_SHARE: Final = 0.15  # formats: brought to the nominal speed only within 15 % of it
_ROUND: Final = 10.0  # mph or km/h


def nominal_speed(sheet: BuildSheet, initial_mps: float) -> float:
    """Return the speed (m/s) to which a stop from `initial_mps` is brought.

    That of the target for stopping distance if it is near enough; else, and without a target, the
    nearest ten mph or km/h, whichever the sheet reads in.
    """
    for asked in _asked(sheet):
        if abs(initial_mps - asked) <= NOMINAL_SHARE * asked:
            return asked
    step = to_si(_ROUND, sheet.units)
    return step * max(1.0, round(initial_mps / step))


def _asked(sheet: BuildSheet) -> list[float]:
    speeds = []
    for target in sheet.targets.named("stopping_distance"):
        if isinstance(target.value, StoppingLimit):
            speeds.append(target.value.from_mps)
        elif isinstance(target.value, NamedRule):
            speed = braking_rule(target.value.name).nominal_speed_mps
            speeds += [] if speed is None else [speed]
    return speeds


def brought_to(distance_m: Floats, initial_mps: Floats, nominal_mps: float) -> Floats | None:
    """Return the distance [c] at the nominal speed by the square law; None beyond 15 %.

    formats: distance × (nominal / initial)².
    """
    if abs(float(initial_mps.mean()) - nominal_mps) > NOMINAL_SHARE * nominal_mps:
        return None
    return distance_at_nominal(distance_m, initial_mps, nominal_mps)
