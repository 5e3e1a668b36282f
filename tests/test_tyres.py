"""Reading tyre sizes."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.tyres import ROLLING_FACTOR, Construction, read_tyre_size

STEADY = settings(derandomize=True, deadline=None)


@pytest.mark.parametrize(
    ("size", "construction", "diameter_m"),
    [
        ("165/80R13", "radial", 0.5942),
        ("185/60 R 14 82H", "radial", 0.5776),
        ("185/60R14 82H 4PR XL", "radial", 0.5776),
        ("185/70HR13", "radial", 0.5892),
        ("p185/60zr14", "radial", 0.5776),
        ("190/65HR390", "radial", 0.637),
        ("165/80-13", "cross-ply", 0.5942),
        ("165SR13", "radial", 0.5975),
        ("165R13", "radial", 0.5975),
        ("145-10", "cross-ply", 0.4889),
        ("5.20-13", "cross-ply", 0.582),
        ("5.20 - 13", "cross-ply", 0.582),
        ("5.60x15", "cross-ply", 0.650),
        ("5.60×15 4PR", "cross-ply", 0.650),
        ("5.60S13", "cross-ply", 0.600),
        ("5.60R15", "radial", 0.650),
        ("6.00/16", "cross-ply", 0.69596),
    ],
)
def test_size_gives_construction_and_diameter(
    size: str, construction: Construction, diameter_m: float
) -> None:
    tyre = read_tyre_size(size)
    assert tyre.construction == construction
    assert tyre.diameter_m.value == pytest.approx(diameter_m, abs=5e-5)
    assert tyre.circumference_m.value == tyre.diameter_m.value * ROLLING_FACTOR[construction]


def test_uncertainty_is_the_root_sum_of_the_parts_and_every_part_is_named() -> None:
    tyre = read_tyre_size("165/80R13")
    parts = {part.what: part.u95_relative for part in tyre.budget}
    assert parts["tread wear"] == 0.02
    assert parts["maker's tolerance"] == pytest.approx(0.03 * 264 / 594.2)
    assert tyre.circumference_m.u95 == pytest.approx(
        tyre.circumference_m.value * math.sqrt(sum(u * u for u in parts.values()))
    )


def test_the_less_a_size_says_the_wider_its_interval() -> None:
    def relative(size: str) -> float:
        circumference = read_tyre_size(size).circumference_m
        assert circumference.u95 is not None
        return circumference.u95 / circumference.value

    assert relative("165/80R13") < relative("165R13") < relative("5.20-13") < relative("5.25-13")
    assert relative("6.40-13") > 0.04


def test_a_size_without_aspect_covers_the_80_and_the_82_series() -> None:
    tyre = read_tyre_size("165R13").diameter_m
    assert tyre.u95 is not None
    for aspect in ("80", "82"):
        other = read_tyre_size(f"165/{aspect}R13").diameter_m.value
        assert abs(other - tyre.value) < tyre.u95
    # Twice the section: 2 · 165 mm · 0.02, with the maker's 3 % of twice the height.
    assert tyre.u95 == pytest.approx(math.hypot(6.6e-3, 0.03 * 2.0 * 0.165 * 0.81))


def test_estimate_for_inch_sizes_covers_every_size_of_the_table() -> None:
    """The estimate is meant for sizes not in the table; it must not contradict those that are."""
    for inches, rim, diameter_mm in [
        (5.20, 13, 582.0),
        (5.60, 13, 600.0),
        (5.90, 13, 616.0),
        (5.20, 14, 612.0),
        (5.60, 14, 626.0),
        (5.60, 15, 650.0),
    ]:
        near = read_tyre_size(f"{inches + 0.01:.2f}-{rim}").diameter_m
        assert near.u95 is not None
        assert abs(near.value * 1000 - diameter_mm) < near.u95 * 1000


def test_the_basis_names_rule_and_source() -> None:
    assert "3.05" in read_tyre_size("165/80R13").basis
    assert "ISO 4000-1" in read_tyre_size("165/80R13").basis
    assert "UN R30, Annex 5" in read_tyre_size("5.20-13").basis
    assert "our estimate" in read_tyre_size("4.50-19").basis


@pytest.mark.parametrize(
    ("size", "message"),
    [
        ("165/80", 'tyre size "165/80" is not understood; expected a size such as "165/80R13"'),
        ("", "not understood"),
        ("5,20-13", "not understood"),
        ("165/80R99", "rim of 99; expected 8 to 24 in"),
        ("165/10R13", "aspect 10 %; expected 105 to 355 mm and 25 to 100 %"),
        ("999/80R13", "999 mm wide"),
        ("1.20-13", "1.2 in wide; expected 3 to 10 in"),
        ("165/80R13\n165/80R13", "not understood"),
        ("1" * 5000, "..."),
    ],
)
def test_unusable_size_says_what_was_found_and_expected(size: str, message: str) -> None:
    with pytest.raises(ValueError, match="expected") as caught:
        read_tyre_size(size)
    assert message in str(caught.value)
    assert str(caught.value).isprintable()


@STEADY
@given(st.text() | st.from_regex(r"[0-9]{1,3}[./]?[0-9]{0,2} ?[A-Zx-]{0,2} ?[0-9]{0,3}.{0,4}"))
def test_any_text_gives_a_plausible_tyre_or_a_one_line_error(size: str) -> None:
    try:
        tyre = read_tyre_size(size)
    except ValueError as error:
        assert str(error).isprintable()
    else:
        assert 0.2 < tyre.diameter_m.value < 1.4
        assert tyre.circumference_m.u95 is not None
        assert 0.0 < tyre.circumference_m.u95 < 0.15 * tyre.circumference_m.value
