"""Tyre formulas against figures outside the project.

Sizes: ISO 4000-1 / UN R30 for the diameter [value from memory], ETRTO's 3.05 for the rolling
circumference [second-hand, as quoted in a public document on tyre and sensor modelling]. The table
is arithmetic from these, done outside the project and printed to 0.1 mm, 0.1 mm and 0.1 per mile.
"""

import math

import pytest

from roadtest.tyres import read_tyre_size
from roadtest.units import MILE_M


@pytest.mark.source(
    "ISO 4000-1 / UN R30 for the diameter; ETRTO's 3.05",
    "diameter from memory; 3.05 second-hand",
)
@pytest.mark.parametrize(
    ("size", "diameter_mm", "circumference_m", "turns_per_mile"),
    [
        ("155/80R13", 578.2, 1.7635, 912.6),
        ("165/80R13", 594.2, 1.8123, 888.0),
        ("175/70R13", 575.2, 1.7544, 917.3),
        ("185/60R13", 552.2, 1.6842, 955.5),
        ("165/80R14", 619.6, 1.8898, 851.6),
        ("185/60R14", 577.6, 1.7617, 913.5),
    ],
)
def test_metric_sizes(
    size: str, diameter_mm: float, circumference_m: float, turns_per_mile: float
) -> None:
    tyre = read_tyre_size(size)
    assert tyre.diameter_m.value * 1000 == pytest.approx(diameter_mm, abs=0.05)
    assert tyre.circumference_m.value == pytest.approx(circumference_m, abs=0.51e-4)
    assert MILE_M / tyre.circumference_m.value == pytest.approx(turns_per_mile, abs=0.05)


@pytest.mark.source("UN R30, Annex 5", "value from memory")
@pytest.mark.parametrize(
    ("size", "diameter_mm"),
    [
        ("5.20-13", 582.0),
        ("5.60-13", 600.0),
        ("5.90-13", 616.0),
        ("5.20-14", 612.0),
        ("5.60-14", 626.0),
        ("5.60-15", 650.0),
    ],
)
def test_cross_ply_design_diameters(size: str, diameter_mm: float) -> None:
    """UN R30, Annex 5 [value from memory, ±1 %]."""
    tyre = read_tyre_size(size).diameter_m
    assert tyre.value * 1000 == pytest.approx(diameter_mm, abs=0.5)
    assert tyre.u95 is not None
    assert tyre.u95 / tyre.value > 0.01


@pytest.mark.source(
    "US EPA annual test-car list, 2016: engine speed over road speed",
    "read in a stored copy; the cars' tyre sizes from memory",
)
@pytest.mark.parametrize(
    ("size", "rpm_per_mph"), [("195/50R16", 41.9), ("205/45R17", 40.9)], ids=["16 in", "17 in"]
)
def test_rolling_factor_against_two_registered_cars(size: str, rpm_per_mph: float) -> None:
    """US EPA annual test-car list, 2016: N/V ratio (r/min per mph, top gear 1:1), axle 2.87.

    N/V = axle · turns per mile / 60. The sizes the cars were sold on are values from memory. The
    rule must be met within the rounding of N/V (±0.05 in 41) and axle (±0.005 in 2.87), 0.3 %.
    """
    turns_per_mile = rpm_per_mph * 60 / 2.87
    assert MILE_M / turns_per_mile == pytest.approx(
        read_tyre_size(size).circumference_m.value, rel=0.003
    )


@pytest.mark.source("63360 / (pi D) and ETRTO's 3.05", "our own arithmetic")
def test_free_turns_per_mile() -> None:
    """turns per mile = 63360/(π·D) = 20168.1/D, and 20773.8/D by the 3.05 rule (D in inches)."""
    tyre = read_tyre_size("165/80R13")
    inches = tyre.diameter_m.value / 0.0254
    assert MILE_M / (math.pi * tyre.diameter_m.value) == pytest.approx(20168.1 / inches, rel=5e-6)
    assert MILE_M / tyre.circumference_m.value == pytest.approx(20773.8 / inches, rel=5e-6)


@pytest.mark.source("worked gearing", "our own arithmetic")
def test_engine_speed_at_70_mph() -> None:
    """Worked gearing: axle 4.22, fifth 0.82, 165/80R13, 70 mph: 3585.0 r/min."""
    speed_mps = 70 * 0.44704
    circumference = read_tyre_size("165/80R13").circumference_m.value
    assert 60 * speed_mps * 4.22 * 0.82 / circumference == pytest.approx(3585.0, abs=0.05)
