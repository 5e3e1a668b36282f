"""The results file: form, round trip, and what is refused."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.quantity import Quantity
from roadtest.results import (
    CarInfo,
    ChannelResult,
    Correction,
    DriveInfo,
    GearRow,
    Limit,
    LogInfo,
    Results,
    from_json,
    to_json,
)
from tests.example_results import EXAMPLE

KEYS = {
    "car": "label chassis",
    "files[]": "name sha256 kind why_ignored",
    "logs[]": "name kind fixes_read fixes_used rejected rate_hz speed_source speed_noise gaps",
    "logs[].gaps[]": "start_s end_s",
    "drive": "start_utc duration_s distance top_speed",
    "tach": "offset_s noise scale",
    "manoeuvres[]": "id kind start_s end_s gear used why_not",
    "speedometer": "readings scale offset corrections",
    "speedometer.readings[]": "manoeuvre indicated true error",
    "speedometer.corrections[]": "kind present advised scale_after findings_after",
    "odometer": "indicated true scale",
    "gearing": "gears revs_per_metre_top steps gearbox_shown axle axle_shown circumference"
    " clutch_slip cruise",
    "gearing.gears[]": "gear overall ratio expected seconds",
    "gearing.steps[]": "from to step expected",
    "gearing.gearbox_shown": "label probability",
    "gearing.cruise[]": "gear speed rpm",
    "braking": "stops fade spread",
    "braking.stops[]": "manoeuvre initial_speed mfdd mfdd_level peak distance distance_nominal"
    " nominal_speed build_up_s drift heading_change grade",
    "coasting": "runs rolling_coefficient drag_area deceleration",
    "coasting.runs[]": "manoeuvre",
    "coasting.deceleration[]": "speed value",
    "pulls": "runs standing",
    "pulls.runs[]": "manoeuvre gear from to time peak_power",
    "pulls.standing[]": "to time",
    "channels[]": "name unit min max at_max_s",
    "inspections[]": "what verdict",
    "findings[]": "id title measured limit verdict probability basis reason to_settle items",
    "findings[].limit": "low high unit",
    "findings[].items[]": "manoeuvre measured limit verdict probability",
}


def _at(plain: Any, path: str) -> Any:
    for part in path.split("."):
        plain = plain[part.removesuffix("[]")]
        if part.endswith("[]"):
            plain = plain[0]
    return plain


@pytest.mark.parametrize("path", KEYS)
def test_every_key_of_the_format_is_there(path: str) -> None:
    assert set(KEYS[path].split()) <= set(_at(json.loads(to_json(EXAMPLE)), path))


def test_a_quantity_is_value_u95_and_unit() -> None:
    assert json.loads(to_json(EXAMPLE))["odometer"]["true"] == {
        "value": 8123.4,
        "u95": 6.1,
        "unit": "m",
    }


def test_round_trip_gives_the_same_results_and_the_same_text() -> None:
    text = to_json(EXAMPLE)
    assert from_json(text) == EXAMPLE
    assert to_json(from_json(text)) == text


def test_empty_results_have_every_section_with_null_for_what_was_not_measured() -> None:
    plain = json.loads(to_json(Results()))
    assert set(plain) >= {path.split(".")[0].removesuffix("[]") for path in KEYS}
    assert plain["format"] == "roadtest results 1"
    assert plain["speedometer"]["scale"] is None
    empty = {"stops": [], "fade": None, "spread": None}
    assert {key: plain["braking"][key] for key in empty} == empty
    assert plain["findings"] == []
    assert from_json(to_json(Results())) == Results()


def test_whole_numbers_stay_whole_only_where_the_key_counts() -> None:
    teeth = Correction("driven_teeth", 21, 22)
    turns = Correction("turns_per_mile", 1000.5, 1010)
    log = LogInfo("a", "gpx", 10, 9, rate_hz=1)
    text = to_json(
        dataclasses.replace(
            EXAMPLE,
            logs=(log,),
            speedometer=dataclasses.replace(EXAMPLE.speedometer, corrections=(teeth, turns)),
        )
    )
    plain = json.loads(text)
    corrections = plain["speedometer"]["corrections"]
    assert [repr(c["present"]) for c in corrections] == ["21", "1000.5"]
    assert [repr(c["advised"]) for c in corrections] == ["22", "1010"]
    assert repr(plain["logs"][0]["rate_hz"]) == "1.0"
    assert to_json(from_json(text)) == text


def test_numpy_numbers_are_written_as_numbers() -> None:
    row = GearRow(gear=np.int64(3), seconds=np.float64(1.25))  # type: ignore[arg-type]
    gearing = dataclasses.replace(EXAMPLE.gearing, gears=(row,))
    plain = json.loads(to_json(dataclasses.replace(EXAMPLE, gearing=gearing)))
    assert plain["gearing"]["gears"][0]["gear"] == 3
    assert plain["gearing"]["gears"][0]["seconds"] == 1.25


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, np.float64("nan")])
def test_a_number_that_is_not_finite_is_never_written(bad: float) -> None:
    broken = dataclasses.replace(EXAMPLE, channels=(ChannelResult("oil", "bar", max=bad),))
    with pytest.raises(ValueError, match=r"channels\[0\]\.max"):
        to_json(broken)


def test_a_wrong_word_is_never_written() -> None:
    broken = dataclasses.replace(EXAMPLE.findings[0], verdict="maybe")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"findings\[0\]\.verdict.*maybe.*not proven"):
        to_json(dataclasses.replace(EXAMPLE, findings=(broken,)))


def test_half_characters_do_not_reach_the_file() -> None:
    text = to_json(Results(car=CarInfo("bad \udcff name")))
    text.encode("utf-8")
    assert json.loads(text)["car"]["label"] == "bad � name"


@settings(derandomize=True, deadline=None, max_examples=50)
@given(
    label=st.text(st.characters(exclude_categories=["Cs"])),
    value=st.floats(allow_nan=False, allow_infinity=False),
    u95=st.floats(min_value=0, allow_nan=False, allow_infinity=False),
    rejected=st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), st.integers(0)),
)
def test_any_text_and_any_number_come_back_as_they_were(
    label: str, value: float, u95: float, rejected: dict[str, int]
) -> None:
    log = LogInfo(label, "nmea", 1, 1, rejected)
    drive = DriveInfo(distance=Quantity(value, u95, "m"))
    results = Results(car=CarInfo(label), logs=(log,), drive=drive)
    assert from_json(to_json(results)) == results


def test_added_keys_are_passed_over() -> None:
    plain = json.loads(to_json(EXAMPLE))
    plain["added"] = 1
    plain["car"]["colour"] = "green"
    assert from_json(json.dumps(plain)) == EXAMPLE


def test_a_section_left_out_is_empty() -> None:
    assert from_json('{"format": "roadtest results 1"}') == Results()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "line 1: not JSON"),
        ("{\n", "line 2: not JSON"),
        ("[1]", "not a results file"),
        ('{"type": "FeatureCollection"}', "not a results file"),
        ('{"format": "roadtest results 2"}', "format: 'roadtest results 2'; expected"),
        ('{"format": 1}', "format: 1; expected"),
        ('{"format": "roadtest results 1", "car": []}', "car: a list; expected an object"),
        ('{"format": "roadtest results 1", "car": null}', "car: null; expected an object"),
        ('{"format": "roadtest results 1", "car": {"label": 7}}', "car.label: 7; expected text"),
        (
            '{"format": "roadtest results 1", "drive": {"duration_s": NaN}}',
            "NaN, which is not JSON",
        ),
        ('{"format": "roadtest results 1", "drive": {"duration_s": 1e999}}', "finite number"),
        ('{"format": "roadtest results 1", "drive": {"duration_s": true}}', "True; expected a num"),
        (
            '{"format": "roadtest results 1", "drive": {"distance": {"value": 1, "unit": "m"}}}',
            'drive.distance: no key "u95"',
        ),
        (
            '{"format": "roadtest results 1",'
            ' "drive": {"distance": {"value": 1, "u95": -1, "unit": "m"}}}',
            "drive.distance: not a quantity",
        ),
        (
            '{"format": "roadtest results 1", "logs": [{"name": "a", "kind": "nmea",'
            ' "fixes_read": 1.5, "fixes_used": 1}]}',
            "logs[0].fixes_read: 1.5; expected a whole number",
        ),
        (
            '{"format": "roadtest results 1", "manoeuvres":'
            ' [{"id": "x", "kind": "turn", "start_s": 0, "end_s": 1}]}',
            "manoeuvres[0].kind: 'turn'; expected \"hold\"",
        ),
        ("[" * 100_000, "not usable JSON"),
        ("1" * 5000, "not usable JSON"),
    ],
)
def test_what_is_not_a_results_file_is_refused_in_one_line(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        from_json(text, "old.json")
    assert str(caught.value).startswith("old.json")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("low", "high"), [(None, None), (2.0, 1.0), (math.nan, None), (None, math.inf)]
)
def test_a_limit_that_limits_nothing_is_refused(low: float | None, high: float | None) -> None:
    with pytest.raises(ValueError, match="not a limit"):
        Limit(low, high, "m")
