"""What the rules for the type of a new car share: distance formula, heating, what no drive shows.

Each document's module gives the figures and where they stand.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from roadtest.rules.model import (
    Basis,
    BrakingRule,
    Figure,
    HotStop,
    LeastDeceleration,
    MostDistance,
)
from roadtest.units import to_si

# S <= 0.1 V + k V², V in km/h and S in m: the same delay in all of them.
_DELAY_PER_KMH: Final = 0.1
_HEATING: Final = (
    "that the brakes were heated as the rule says (15 applications at 3 m/s² from 80 % of top "
    "speed, at most 120 km/h, to half of it, one every 45 s; figures from memory)",
    "that the pedal was pressed no harder hot than cold",
)
_LADEN: Final = "that the car was laden, and the load on each axle"
_SURFACE: Final = "friction of the road surface"
_COURSE: Final = "that no wheel locked and the car kept its course without steering"
_OPEN: Final = "that the engine was disconnected"


def distance_from(per_kmh2: float, basis: Basis) -> MostDistance:
    """Return the distance 0.1 V + per_kmh2 V², V in km/h."""
    return MostDistance.of_kmh(_DELAY_PER_KMH, per_kmh2, basis)


@dataclass(frozen=True)
class ColdTest:
    """The cold test of the service brake: from `from_kmh`; its distance and least deceleration."""

    from_kmh: float
    basis: Basis
    distance: MostDistance
    least: LeastDeceleration


@dataclass(frozen=True)
class Beside:
    """What a rule says beside its limits."""

    figures: tuple[Figure, ...]
    not_shown: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def most_pedal_force(basis: Basis) -> Figure:
    """Return the most that these rules let the pedal be pressed with."""
    return Figure("pedal force, at most", basis, 500.0, "N")


def recovery(basis: Basis) -> tuple[Figure, Figure]:
    """Return between which shares of the cold stop brakes must be again once they have cooled."""
    return (
        Figure("recovery, share of the cold stop, at least", basis, 0.70, "1"),
        Figure("recovery, share of the cold stop, at most", basis, 1.50, "1"),
    )


def hot_stop(of_cold: float, of_prescribed: float | None, basis: Basis) -> HotStop:
    """Return what must be left after the heating that these rules share."""
    return HotStop(of_cold, of_prescribed, basis, _HEATING)


def type_zero_not_shown(pedal: str, cold: str) -> tuple[str, ...]:
    """Return what a road drive does not show of a Type-0 test, with its pedal force and heat."""
    return (
        f"pedal force ({pedal})",
        _LADEN,
        _SURFACE,
        f"brake temperature before the stop ({cold})",
        _COURSE,
        _OPEN,
    )


def car_rule(name: str, title: str, cold: ColdTest, hot: HotStop, beside: Beside) -> BrakingRule:
    """Return the rule of one document."""
    return BrakingRule(
        name=name,
        title=title,
        basis=cold.basis,
        nominal_speed_mps=to_si(cold.from_kmh, "km/h"),
        decelerations=(cold.least,),
        distance=cold.distance,
        hot=hot,
        figures=beside.figures,
        not_shown=beside.not_shown,
        remarks=beside.remarks,
    )
