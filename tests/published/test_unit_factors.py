"""Unit factors against their published definitions.

Exact: international yard and pound agreement (1959), standard gravity (3rd CGPM, 1901), nautical
mile (1929), as NIST SP 811 (2008), Appendix B.8, prints them; the rounded factors are from the
same list, with half the last printed digit as tolerance. [Values from memory, cross-checked
against each other below where one follows from another.]
"""

import pytest

from roadtest.units import find_unit, to_si

pytestmark = pytest.mark.source("NIST SP 811 (2008), Appendix B.8", "value from memory")


@pytest.mark.source(
    "international yard and pound agreement (1959); 3rd CGPM (1901); nautical mile (1929)",
    "value from memory",
)
@pytest.mark.parametrize(
    ("unit", "factor"),
    [
        ("mile", 1609.344),
        ("yd", 0.9144),
        ("ft", 0.3048),
        ("in", 0.0254),
        ("mph", 0.44704),
        ("lb", 0.45359237),
        ("g", 9.80665),
        ("ft/s²", 0.3048),
        ("kgf", 9.80665),
        ("bar", 1e5),
        ("PS", 735.49875),
    ],
)
def test_exact_factor(unit: str, factor: float) -> None:
    assert find_unit(unit).factor == pytest.approx(factor, rel=1e-15)


@pytest.mark.parametrize(
    ("unit", "factor", "half_digit"),
    [
        ("lbf", 4.4482216, 0.5e-7),
        ("knot", 0.514444, 0.5e-6),
        ("km/h", 0.2777778, 0.5e-7),
        ("hp", 745.6999, 0.5e-4),
        ("psi", 6894.757, 0.5e-3),
        ("inHg", 3386.389, 0.5e-3),
        ("deg", 0.01745329, 0.5e-8),
    ],
)
def test_rounded_factor(unit: str, factor: float, half_digit: float) -> None:
    assert abs(find_unit(unit).factor - factor) <= half_digit


@pytest.mark.source("Celsius and Fahrenheit scales, by definition", "value from memory")
@pytest.mark.parametrize(
    ("shown", "unit", "kelvin"),
    [
        (0.0, "degC", 273.15),
        (32.0, "degF", 273.15),
        (212.0, "degF", 373.15),
        (-40.0, "degC", 233.15),
    ],
)
def test_temperature_scales_meet_at_their_fixed_points(
    shown: float, unit: str, kelvin: float
) -> None:
    """Celsius and Fahrenheit scales by definition: ice 0 °C = 32 °F, 100 °C = 212 °F."""
    assert to_si(shown, unit) == pytest.approx(kelvin, rel=1e-15)


@pytest.mark.source(
    "49 CFR 393.52(d), as printed in Pennsylvania Code title 67, chapter 175, Table I",
    "read in a stored copy",
)
def test_square_law_figures_of_us_brake_rules_agree() -> None:
    """21, 17 and 14 ft/s² stand beside 65.2, 52.8 and 43.5 % of weight.

    49 CFR 393.52(d), figures as in Pennsylvania Code title 67, chapter 175, Table I.
    """
    for feet, percent in [(21.0, 65.2), (17.0, 52.8), (14.0, 43.5)]:
        # 65.27 is printed as 65.2: the rule cuts short instead of rounding, hence a whole digit.
        assert 0.0 <= to_si(feet, "ft/s²") / to_si(1.0, "g") * 100 - percent < 0.1
