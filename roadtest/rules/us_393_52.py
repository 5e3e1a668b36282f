"""United States, 49 CFR 393.52: brake performance in service, vehicles for up to ten people."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import (
    Basis,
    BrakingRule,
    Figure,
    LeastDeceleration,
    MostDistance,
    Status,
)
from roadtest.units import to_si

_DOCUMENT: Final = "49 CFR 393.52"

_CONDITIONS: Final = Basis(_DOCUMENT, "(a), (c)", Status.READ, "edition of 2002")
_TABLE: Final = Basis(
    _DOCUMENT, "(d)", Status.READ, "figures as printed in Pennsylvania 67 ch. 175, Table I"
)

_INITIAL_MPS: Final = to_si(20.0, "mph")

RULE: Final = BrakingRule(
    name="us-393.52",
    title="US 49 CFR 393.52 (brakes in service)",
    basis=_TABLE,
    nominal_speed_mps=_INITIAL_MPS,
    decelerations=(LeastDeceleration(to_si(21.0, "ft/s²"), _TABLE),),
    distance=MostDistance.single(to_si(20.0, "ft"), _INITIAL_MPS, _TABLE),
    figures=(
        Figure("brake force, share of weight, at least", _TABLE, 0.652, "1"),
        Figure("emergency brake from 20 mph, stop within", _TABLE, to_si(54.0, "ft"), "m"),
        Figure(
            "hard, level, dry, smooth and clean road; distance from first movement of the pedal",
            _CONDITIONS,
        ),
    ),
    not_shown=(
        "first movement of the pedal: a road drive shows where deceleration begins",
        "the vehicle's weight and its brake force",
        "that the road was hard, level, dry, smooth and clean",
        "that the rule applies at all: it is written for commercial vehicles",
    ),
    remarks=("Stated from 20 mph alone; a distance from another speed is not judged.",),
)
