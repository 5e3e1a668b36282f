"""UN Regulation No. 13, Annex 4 (and Directive 71/320/EEC): cars approved before UN R13-H."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import Basis, Figure, LeastDeceleration, Status
from roadtest.rules.type_approval import (
    Beside,
    ColdTest,
    car_rule,
    distance_from,
    hot_stop,
    most_pedal_force,
    type_zero_not_shown,
)

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

# s <= 0.1 v + v²/150, v in km/h and s in m.
RULE: Final = car_rule(
    "un-r13-m1",
    "UN R13 for cars (older type approval)",
    ColdTest(80.0, _TYPE_0, distance_from(1 / 150, _DISTANCE), LeastDeceleration(5.8, _TYPE_0)),
    hot_stop(0.60, 0.80, _TYPE_I),
    Beside(
        figures=(
            most_pedal_force(_TYPE_0),
            Figure("engine connected, from 80 % of top speed, at least", _CONNECTED, 5.0, "m/s²"),
            Figure("secondary braking from 80 km/h, at least", _SECONDARY, 2.9, "m/s²"),
            Figure("parking brake, grade held", _PARKING, 0.18, "1"),
        ),
        not_shown=type_zero_not_shown("at most 500 N", "below 100 °C"),
    ),
)
