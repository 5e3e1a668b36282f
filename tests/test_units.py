"""The table of units, and reading quantities that people write."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.units import (
    SI_UNIT,
    UNITS,
    Dimension,
    Given,
    QuantityError,
    Unit,
    UnknownUnitError,
    find_unit,
    from_si,
    parse_any_quantity,
    parse_quantity,
    to_si,
)

STEADY = settings(derandomize=True, deadline=None)


def test_no_two_units_share_a_name_even_when_case_is_ignored() -> None:
    folded = [unit.name.casefold() for unit in UNITS if len(unit.name) > 1]
    assert len(folded) == len(set(folded))
    for unit in UNITS:
        assert find_unit(unit.name) is unit
        if len(unit.name) > 1:
            assert find_unit(unit.name.upper()) is unit or unit.name.upper() == unit.name


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("mi", "mile"),
        ("Miles", "mile"),
        ("KM/H", "km/h"),
        ("RPM", "rpm"),
        ("r/min", "rpm"),
        ("m/s^2", "m/s²"),
        ("°C", "degC"),
        (" kpa ", "kPa"),
        ("inches", "in"),
        ("knots", "knot"),
    ],
)
def test_other_spellings_name_the_same_unit(written: str, name: str) -> None:
    assert find_unit(written).name == name


@pytest.mark.parametrize("written", ["k", "v", "G", "a", ""])
def test_one_letter_keeps_its_case(written: str) -> None:
    with pytest.raises(UnknownUnitError):
        find_unit(written)


def test_unknown_unit_names_the_nearest() -> None:
    with pytest.raises(UnknownUnitError, match=r'unknown unit "mpj", did you mean "mp[hs]"'):
        find_unit("mpj")


def test_every_dimension_has_its_si_unit_with_factor_one() -> None:
    assert {unit.dimension for unit in UNITS} == set(SI_UNIT)
    for dimension, name in SI_UNIT.items():
        unit = find_unit(name)
        assert (unit.dimension, unit.factor, unit.offset) == (dimension, 1.0, 0.0)


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_conversion_comes_back_alike_for_floats_and_arrays(unit: Unit) -> None:
    values = np.array([-40.0, 0.0, 1.0, math.pi, 1e6])
    kept = values.copy()
    si = to_si(values, unit.name)
    np.testing.assert_allclose(from_si(si, unit.name), values, rtol=1e-12, atol=1e-9)
    np.testing.assert_array_equal(values, kept)
    assert to_si(math.pi, unit.name) == si[3]
    assert isinstance(to_si(math.pi, unit.name), float)


def test_nan_stays_nan() -> None:
    assert np.isnan(to_si(np.array([np.nan, 1.0]), "mph")).tolist() == [True, False]


@pytest.mark.parametrize(
    ("text", "dimension", "value", "u95"),
    [
        ("790 kg", "mass", 790.0, None),
        ("1640 lb", "mass", 743.8914868, None),
        ("24.1 in", "length", 0.61214, None),
        ("1.742 m", "length", 1.742, None),
        ("1.742 m ± 0.005 m", "length", 1.742, 0.005),
        ("1.742 m ± 5 mm", "length", 1.742, 0.005),
        ("1.742 ± 0.005 m", "length", 1.742, 0.005),
        ("(1.742 +/- 0.005) m", "length", 1.742, 0.005),
        ("790 kg ± 2 %", "mass", 790.0, 15.8),
        ("-20 degC ± 2 degC", "temperature", 253.15, 2.0),
        ("−40 °F", "temperature", 233.15, None),
        ("20 degC ± 9 degF", "temperature", 293.15, 5.0),
        ("0.58 g", "acceleration", 5.687857, None),
        ("0.58g", "acceleration", 5.687857, None),
        ("5.8 m/s^2", "acceleration", 5.8, None),
        ("4 %", "fraction", 0.04, None),
        ("3 % ± 1 %", "fraction", 0.03, 0.01),
        ("0.020 1", "fraction", 0.02, None),
        ("100 rpm", "engine speed", 100.0, None),
        ("180 deg", "angle", math.pi, None),
        ("60\u00a0mph", "speed", 26.8224, None),
        (".5e1 s", "time", 5.0, None),
    ],
)
def test_quantity_is_read_into_si(
    text: str, dimension: Dimension, value: float, u95: float | None
) -> None:
    read = parse_quantity(text, dimension)
    assert read.value == pytest.approx(value, rel=1e-9)
    assert read.u95 == (None if u95 is None else pytest.approx(u95, rel=1e-9))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("790", '"790" has no unit; expected a mass such as "790 kg"'),
        ("60 mph", '"60 mph" is a speed; expected a mass such as "790 kg"'),
        ("0.58 g", '"0.58 g" is an acceleration; expected a mass such as "790 kg"'),
        ("heavy", '"heavy" does not begin with a number; expected a mass such as "790 kg"'),
        ("nan kg", '"nan kg" does not begin with a number; expected a mass such as "790 kg"'),
        ("inf kg", '"inf kg" does not begin with a number; expected a mass such as "790 kg"'),
        ("", 'an empty text; expected a mass such as "790 kg"'),
        ("790 kq", 'unknown unit "kq"'),
        ("790,5 kg", "expected a decimal point and no thousands separator"),
        ("1,640 lb", "expected a decimal point and no thousands separator"),
        ("1e999 kg", "too large"),
        ("1e308 lb ± 1e308 %", "too large"),
        ("9" * 101 + " kg", "104 characters"),
        ("٧٩٠ kg", "does not begin with a number"),
        ("790 kg ± 2", '"± 2" has no unit; expected an uncertainty such as "± 0.5 kg" or "± 2 %"'),
        ("790 kg ± -2 %", "negative"),
        ("790 kg ± 2 m", '"± 2 m" is a length; expected an uncertainty'),
        ("790 kg ± 2 kq", 'unknown unit "kq"'),
        ("790 kg ±", "does not begin with a number"),
        ("790 ± 1 ± 2 kg", "unknown unit"),
    ],
)
def test_unusable_mass_says_what_was_found_and_expected(text: str, message: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, "mass")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_temperature_takes_no_relative_uncertainty() -> None:
    with pytest.raises(QuantityError, match='"± 2 %" is a fraction'):
        parse_quantity("20 degC ± 2 %", "temperature")


def test_any_quantity_tells_its_unit() -> None:
    read, unit = parse_any_quantity("105 degC ± 1 degC")
    assert (read, unit.name, unit.dimension) == (Given(378.15, 1.0), "degC", "temperature")


@STEADY
@given(st.text() | st.from_regex(r"[-+(]?[0-9.,e]{0,6} ?[a-z%±/²)]{0,5} ?[±]? ?[0-9a-z%]{0,4}"))
def test_any_text_gives_a_finite_quantity_or_a_one_line_error(text: str) -> None:
    for dimension in SI_UNIT:
        try:
            read = parse_quantity(text, dimension)
        except QuantityError as error:
            assert str(error).isprintable()
        else:
            assert math.isfinite(read.value)
            assert read.u95 is None or (math.isfinite(read.u95) and read.u95 >= 0.0)


@STEADY
@given(st.floats(-1e6, 1e6), st.sampled_from(UNITS))
def test_written_quantity_is_read_back(number: float, unit: Unit) -> None:
    text = f"{number!r} {unit.name}"
    assert parse_quantity(text, unit.dimension).value == to_si(number, unit.name)
