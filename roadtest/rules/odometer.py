"""Published tolerances for odometers, for comparison; the target is the user's own number."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import Basis, Figure, Status
from roadtest.rules.own_band import OWN_TARGET

ODOMETER_TARGET_BASIS: Final = OWN_TARGET

_TACHOGRAPHS: Final = "StVZO, annex on digital control devices (after the EU tachograph rules)"

# Shares of the true distance, each to both sides.
ODOMETER_TOLERANCES: Final[tuple[Figure, ...]] = (
    Figure(
        "Germany, distance shown by a car",
        Basis("StVZO", "§ 57(3)", Status.READ, "the ± sign is lost in that copy"),
        0.04,
        "1",
    ),
    Figure(
        "tachographs in use, over 1000 m or more",
        Basis(_TACHOGRAPHS, "3.2.5", Status.READ),
        0.04,
        "1",
    ),
    Figure(
        "tachographs on fitting and at inspection, over 1000 m or more",
        Basis(_TACHOGRAPHS, "3.2.5", Status.READ),
        0.02,
        "1",
    ),
    Figure(
        "cars, SAE guidance as often quoted",
        Basis("SAE guidance", "", Status.MEMORY),
        0.04,
        "1",
    ),
)
