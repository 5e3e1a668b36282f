"""What a dial will read, told before the drive."""

from __future__ import annotations

import pytest

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.measures.speedometer import DialGearing, gearing_of, predict_error
from roadtest.quantity import Quantity
from roadtest.units import Given

NEW = """
[tyres]
rolling_circumference = "1.797 m ± 0.005 m"
[axle]
ratio = 3.90
[speedometer]
drive = "cable"
graduation = "2 mph"
turns_per_mile = 1000
driven_teeth = 21
available_driven_teeth = [18, 19, 20, 21, 22, 23]
[targets]
speedometer = "un-r39"
"""


def sheet_of(text: str = NEW) -> BuildSheet:
    return read_build_sheet(text.encode(), "build.toml")


def test_a_longer_axle_makes_the_dial_read_less_in_proportion() -> None:
    sheet = sheet_of()
    found = predict_error(sheet, DialGearing(axle_ratio=4.22, driven_teeth=21))
    assert found is not None
    assert found.scale.value == pytest.approx(3.90 / 4.22)
    assert found.scale.u95 == 0.0  # counted teeth, the same tyre
    assert found.verdict == "fail"
    assert found.basis.endswith("axle")
    # 19 teeth leave 2.1 % over, which a needle that rests low takes below the truth; 18 leave 7.8.
    assert {c.advised for c in found.corrections if c.kind == "driven_teeth"} == {18, 19}


def test_a_known_error_before_is_carried_over() -> None:
    before = Quantity(1.062, 0.01, "1")
    found = predict_error(sheet_of(), DialGearing(axle_ratio=4.22, driven_teeth=21), before)
    assert found is not None
    assert found.scale.value == pytest.approx(1.062 * 3.90 / 4.22)
    assert found.scale.u95 == pytest.approx(0.01 * 3.90 / 4.22)
    # 1.8 % low now. 20 teeth leave 3 % over, 19 leave 8.5 %: never low, but further off.
    assert {c.advised for c in found.corrections if c.kind == "driven_teeth"} == {19, 20}


def test_a_new_tyre_brings_the_doubt_of_both() -> None:
    old = DialGearing(axle_ratio=3.90, circumference=Given(1.742, 0.02), driven_teeth=21)
    found = predict_error(sheet_of(), old)
    assert found is not None
    assert found.scale.value == pytest.approx(1.742 / 1.797)
    assert found.scale.u95 / found.scale.value == pytest.approx(0.01181, abs=2e-5)


def test_driven_and_drive_gear_go_opposite_ways() -> None:
    sheet = sheet_of(NEW.replace("driven_teeth = 21", "driven_teeth = 20\ndrive_teeth = 7", 1))
    found = predict_error(sheet, DialGearing(3.90, None, 21, 6))
    assert found is not None
    assert found.scale.value == pytest.approx(21 / 20 * 7 / 6)


def test_nothing_changed_reads_as_before() -> None:
    sheet = sheet_of()
    found = predict_error(sheet, gearing_of(sheet), Quantity(1.03, 0.0, "1"))
    assert found is not None
    assert found.scale == Quantity(1.03, 0.0, "1")
    assert found.basis.endswith("nothing")


def test_without_the_old_gearing_the_heads_own_constant_is_used() -> None:
    sheet = sheet_of(NEW.replace("driven_teeth = 21", "driven_teeth = 21\ndrive_teeth = 6", 1))
    found = predict_error(sheet)
    assert found is not None
    assert found.scale.value == pytest.approx(3.90 * 6 / 21 / 1.797 * 1.609344)
    assert found.scale.u95 > 0.02 * found.scale.value


def test_what_the_sheet_does_not_say_is_not_guessed() -> None:
    assert predict_error(sheet_of()) is None  # no drive gear, no old gearing
    assert predict_error(sheet_of("[speedometer]\n"), DialGearing(axle_ratio=4.22)) is None
    gps = sheet_of(NEW.replace('"cable"', '"gps"'))
    assert predict_error(gps, DialGearing(axle_ratio=4.22)) is None
