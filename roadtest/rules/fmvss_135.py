"""United States, FMVSS No. 135 (49 CFR 571.135): brakes of passenger cars."""

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
)

_DOCUMENT: Final = "FMVSS 135"

_COLD: Final = Basis(
    _DOCUMENT,
    "S7.5 (cold effectiveness)",
    Status.READ,
    "in a letter of the agency that made the rule: 70 m from 100 km/h, 500 N",
)
_FORMULA: Final = Basis(
    _DOCUMENT,
    "S7.5 (cold effectiveness)",
    Status.MEMORY,
    "70 m from 100 km/h read in a stored copy; the formula for other speeds from memory",
)
_IMPLIED: Final = Basis(
    _DOCUMENT,
    "S7.5 (cold effectiveness)",
    Status.COMPUTED,
    "what the squared term of the distance formula stands for; the rule itself judges distance",
)
_HOT: Final = Basis(_DOCUMENT, "S7.14 (hot performance)", Status.READ)
_HOT_DISTANCE: Final = Basis(_DOCUMENT, "S7.14 (hot performance)", Status.MEMORY)
_RECOVERY: Final = Basis(_DOCUMENT, "S7.16 (recovery performance)", Status.READ)
_PARKING: Final = Basis(_DOCUMENT, "S7.12 (parking brake)", Status.MEMORY)
_ROAD: Final = Basis(_DOCUMENT, "S6 (test conditions)", Status.MEMORY)

# S <= 0.10 V + 0.0060 V², V in km/h and S in m.
_DISTANCE: Final = distance_from(0.0060, _FORMULA)

RULE: Final = car_rule(
    "fmvss-135",
    "US FMVSS 135 (passenger cars)",
    ColdTest(100.0, _COLD, _DISTANCE, LeastDeceleration(_DISTANCE.square_as_mps2, _IMPLIED)),
    hot_stop(0.60, None, _HOT),
    Beside(
        figures=(
            most_pedal_force(_COLD),
            Figure("hot stop from 100 km/h, once, at most", _HOT_DISTANCE, 89.0, "m"),
            *recovery(_RECOVERY),
            Figure("parking brake, grade held for 5 minutes", _PARKING, 0.20, "1"),
            Figure("peak friction of the surface", _ROAD, 0.9, "1"),
            Figure("width of the lane to be kept", _ROAD, 3.5, "m"),
        ),
        not_shown=(
            "pedal force (65 to 500 N)",
            "loaded and lightly loaded mass",
            "friction of the road surface (peak 0.9)",
            "brake temperature before the stop (65 to 100 °C)",
            "that no wheel locked for more than 0.1 s above 15 km/h",
            "that the car stayed in a lane 3.5 m wide",
            "that the brakes were bedded in as the rule says (200 stops)",
        ),
        remarks=(
            "Of six stops one must meet the rule; here every stop is judged.",
            "Judged on distance by the rule; the deceleration is what its formula implies.",
        ),
    ),
)
