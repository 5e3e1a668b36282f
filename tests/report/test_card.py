"""The glove-box card."""

from __future__ import annotations

from dataclasses import replace

from roadtest.quantity import Quantity
from roadtest.report.card import glove_box_card
from roadtest.report.model import GloveBoxCard
from roadtest.results import Reading, Results, SpeedometerResult

MPH = 0.44704


def dial(scale: float) -> Results:
    """Return holds at 30 to 60 mph true on a dial that shows so many times as much."""
    held = tuple(
        Reading(
            f"hold-{k}",
            indicated=Quantity(scale * mph * MPH, 0.4, "m/s"),
            true=Quantity(mph * MPH, 0.2, "m/s"),
        )
        for k, mph in enumerate((30.0, 45.0, 60.0))
    )
    law = SpeedometerResult(held, Quantity(scale, 0.02, "1"), Quantity(0.0, 0.3, "m/s"))
    return replace(Results(), speedometer=law)


def test_true_speeds_stand_beside_the_dial_s_own() -> None:
    (_, card) = glove_box_card(dial(1.25), "mph")
    assert isinstance(card, GloveBoxCard)
    ((title, table),) = card.tables
    assert title == "What the dial shows"
    assert ("50", "40") in table.rows


def test_a_dial_whose_readings_are_in_doubt_is_not_driven_by() -> None:
    assert glove_box_card(dial(1.61), "mph") == []
