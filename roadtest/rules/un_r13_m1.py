"""UN Regulation No. 13, Annex 4 (and Directive 71/320/EEC): cars approved before UN R13-H."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import (
    Basis,
    BrakingRule,
    Figure,
    HotStop,
    LeastDeceleration,
    MostDistance,
    Status,
)
from roadtest.units import to_si

_DOCUMENT: Final = "UN R13"

_TYPE_0: Final = Basis(
    _DOCUMENT,
    "Annex 4, service braking of M1 (Type-0)",
    Status.READ,
    "as the values are repeated in Directive 70/311/EEC, Annex II",
)
_DISTANCE: Final = Basis(_DOCUMENT, "Annex 4, service braking of M1 (Type-0)", Status.MEMORY)
_CONNECTED: Final = Basis(
    _DOCUMENT, "Annex 4, service braking of M1 (Type-0, engine connected)", Status.MEMORY
)
_SECONDARY: Final = Basis(_DOCUMENT, "Annex 4, secondary braking of M1", Status.READ)
_TYPE_I: Final = Basis(_DOCUMENT, "Annex 4, Type-I test", Status.READ)
_PARKING: Final = Basis(_DOCUMENT, "Annex 4, parking brake", Status.MEMORY)

_DELAY_PER_KMH: Final = 0.1

RULE: Final = BrakingRule(
    name="un-r13-m1",
    title="UN R13 for cars (older type approval)",
    basis=_TYPE_0,
    nominal_speed_mps=to_si(80.0, "km/h"),
    decelerations=(LeastDeceleration(5.8, _TYPE_0),),
    # s <= 0.1 v + v²/150, v in km/h and s in m.
    distance=MostDistance.of_kmh(_DELAY_PER_KMH, 1 / 150, _DISTANCE),
    hot=HotStop(of_cold=0.60, of_prescribed=0.80, basis=_TYPE_I),
    figures=(
        Figure("pedal force, at most", _TYPE_0, 500.0, "N"),
        Figure("engine connected, from 80 % of top speed, at least", _CONNECTED, 5.0, "m/s²"),
        Figure("secondary braking from 80 km/h, at least", _SECONDARY, 2.9, "m/s²"),
        Figure("parking brake, grade held", _PARKING, 0.18, "1"),
    ),
    not_shown=(
        "pedal force (at most 500 N)",
        "that the car was laden, and the load on each axle",
        "friction of the road surface",
        "brake temperature before the stop (below 100 °C)",
        "that no wheel locked and the car kept its course without steering",
        "that the engine was disconnected",
    ),
)
