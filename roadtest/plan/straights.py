"""How long a straight each manoeuvre needs, with a margin."""

from __future__ import annotations

import math
from typing import Final

from roadtest.measures.road_load import RoadLoad
from roadtest.rules import un_r13h
from roadtest.rules.model import MostDistance

GENTLE_MPS2: Final = 1.5  # speeding up and slowing down without haste; our choice
SETTLE_S: Final = 4.0  # steady before a manoeuvre; our choice
BRAKING_MARGIN: Final = 2.0
"""Run-off for a stop: twice the longest distance a car in order may take. Our choice."""
MARGIN: Final = 1.2  # for everything else; our choice
_ROUND_TO_M: Final = 10.0

LONGEST_STOP: Final[MostDistance] = un_r13h.RULE.distance or MostDistance.single(
    70.0, 100.0 / 3.6, un_r13h.RULE.basis
)


def reach_m(from_mps: float, to_mps: float) -> float:
    """Return the way it takes to change speed gently: |v₂² − v₁²| / 2a."""
    return abs(to_mps**2 - from_mps**2) / (2.0 * GENTLE_MPS2)


def stopping_m(from_mps: float, allowed_m: float | None = None) -> float:
    """Return the stopping distance to reckon with: UN R13-H's longest, or the target's if longer.

    s = 0.1·V + 0.0060·V² (V in km/h).
    """
    longest = LONGEST_STOP.at(from_mps) or 0.0
    return max(longest, allowed_m or 0.0)


def stop_straight_m(from_mps: float, allowed_m: float | None = None) -> float:
    """Return the straight for one stop from rest to rest."""
    run = reach_m(0.0, from_mps) + SETTLE_S * from_mps
    return rounded_up(run + BRAKING_MARGIN * stopping_m(from_mps, allowed_m))


def hold_straight_m(speed_mps: float, seconds: float) -> float:
    """Return the straight for holding a speed, coming from half of it and going back to it."""
    ways = 2.0 * reach_m(0.5 * speed_mps, speed_mps) + (SETTLE_S + seconds) * speed_mps
    return rounded_up(MARGIN * ways)


def coast_straight_m(from_mps: float, to_mps: float, load: RoadLoad, mass_kg: float) -> float:
    """Return the straight for a coast-down, from rest to rest."""
    roll = load.coast_distance_m(mass_kg, from_mps, to_mps)
    return rounded_up(MARGIN * (reach_m(0.0, from_mps) + roll + reach_m(to_mps, 0.0)))


def pull_straight_m(from_mps: float, to_mps: float, seconds: float) -> float:
    """Return the straight for a pull; the middle speed is a little above the mean of the two."""
    pull = (0.4 * from_mps + 0.6 * to_mps) * seconds
    ways = reach_m(0.0, from_mps) + SETTLE_S * from_mps + pull + reach_m(to_mps, 0.0)
    return rounded_up(MARGIN * ways)


def rounded_up(metres: float) -> float:
    """Return a length rounded up to what a crew paces or reads off a map."""
    return _ROUND_TO_M * math.ceil(metres / _ROUND_TO_M - 1e-9)
