"""Figures in words: rounding and units."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.quantity import Quantity
from roadtest.results import Finding, FindingItem, Limit, ReadIn
from roadtest.wording import (
    as_people_read,
    clock_text,
    duration_text,
    found_against_limit,
    limit_text,
    number_text,
    probability_text,
    quantity_text,
    rounded,
    sentence,
)


@pytest.mark.parametrize(
    ("value", "u95", "texts"),
    [
        (58.3141, 0.4, ("58.31", "0.40")),
        (58.3141, 0.0996, ("58.31", "0.10")),
        (58.3141, 0.0994, ("58.314", "0.099")),
        (9.999, 0.999, ("10.0", "1.0")),
        (45678.0, 1234.0, ("45700", "1200")),
        (45678.0, 99.6, ("45680", "100")),
        (-0.0004, 0.02, ("0.000", "0.020")),
        (-0.3, 2.0, ("-0.3", "2.0")),
        (4548.4, 17.2, ("4548", "17")),
        (1e-7, 3e-9, ("0.0000001000", "0.0000000030")),
        (60.0, 0.0, ("60", "0")),
    ],
)
def test_u95_has_two_significant_digits_and_the_value_matches(
    value: float, u95: float, texts: tuple[str, str]
) -> None:
    assert rounded(value, u95) == texts


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    value=st.floats(-1e9, 1e9, allow_subnormal=False),
    u95=st.floats(1e-9, 1e9, allow_subnormal=False),
)
def test_rounding_moves_a_figure_by_less_than_a_twentieth_of_its_interval(
    value: float, u95: float
) -> None:
    shown, shown_u95 = rounded(value, u95)
    assert abs(float(shown) - value) <= 0.0501 * u95 + 1e-15 * abs(value)
    assert abs(float(shown_u95) - u95) <= 0.0501 * u95
    assert len(re.sub(r"^[0.]*|\.", "", shown_u95).rstrip("0")) <= 2
    places = [len(text.partition(".")[2]) for text in (shown, shown_u95)]
    assert places[0] == places[1]


@pytest.mark.parametrize(
    ("quantity", "units", "text"),
    [
        (Quantity(26.8224, 0.17882, "m/s"), "mph", "60.00 ± 0.40 mph"),
        (Quantity(26.8224, 0.17882, "m/s"), "km/h", "96.56 ± 0.64 km/h"),
        (Quantity(26.8224, 0.0, "m/s"), "mph", "60 mph"),
        (Quantity(58.3, 0.9, "m"), "mph", "58.30 ± 0.90 m"),
        (Quantity(1609.344, 16.09344, "m"), "mph", "1.000 ± 0.010 miles"),
        (Quantity(8000.0, 10.0, "m"), "km/h", "8.000 ± 0.010 km"),
        (Quantity(6.05, 0.2, "m/s²"), "mph", "6.05 ± 0.20 m/s²"),
        (Quantity(6.05, 0.2, "m/s^2"), "mph", "6.05 ± 0.20 m/s²"),
        (Quantity(math.radians(1.0), math.radians(0.5), "rad"), "mph", "1.00 ± 0.50 °"),
        (Quantity(41200.0, 2000.0, "W"), "km/h", "41.2 ± 2.0 kW"),
        (Quantity(74569.98716, 745.69987, "W"), "mph", "100.0 ± 1.0 hp"),
        (Quantity(382.15, 1.0, "K"), "mph", "109.0 ± 1.0 °C"),
        (Quantity(109.0, 1.0, "degC"), "mph", "109.0 ± 1.0 °C"),
        (Quantity(4548.0, 17.0, "r/min"), "mph", "4548 ± 17 rpm"),
        (Quantity(4548.0, 17.0, "rpm"), "km/h", "4548 ± 17 rpm"),
        (Quantity(1.0, 0.01, "1/m"), "km/h", "1000 ± 10 per km"),
        (Quantity(1.0, 0.01, "1/m"), "mph", "1609 ± 16 per mile"),
        (Quantity(1.045, 0.012, "1"), "mph", "1.045 ± 0.012"),
        (Quantity(3.2, 0.1, "bar"), "mph", "3.20 ± 0.10 bar"),
        (Quantity(3.2, 0.1, "furlong"), "mph", "3.20 ± 0.10 furlong"),
    ],
)
def test_quantities_are_read_in_the_users_units(
    quantity: Quantity, units: ReadIn, text: str
) -> None:
    assert quantity_text(quantity, units) == text


def test_fractions_in_per_cent_and_signs_where_asked() -> None:
    assert quantity_text(Quantity(0.031, 0.02, "1"), "mph", percent=True) == "3.1 ± 2.0 %"
    assert quantity_text(Quantity(0.5, 0.6, "m"), "mph", signed=True) == "+0.50 ± 0.60 m"
    assert quantity_text(Quantity(0.0001, 0.6, "m"), "mph", signed=True) == "0.00 ± 0.60 m"
    assert quantity_text(None, "mph") == "not measured"


@pytest.mark.parametrize(
    ("limit", "percent", "text"),
    [
        (Limit(5.8, None, "m/s²"), False, "at least 5.8 m/s²"),
        (Limit(None, 378.15, "K"), False, "at most 105 °C"),
        (Limit(0.0, 3 * 0.44704, "m/s"), False, "0 to 3 mph"),
        (Limit(0.96, 1.04, "1"), False, "0.96 to 1.04"),
        (Limit(None, 0.02, "1"), True, "at most 2 %"),
        (Limit(900.0, 2000.0, "m"), False, "900 m to 1.243 miles"),
        (None, False, ""),
    ],
)
def test_limits_read_as_what_is_allowed(limit: Limit | None, percent: bool, text: str) -> None:
    assert limit_text(limit, "mph", percent=percent) == text


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.0, "under 0.1 %"),
        (0.0004, "under 0.1 %"),
        (0.0006, "0.06 %"),
        (0.5, "50 %"),
        (0.798, "79.8 %"),
        (0.9994, "99.9 %"),
        (0.9996, "over 99.9 %"),
        (1.0, "over 99.9 %"),
    ],
)
def test_probabilities_claim_no_certainty(probability: float, text: str) -> None:
    assert probability_text(probability) == text


def test_numbers_and_times() -> None:
    assert [number_text(x) for x in (0.0, 1.0, 96.5606, 12345.6, 0.00012345)] == [
        "0",
        "1",
        "96.56",
        "12346",
        "0.0001234",
    ]
    assert [clock_text(x) for x in (0.0, 59.6, 125.0, 3725.0)] == [
        "0:00",
        "1:00",
        "2:05",
        "1:02:05",
    ]
    assert [duration_text(x) for x in (45.0, 600.0, 3900.0)] == ["45 s", "10 min", "1 h 5 min"]


def test_speeds_inside_a_text_are_read_in_the_unit_people_read() -> None:
    text = "too slow: from 4.8 m/s, at least 6.9 m/s needed; 1.3 m/s² and 22 m/s/s stay"
    assert as_people_read(text, "mph") == (
        "too slow: from 10.7 mph, at least 15.4 mph needed; 1.3 m/s² and 22 m/s/s stay"
    )
    assert as_people_read("12.00 m/s", "km/h") == "43.2 km/h"


def test_moments_inside_a_text_are_read_as_a_clock() -> None:
    text = "no fixes from 375.6 s to 382.8 s, pedal eased at 936.1 s, held for 5 s"
    assert as_people_read(text, "mph") == (
        "no fixes from 6:16 to 6:23, pedal eased at 15:36, held for 5 s"
    )


def test_a_sentence_begins_large_and_ends_in_a_full_stop() -> None:
    assert sentence(" the road bends ") == "The road bends."
    assert sentence("stop-3: no fixes") == "stop-3: no fixes."
    assert sentence("tach.csv: no gears!") == "tach.csv: no gears!"
    assert sentence(" ") == ""


def test_a_finding_whose_worst_item_has_no_figure_says_of_how_many() -> None:
    limit = Limit(4.9, None, "m/s²")
    items = (
        FindingItem("stop-1", Quantity(6.0, 0.1, "m/s²"), limit, "pass", 1.0),
        FindingItem("stop-2", None, limit, "not proven", None),
    )
    finding = Finding("mfdd", "Braking", "not proven", None, limit, items=items)
    assert found_against_limit(finding, "mph") == "1 of 2 not judged; allowed: at least 4.9 m/s²"
    without = replace(finding, items=())
    assert found_against_limit(without, "mph") == "not measured; allowed: at least 4.9 m/s²"
