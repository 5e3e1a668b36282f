"""The air of the day: density, from the build sheet or from the standard atmosphere."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.quantity import COVERAGE_FACTOR_95
from roadtest.units import Given

Floats = NDArray[np.float64]

GAS_CONSTANT: Final = 287.05  # J/(kg·K), dry air
SEA_LEVEL_K: Final = 288.15
SEA_LEVEL_PA: Final = 101_325.0
_LAPSE_KPM: Final = 0.0065
_EXPONENT: Final = 5.25588  # g / (lapse · gas constant)

# Half-widths of 95 % intervals, our choices. Not given: a shakedown is driven between 0 and 30 °C,
# and weather moves the barometer by some 25 hPa either way. Given without "±": a thermometer in
# the shade, a barometer or a forecast for the place.
_U95_UNKNOWN_K: Final = 15.0
_U95_UNKNOWN_PA: Final = 2500.0
_U95_GIVEN_K: Final = 2.0
_U95_GIVEN_PA: Final = 500.0


@dataclass(frozen=True)
class Air:
    """Draws of the day's air, [c] each."""

    temperature_k: Floats
    pressure_pa: Floats
    known: bool  # both stand on the build sheet

    @property
    def density_kgpm3(self) -> Floats:
        """Density, as of dry air."""
        return dry_density(self.temperature_k, self.pressure_pa)


def dry_density(temperature_k: float | Floats, pressure_pa: float | Floats) -> Floats:
    """Return the density of dry air, ρ = p / (R·T), kg/m³.

    Differs from moist air by at most 1 % (saturated at 25 °C), which is neglected.

    Reference: ideal gas with R = 287.05 J/(kg·K) (ISO 2533) [value from memory].
    """
    return np.asarray(pressure_pa / (GAS_CONSTANT * np.asarray(temperature_k, dtype=np.float64)))


def standard_air(altitude_m: float) -> tuple[float, float]:
    """Return temperature (K) and pressure (Pa) of the standard atmosphere at an altitude.

    T = 288.15 − 0.0065·h, p = 101325·(T/288.15)^5.25588. Valid for: below 11 km.

    Reference: ISO 2533:1975 (ISA, troposphere) [value from memory].
    """
    temperature = SEA_LEVEL_K - _LAPSE_KPM * altitude_m
    return temperature, SEA_LEVEL_PA * (temperature / SEA_LEVEL_K) ** _EXPONENT


def air_of_the_day(
    sheet: BuildSheet, altitude_m: float, count: int, rng: np.random.Generator
) -> Air:
    """Return draws of the air: the sheet's where it says, else standard with a wide interval.

    altitude_m : mean of the drive, NaN where unknown (then sea level)
    """
    height = altitude_m if math.isfinite(altitude_m) else 0.0
    standard_k, standard_pa = standard_air(height)
    given = sheet.conditions
    temperature = _drawn(given.temperature, standard_k, (_U95_GIVEN_K, _U95_UNKNOWN_K), count, rng)
    pressure = _drawn(given.pressure, standard_pa, (_U95_GIVEN_PA, _U95_UNKNOWN_PA), count, rng)
    known = given.temperature is not None and given.pressure is not None
    return Air(temperature, pressure, known)


def _drawn(
    given: Given | None,
    standard: float,
    u95: tuple[float, float],
    count: int,
    rng: np.random.Generator,
) -> Floats:
    normal = rng.normal(size=count) / COVERAGE_FACTOR_95
    if given is None:
        return standard + u95[1] * normal
    return given.value + (u95[0] if given.u95 is None else given.u95) * normal
