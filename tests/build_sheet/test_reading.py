"""What a good build sheet becomes."""

import dataclasses
import subprocess
import sys
from datetime import date

import pytest

from roadtest.build_sheet import Axle, BuildSheet, Conditions, Gearbox, read_build_sheet
from roadtest.tyres import read_tyre_size
from roadtest.units import Given
from tests.build_sheet.sheets import FULL, sheet


def test_an_empty_sheet_is_a_bare_car() -> None:
    assert sheet("") == BuildSheet(name="build.toml")
    bare = sheet("[car]\n")
    assert (bare.units, bare.car.label, bare.utc_offset_s) == ("mph", "unnamed car", 0.0)
    assert (bare.circumference, bare.axle_ratio, bare.pulses_per_rev) == (None, None, None)
    assert (bare.ratios, len(bare.targets), bare.remarks) == ((), 0, ())


def test_the_whole_sheet_is_read_into_si() -> None:
    full = sheet(FULL)
    assert (full.name, full.units, full.utc_offset_s) == ("build.toml", "mph", 3600.0)
    assert full.car.label == "Two-seat roadster, green"
    assert full.car.chassis == "DEMO 0001"
    assert full.car.first_used == date(1967, 5, 1)
    assert full.car.odometer == Given(41210 * 1609.344)
    assert full.car.mass == Given(790.0, 15.8)
    assert full.car.rotating_mass == Given(0.03)
    assert full.car.top_speed is not None
    assert full.car.top_speed.value == pytest.approx(105 * 0.44704)
    assert full.gearbox == Gearbox((3.41, 2.08, 1.40, 1.00, 0.82), "five-speed", 3.9)
    assert full.axle == Axle(38 / 9, "build sheet", (9, 38))
    assert full.engine.cylinders == 4
    assert (full.engine.strokes, full.engine.idle_rpm, full.engine.limit_rpm) == (4, 900.0, 5500.0)
    assert [given.value for given in full.indicated_speeds] == pytest.approx(
        [13.4112, 17.8816, 22.352]
    )
    assert full.conditions == Conditions(
        Given(288.15, 2.0), Given(101300.0), "light, from the west"
    )
    assert (full.tach.pulses_per_rev, full.tach.graduation_rpm) == (2.0, 100.0)
    assert full.tach.cylinders_setting == 4
    assert (full.shop.name, full.shop.logo) == ("Demo workshop", "logo.svg")
    assert full.shop.signature == "for the workshop"


def test_the_speedometer_is_read_into_the_units_of_its_corrections() -> None:
    dial = sheet(FULL).speedometer
    assert (dial.units, dial.drive, dial.needle_reset) == ("mph", "cable", True)
    assert dial.graduation_mps == pytest.approx(0.89408)
    assert (dial.turns_per_mile, dial.pulses_per_km) == (1000.0, 4000.0)
    assert (dial.driven_teeth, dial.drive_teeth, dial.ratio_adapter) == (21, 6, 1.0)
    assert dial.available_driven_teeth == (18, 19, 20, 21, 22, 23)
    assert dial.available_drive_teeth == (6, 7)
    assert dial.available_ratio_adapters == (0.95, 1.05)


def test_settings_per_other_distance_are_the_same_settings() -> None:
    """4000 pulses a mile are 2485.5 a km; 1000 turns a mile are 621.37 a km."""
    dial = sheet("[speedometer]\npulses_per_mile = 4000\nturns_per_km = 621.3711922").speedometer
    assert dial.pulses_per_km == pytest.approx(2485.5, abs=0.05)
    assert dial.turns_per_mile == pytest.approx(1000.0, abs=1e-6)


def test_the_dial_reads_in_the_units_of_the_sheet_unless_it_says_otherwise() -> None:
    assert sheet('units = "km/h"').speedometer.units == "km/h"
    assert sheet('units = "km/h"\n[speedometer]\nunits = "mph"').speedometer.units == "mph"


def test_alternatives_keep_their_order_and_get_a_number_for_a_missing_label() -> None:
    others = sheet(FULL).alternatives
    assert others.gearboxes == (Gearbox((3.20, 1.92, 1.36, 1.0), "four-speed"),)
    assert others.axles == (Axle(3.9, "3.9 axle"), Axle(4.1, "alternative 2", (10, 41)))
    assert [(t.label, t.tyre) for t in others.tyres] == [
        ("alternative 1", read_tyre_size("5.20-13"))
    ]


def test_one_table_may_stand_for_a_list_of_one() -> None:
    assert len(sheet("[alternatives.axle]\nratio = 3.9").alternatives.axles) == 1


def test_a_measured_roll_out_wins_over_the_size() -> None:
    assert sheet(FULL).circumference == Given(1.742, 0.005)


def test_a_roll_out_without_uncertainty_gets_half_a_per_cent() -> None:
    bare = sheet('[tyres]\nrolling_circumference = "1.742 m"')
    assert bare.tyres is not None
    assert bare.tyres.rolling_circumference == Given(1.742)
    assert bare.circumference == Given(1.742, 0.005 * 1.742)


def test_without_a_roll_out_the_size_gives_the_circumference() -> None:
    by_size = sheet('[tyres]\nsize = "165/80R13"').circumference
    assert by_size == read_tyre_size("165/80R13").circumference_m


def test_a_roll_out_that_is_not_the_sizes_is_remarked_on() -> None:
    remarks = sheet(FULL).remarks
    assert any("1.742 m, is not what 165/80R13 should give" in remark for remark in remarks)
    near = sheet('[tyres]\nsize = "165/80R13"\nrolling_circumference = "1.800 m"')
    assert near.remarks == ()


def test_work_is_split_into_known_and_unknown_kinds() -> None:
    full = sheet(FULL)
    assert full.work.done == ("gearbox", "wheels and tyres", "rear brakes")
    assert full.work.unknown_work == ("exhausts",)
    assert any('did you mean "exhaust"?' in remark for remark in full.remarks)


@pytest.mark.parametrize(
    ("text", "pulses"),
    [
        ("[engine]\ncylinders = 4", 2.0),
        ("[engine]\ncylinders = 6", 3.0),
        ("[engine]\ncylinders = 2\nstrokes = 2", 2.0),
        ("[engine]\ncylinders = 4\n[tach]\npulses_per_rev = 1", 1.0),
        ("[engine]\nidle_rpm = 900", None),
    ],
)
def test_pulses_per_turn_follow_from_the_cylinders(text: str, pulses: float | None) -> None:
    assert sheet(text).pulses_per_rev == pulses


@pytest.mark.parametrize(
    ("text", "offset_s"),
    [("+01:00", 3600.0), ("-05:30", -19800.0), ("+00:00", 0.0), ("Z", 0.0), ("−03:00", -10800.0)],
)
def test_utc_offset(text: str, offset_s: float) -> None:
    assert sheet(f'utc_offset = "{text}"').utc_offset_s == offset_s


def test_byte_order_mark_and_windows_line_ends_do_not_matter() -> None:
    data = b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode()
    assert read_build_sheet(data, "build.toml") == sheet(FULL)


def test_the_result_is_frozen_through_and_through() -> None:
    full = sheet(FULL)
    parts = [full, full.car, full.gearbox, full.speedometer, full.targets, full.targets.items[0]]
    for part in parts:
        assert dataclasses.is_dataclass(part)
        with pytest.raises(dataclasses.FrozenInstanceError):
            part.label = "changed"  # type: ignore[union-attr]
    hash(full)


def test_importing_the_build_sheet_is_light() -> None:
    """The command line must start fast; pydantic and numpy are for reading and working."""
    code = "import sys, roadtest.build_sheet; print({'pydantic', 'numpy'} & set(sys.modules))"
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert result.stdout.strip() == "set()"
