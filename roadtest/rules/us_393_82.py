"""United States, 49 CFR 393.82: speedometers of buses, trucks and tractors."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import (
    Basis,
    ErrorBand,
    Figure,
    SpeedometerRule,
    SpeedRange,
    Status,
)
from roadtest.units import to_si

_DOCUMENT: Final = "49 CFR 393.82"

_TOLERANCE_MPS: Final = to_si(5.0, "mph")
_STATED_AT_MPS: Final = to_si(50.0, "mph")

# A held speed is never exactly 50 mph. Halfway to the next 5 mph mark still counts as "at 50 mph".
_COUNTS_AS_50_MPS: Final = to_si(2.5, "mph")


def _test_speeds(_top_speed_mps: float | None) -> tuple[float, ...]:
    return (_STATED_AT_MPS,)


RULE: Final = SpeedometerRule(
    name="us-393.82",
    title="US 49 CFR 393.82 (commercial vehicles)",
    basis=Basis(_DOCUMENT, "", Status.READ, "edition of 2025, text of 2005"),
    band=ErrorBand(under_mps=_TOLERANCE_MPS, over_mps=_TOLERANCE_MPS),
    # The rule does not say whether 50 mph is the shown or the true speed, so either will do:
    # otherwise a dial far enough out would never be judged.
    speeds=SpeedRange(
        _STATED_AT_MPS - _COUNTS_AS_50_MPS, _STATED_AT_MPS + _COUNTS_AS_50_MPS, or_shown=True
    ),
    prescribed_speeds=_test_speeds,
    figures=(
        Figure(
            "how far from 50 mph a held speed may be and still be judged",
            Basis("roadtest", "", Status.OWN_CHOICE, "half of a 5 mph step"),
            _COUNTS_AS_50_MPS,
            "m/s",
        ),
        Figure(
            "no federal limit for passenger cars",
            Basis("49 CFR", "parts 393 and 571", Status.MEMORY),
        ),
    ),
    not_shown=("that the rule applies at all: it is written for buses, trucks and tractors",),
    remarks=("Stated at 50 mph alone; other speeds are not judged.",),
)
