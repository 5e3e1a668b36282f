"""Air density, power corrections and rotating parts against published figures.

- Standard atmosphere: ISO 2533 / ICAO standard atmosphere tables [values from memory].
- Reference air of coast-downs: SAE J2263, scope, and 40 CFR 1066.310(b) [read in stored copies of
  the abstract and of the section].
- Power corrections: SAE J1349 (1990) [formula read in a stored copy], reference 99 kPa dry and
  25 °C; ISO 1585 [formula from memory]. Values at the other point are our own arithmetic.
- Rotating parts: T. D. Gillespie, Fundamentals of Vehicle Dynamics [formula from memory].
- Power at the wheels: our own arithmetic with textbook formulas.
"""

import numpy as np
import pytest

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.model import Conditions
from roadtest.measures.air import air_of_the_day, dry_density, standard_air
from roadtest.measures.inertia import rotating_factor
from roadtest.measures.power_correction import (
    iso_1585_factor,
    outside_iso_1585,
    sae_j1349_factor,
    saturation_pressure_pa,
)
from roadtest.measures.road_load import RoadLoad
from roadtest.units import Given


@pytest.mark.source(
    "ISO 2533, standard atmosphere: density at its reference and at 20 °C, 1 bar",
    "value from memory",
)
@pytest.mark.parametrize(
    ("kelvin", "pascal", "density"), [(293.15, 100_000.0, 1.1884), (288.15, 101_325.0, 1.2250)]
)
def test_density_of_dry_air(kelvin: float, pascal: float, density: float) -> None:
    assert float(dry_density(kelvin, pascal)) == pytest.approx(density, abs=0.5e-4)


@pytest.mark.source(
    "SAE J2263, scope (20 °C, 98.21 kPa) against 40 CFR 1066.310(b) (1.17 kg/m³)",
    "read in stored copies",
)
def test_reference_air_of_coast_downs() -> None:
    """SAE J2263's 20 °C and 98.21 kPa are the 1.17 kg/m³ of 40 CFR 1066.310(b)."""
    assert float(dry_density(293.15, 98_210.0)) == pytest.approx(1.17, abs=0.5e-2)


@pytest.mark.source(
    "ISO 2533, table of the standard atmosphere at 0 and 1000 m",
    "value from memory",
)
@pytest.mark.parametrize(
    ("metres", "kelvin", "hectopascal", "density"),
    [(0.0, 288.15, 1013.25, 1.2250), (1000.0, 281.65, 898.75, 1.1116)],
)
def test_standard_atmosphere(
    metres: float, kelvin: float, hectopascal: float, density: float
) -> None:
    temperature, pressure = standard_air(metres)
    assert temperature == pytest.approx(kelvin, abs=0.005)
    assert pressure / 100.0 == pytest.approx(hectopascal, abs=0.05)
    assert float(dry_density(temperature, pressure)) == pytest.approx(density, abs=1e-4)


@pytest.mark.source(
    "SAE J1349 (1990), formula read in a stored copy; ISO 1585, formula from memory",
    "reference 99 kPa dry, 25 °C",
)
def test_corrections_are_one_at_their_reference() -> None:
    assert float(iso_1585_factor(99_000.0, 298.0)) == pytest.approx(1.0, abs=1e-12)
    assert float(sae_j1349_factor(99_000.0, 298.0)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.source(
    "SAE J1349 (1990), formula read in a stored copy; ISO 1585, formula from memory",
    "97 kPa, 30 °C by our own arithmetic",
)
def test_corrections_at_another_point() -> None:
    assert float(iso_1585_factor(97_000.0, 303.0)) == pytest.approx(1.0351, abs=0.5e-4)
    assert float(sae_j1349_factor(97_000.0, 303.0)) == pytest.approx(1.0344, abs=0.5e-4)


@pytest.mark.source("ISO 1585, range of temperature and of the factor", "value from memory")
def test_limits_of_the_correction() -> None:
    assert outside_iso_1585(99_000.0, 298.0) == ""
    for kelvin, inside in ((287.9, False), (288.0, True), (308.0, True), (308.1, False)):
        assert (outside_iso_1585(99_000.0, kelvin) == "") is inside
    # The factor reaches 1.07 at 99 / 1.07^(1/1.2) = 93.57 kPa, 0.93 at 105.17 kPa.
    for kilopascal, inside in ((93.5, False), (93.6, True), (105.1, True), (105.2, False)):
        assert (outside_iso_1585(1000.0 * kilopascal, 298.0) == "") is inside
    assert "15 to 35 °C" in outside_iso_1585(99_000.0, 280.0)
    assert "between 0.93 and 1.07" in outside_iso_1585(92_000.0, 298.0)


@pytest.mark.source("steam tables, 10 and 20 °C", "value from memory")
def test_saturated_vapour() -> None:
    # Steam tables: 2.339 kPa at 20 °C, 1.228 kPa at 10 °C [values from memory].
    assert float(saturation_pressure_pa(293.15)) == pytest.approx(2339.0, rel=0.005)
    assert float(saturation_pressure_pa(283.15)) == pytest.approx(1228.0, rel=0.005)


@pytest.mark.source(
    "T. D. Gillespie, Fundamentals of Vehicle Dynamics: mass factor by gear",
    "formula from memory",
)
@pytest.mark.parametrize(
    ("ratio", "overall", "factor"),
    [
        (3.41, 14.39, 1.558),
        (2.08, 8.78, 1.233),
        (1.40, 5.91, 1.127),
        (1.00, 4.22, 1.085),
        (0.82, 3.46, 1.070),
    ],
)
def test_rotating_parts_by_gear(ratio: float, overall: float, factor: float) -> None:
    assert ratio * 4.22 == pytest.approx(overall, abs=0.5e-2)
    assert float(rotating_factor(ratio * 4.22)) == pytest.approx(factor, abs=0.5e-3)


@pytest.mark.source("textbook road load and inertia", "our own arithmetic")
def test_power_at_the_wheels_by_hand() -> None:
    load = float(RoadLoad(120.0, 0.0, 0.40).force_n(20.0))
    inertia = 790.0 * 1.127 * 2.0
    assert (load, inertia) == pytest.approx((280.0, 1780.7), abs=0.05)
    assert (inertia + load) * 20.0 == pytest.approx(41.2e3, abs=50.0)


@pytest.mark.source("ISO 2533 density at the sheet's temperature and pressure", "value from memory")
def test_the_days_air_is_the_sheets_where_it_says() -> None:
    rng = np.random.default_rng(1)
    sheet = BuildSheet(conditions=Conditions(Given(293.15, 1.0), Given(1e5, 200.0)))
    given = air_of_the_day(sheet, 500.0, 4000, rng)
    assert given.known
    assert float(given.density_kgpm3.mean()) == pytest.approx(1.1884, abs=2e-4)
    assert 1.96 * float(given.temperature_k.std()) == pytest.approx(1.0, rel=0.05)
    unknown = air_of_the_day(BuildSheet(), 1000.0, 4000, rng)
    assert not unknown.known
    assert float(unknown.density_kgpm3.mean()) == pytest.approx(1.1116, rel=0.005)
    # Not knowing either is worth some 6 %; where the altitude is unknown too, sea level is taken.
    relative = 1.96 * float(unknown.density_kgpm3.std()) / 1.1116
    assert 0.04 < relative < 0.08
    at_sea = air_of_the_day(BuildSheet(), float("nan"), 4000, rng)
    assert float(at_sea.density_kgpm3.mean()) == pytest.approx(1.225, rel=0.005)
