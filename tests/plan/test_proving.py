"""What the card says of a target, from a foreseen finding made by hand."""

from __future__ import annotations

import math

import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.plan.car import ROLLING, plan_car
from roadtest.plan.model import Predicted
from roadtest.plan.proving import proof_of
from roadtest.quantity import Quantity
from roadtest.results import Finding, Limit

MILE_M = 1609.344


def proof(target: str, measured: Quantity | None, limit: Limit | None, units: str) -> Predicted:
    """Return what is said of the one target of a sheet, every throw foreseen as this figure."""
    sheet = read_build_sheet(f'units = "{units}"\n[targets]\n{target}\n'.encode(), "build.toml")
    (wanted,) = sheet.targets
    found = Finding(wanted.id, "", "not proven", measured=measured, limit=limit, reason="unseen")
    return proof_of(plan_car(sheet), wanted, [found] * 3, "2 runs")


@pytest.mark.parametrize(("u95", "provable"), [(0.0099, True), (0.0101, False)])
def test_an_interval_fits_a_band_whose_half_it_is_smaller_than(u95: float, provable: bool) -> None:
    made = proof('tach = "1 %"', Quantity(1.0, u95, "1"), Limit(0.99, 1.01, "1"), "mph")
    assert made.provable == provable
    assert ("CAN'T PROVE" in made.proves) != provable


def test_a_band_is_proven_inside_of_both_its_ends_by_the_interval() -> None:
    made = proof('axle = "1 %"', Quantity(4.2, 0.01, "1"), Limit(4.1, 4.3, "1"), "mph")
    assert made.proves == "proven from 4.110 to 4.290"


def test_a_most_is_proven_below_it_and_a_least_above_it() -> None:
    most = proof(
        'standing = {to = "60 mph", at_most = "12 s"}',
        Quantity(11.0, 0.5, "s"),
        Limit(None, 12.0, "s"),
        "mph",
    )
    assert most.proves == "proven at 11.50 s or less"
    least = proof('mfdd = "5.8 m/s^2"', Quantity(7.0, 0.3, "m/s²"), Limit(5.8, None, "m/s²"), "mph")
    assert least.proves == "proven at 6.10 m/s² or more"


def test_as_many_coasts_are_asked_for_as_narrow_the_interval_enough() -> None:
    room = 0.020 - ROLLING
    measured, limit = Quantity(ROLLING, 1.5 * room, "1"), Limit(None, 0.020, "1")
    made = proof('rolling_coefficient = "0.020"', measured, limit, "mph")
    # Two each way give 1.5 times too much: 2 · 1.5² = 4.5, and a tenth on top.
    assert (made.provable, made.runs) == (True, "5 coasts each way")
    wide = Quantity(ROLLING, 4.0 * room, "1")
    assert not proof('rolling_coefficient = "0.020"', wide, limit, "mph").provable


@pytest.mark.parametrize(
    ("share", "units", "runs", "within"),
    [
        ("4 %", "mph", "5 miles", 4.0 - 100.0 * 0.1 * (1.0 - math.sqrt(0.05)) / 5.0),
        # 2 · 0.776 · 0.1 / 1 % is 15.5: half of the target for the last digits.
        ("1 %", "mph", "16 miles", 0.5),
        ("1 %", "km/h", "16 km", 0.5),
    ],
)
def test_the_way_for_the_odometer_leaves_half_of_the_target_to_the_last_digits(
    share: str, units: str, runs: str, within: float
) -> None:
    limit = 0.01 * float(share.split()[0])
    made = proof(f'odometer = "{share}"', None, Limit(1.0 - limit, 1.0 + limit, "1"), units)
    assert made.runs == f"{runs}, two readings"
    assert made.provable and made.expected is not None
    said = float(made.proves.removeprefix("proven within ").partition(" ")[0])
    assert said == pytest.approx(within, rel=0.02)


def test_no_sensible_way_proves_an_odometer_to_a_tenth_of_a_per_mille() -> None:
    made = proof('odometer = "0.01 %"', None, Limit(0.9999, 1.0001, "1"), "km/h")
    assert not made.provable and "NO DRIVE OF A SENSIBLE LENGTH" in made.proves
