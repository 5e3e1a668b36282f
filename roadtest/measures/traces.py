"""What lies behind the results and is too much for them: curves, for whatever draws them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from roadtest.measures.braking.from_above import FromAbove
from roadtest.measures.braking.measure import BrakingMeasured
from roadtest.measures.coasting.measure import CoastingMeasured, SpecificRoadLoad
from roadtest.measures.gearing.engaged import GearTrace
from roadtest.measures.gearing.measure import GearingMeasured
from roadtest.measures.gearing.turns import Turns
from roadtest.measures.speedometer.dial_law import DialFit
from roadtest.measures.speedometer.measure import SpeedometerMeasured


@dataclass(frozen=True)
class Traces:
    """Curves of one drive. What was not measured is None or empty."""

    engine: Turns | None = None  # engine speed and road speed at every tach sample
    gears: GearTrace | None = None  # the gear at the same samples
    turns_per_metre: Mapping[int, float] = field(default_factory=dict)
    """Engine turns a metre as the tach shows them, by gear."""
    dial: DialFit | None = None
    road_load: SpecificRoadLoad | None = None
    from_above: Mapping[str, FromAbove] = field(default_factory=dict)  # the path of each stop


def traces_of(
    gearing: GearingMeasured,
    speedometer: SpeedometerMeasured,
    coasting: CoastingMeasured,
    braking: BrakingMeasured,
) -> Traces:
    """Return the curves that the measures came by."""
    followed = gearing.followed
    turns: dict[int, float] = {}
    if followed is not None and followed.fit is not None and gearing.stories:
        shown = np.exp(followed.fit.log_turns).tolist()
        turns = dict(zip(gearing.stories[0].gears, shown, strict=True))
    return Traces(
        engine=None if followed is None else followed.turns,
        gears=gearing.gear_s,
        turns_per_metre=turns,
        dial=speedometer.fit,
        road_load=coasting.road_load,
        from_above=braking.from_above,
    )
