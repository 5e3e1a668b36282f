"""Great Britain, yearly roadworthiness test: brakes of passenger cars."""

from __future__ import annotations

from datetime import date
from typing import Final

from roadtest.rules.model import (
    Basis,
    BrakingRule,
    Figure,
    LeastDeceleration,
    Status,
    share_of_gravity,
)

_DOCUMENT: Final = "GB roadworthiness test, inspection manual for cars"

_SERVICE: Final = Basis(
    _DOCUMENT,
    "service brake performance",
    Status.MEMORY,
    "that efficiency is brake force over weight was read in the edition of 2012",
)
_PARKING: Final = Basis(_DOCUMENT, "parking brake performance", Status.MEMORY)
_BALANCE: Final = Basis(_DOCUMENT, "brake balance", Status.MEMORY)

_NEWER_CARS_FROM: Final = date(2010, 9, 1)

RULE: Final = BrakingRule(
    name="gb-roadworthiness",
    title="GB roadworthiness test, service brake",
    basis=_SERVICE,
    nominal_speed_mps=None,
    in_percent=True,
    decelerations=(
        LeastDeceleration(share_of_gravity(50.0), _SERVICE),
        LeastDeceleration(share_of_gravity(58.0), _SERVICE, _NEWER_CARS_FROM),
    ),
    figures=(
        Figure("service brake, share of weight, at least", _SERVICE, 0.50, "1"),
        Figure(
            "service brake if first used on or after 1 September 2010, at least",
            _SERVICE,
            0.58,
            "1",
        ),
        Figure("parking brake, share of weight, at least", _PARKING, 0.16, "1"),
        Figure("parking brake of a single-line system, at least", _PARKING, 0.25, "1"),
        Figure("difference across the front axle, at most", _BALANCE, 0.30, "1"),
    ),
    not_shown=(
        "brake force at each wheel, and so the balance from side to side",
        "pedal force, and whether the wheels were about to lock",
        "the design gross weight that the efficiency is reckoned on",
        "parking brake performance",
    ),
    remarks=(
        "On a level road, brake force over weight is deceleration over gravity. "
        "A car whose first use is not known is taken to be older than 1 September 2010.",
    ),
)
