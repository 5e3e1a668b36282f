"""UN Regulation No. 13-H: braking of passenger cars, type approval from 1998 on."""

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
    recovery,
    type_zero_not_shown,
)

_DOCUMENT: Final = "UN R13-H"

_TYPE_0: Final = Basis(_DOCUMENT, "Annex 3, 2.1.1 (Type-0, engine disconnected)", Status.MEMORY)
_CONNECTED: Final = Basis(_DOCUMENT, "Annex 3, 2.1.1 (Type-0, engine connected)", Status.MEMORY)
_SECONDARY: Final = Basis(_DOCUMENT, "Annex 3, 2.2 (secondary braking)", Status.MEMORY)
_TYPE_I: Final = Basis(_DOCUMENT, "Annex 3, 1.5 (Type-I)", Status.MEMORY)
_PARKING: Final = Basis(_DOCUMENT, "Annex 3, 2.3 (parking brake)", Status.MEMORY)

# s <= 0.1 v + 0.0060 v² (engine connected 0.0067, secondary 0.0158), v in km/h and s in m.
ENGINE_CONNECTED: Final = distance_from(0.0067, _CONNECTED)
SECONDARY: Final = distance_from(0.0158, _SECONDARY)

RULE: Final = car_rule(
    "un-r13h",
    "UN R13-H (type approval of cars)",
    ColdTest(100.0, _TYPE_0, distance_from(0.0060, _TYPE_0), LeastDeceleration(6.43, _TYPE_0)),
    hot_stop(0.60, 0.75, _TYPE_I),
    Beside(
        figures=(
            Figure("pedal force, at least", _TYPE_0, 65.0, "N"),
            most_pedal_force(_TYPE_0),
            Figure("engine connected, from 80 % of top speed, at least", _CONNECTED, 5.76, "m/s²"),
            Figure("secondary braking from 100 km/h, at least", _SECONDARY, 2.44, "m/s²"),
            *recovery(_TYPE_I),
            Figure("parking brake, grade held", _PARKING, 0.20, "1"),
            Figure("parking brake applied from 30 km/h, at least", _PARKING, 1.5, "m/s²"),
        ),
        not_shown=type_zero_not_shown("65 to 500 N", "65 to 100 °C"),
    ),
)
