"""A build sheet from the little that somebody fills in, and values as TOML text."""

from __future__ import annotations

import tomllib

import pytest

from roadtest.build_sheet import read_build_sheet, read_targets
from roadtest.build_sheet.least import USUAL_TARGETS, LeastSheet
from roadtest.build_sheet.toml_text import key_text, value_text
from roadtest.errors import InputErrors


def test_what_was_filled_in_is_on_the_sheet() -> None:
    least = LeastSheet(
        units="km/h",
        label='The "green" one\\ # <b>',
        rolling_circumference="1.742 m",
        ratios="3.41, 2.08; 1.40  1",
        axle="9 / 38",
        targets=("mfdd", "speedometer"),
    )
    sheet = read_build_sheet(least.as_toml().encode(), "build.toml")
    assert (sheet.units, sheet.car.label) == ("km/h", 'The "green" one\\ # <b>')
    assert sheet.circumference is not None and sheet.circumference.value == pytest.approx(1.742)
    assert sheet.gearbox is not None and sheet.gearbox.ratios == (3.41, 2.08, 1.40, 1.0)
    assert sheet.axle_ratio == pytest.approx(38 / 9)
    assert {target.id for target in sheet.targets} == {"mfdd", "speedometer"}
    assert dict(sheet.targets.written) == {"mfdd": '"5.8 m/s^2"', "speedometer": '"un-r39"'}


def test_nothing_filled_in_is_a_sheet_and_so_is_every_target() -> None:
    assert LeastSheet(units="mph").as_toml() == 'units = "mph"\n'
    least = LeastSheet(units="mph", targets=tuple(USUAL_TARGETS))
    sheet = read_build_sheet(least.as_toml().encode(), "build.toml")
    assert {target.id for target in sheet.targets} == set(USUAL_TARGETS)


def test_what_is_wrong_is_said_as_the_reader_says_it() -> None:
    least = LeastSheet(units="knots", tyre_size="large", ratios="3.4, none", axle="-4")
    with pytest.raises(InputErrors) as caught:
        read_build_sheet(least.as_toml().encode(), "build.toml")
    places = {fault.place for fault in caught.value.faults}
    assert places >= {"units", "tyres.size", "gearbox.ratios[1]", "axle.ratio"}


@pytest.mark.parametrize(
    "value",
    [
        "",
        'a"b\\c',
        "tab\tand\nbreak",
        "\x7f\x01",
        "Öl 😀",
        4,
        1.5,
        True,
        [1, "x"],
        {"a b": {"c": [2]}},
    ],
)
def test_a_value_as_toml_reads_back(value: object) -> None:
    assert tomllib.loads(f"{key_text('a key')} = {value_text(value)}") == {"a key": value}


def test_targets_moved_take_the_place_of_those_with_their_name() -> None:
    before = read_targets('mfdd = "5.8 m/s^2"\ndrift = "1 m"', "x")
    after = before.moved(read_targets('fade = "75 %"\nmfdd = "un-r13h"', "x"))
    assert [target.id for target in after] == ["mfdd", "drift", "fade"]
    assert dict(after.written) == {"mfdd": '"un-r13h"', "drift": '"1 m"', "fade": '"75 %"'}
    channel = read_targets('"channel.oil temp" = {at_most = "105 degC"}', "x")
    assert dict(channel.written) == {"channel.oil temp": '{at_most = "105 degC"}'}
