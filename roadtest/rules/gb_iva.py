"""Great Britain, individual vehicle approval: speedometers of cars approved one at a time."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import Basis, ErrorBand, Figure, SpeedometerRule, SpeedRange, Status
from roadtest.units import to_si

_DOCUMENT: Final = "GB individual vehicle approval inspection manual, passenger cars"
_PARAGRAPH: Final = "section on the speedometer"

# V2 <= V1 <= 1.1 * V2 + 6.25 mph for true speeds V2 of 25 to 70 mph. 6.25 mph is 10.06 km/h: this
# is not the limit of UN R39 turned into miles.
_OVER_SHARE: Final = 0.1
_OVER_MPH: Final = 6.25
_LOWEST_MPH: Final = 25.0
_HIGHEST_MPH: Final = 70.0

_MANUAL_FROM_MEMORY: Final = (
    "a press report gives 60 mph true, at most 72.25 mph shown; the manual itself from memory"
)

RULE: Final = SpeedometerRule(
    name="gb-iva",
    title="GB individual vehicle approval",
    basis=Basis(_DOCUMENT, _PARAGRAPH, Status.SECOND_HAND, _MANUAL_FROM_MEMORY),
    band=ErrorBand(under_mps=0.0, over_mps=to_si(_OVER_MPH, "mph"), over_share=_OVER_SHARE),
    speeds=SpeedRange(to_si(_LOWEST_MPH, "mph"), to_si(_HIGHEST_MPH, "mph")),
    figures=(
        Figure(
            "a speedometer is needed; mph and km/h if first used on or after 1 April 1984",
            Basis(
                "Road Vehicles (Construction and Use) Regulations 1986",
                "regulation 35",
                Status.READ,
                "it gives no tolerance",
            ),
        ),
    ),
    not_shown=(
        "the dial's markings and lighting",
        "tyre size and pressure on the day",
    ),
    remarks=("Stated for true speeds of 25 to 70 mph; other speeds are not judged.",),
)
