"""Power brought to standard air, for engines that breathe by themselves.

Neither formula is meant for an engine whose boost is controlled; a supercharged car's power is
given as measured, with the conditions of the day [value from memory].
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ISO_FACTOR_LIMITS: Final = (0.93, 1.07)
ISO_TEMPERATURE_LIMITS_K: Final = (288.0, 308.0)


def iso_1585_factor(dry_pressure_pa: float | Floats, temperature_k: float | Floats) -> Floats:
    """Return what observed power is multiplied by: (99/p)^1.2 · (T/298)^0.6, p in kPa, dry.

    Valid for: spark ignition, not boosted, intake air of 288 to 308 K, factors of 0.93 to 1.07;
    see `outside_iso_1585`.

    Reference: ISO 1585; UN R85 [value from memory].
    """
    pressure = np.asarray(dry_pressure_pa, dtype=np.float64) / 1000.0
    temperature = np.asarray(temperature_k, dtype=np.float64)
    return np.asarray((99.0 / pressure) ** 1.2 * (temperature / 298.0) ** 0.6)


def outside_iso_1585(dry_pressure_pa: float, temperature_k: float) -> str:
    """Return why the ISO factor may not be used on a day, "" where it may.

    Its limits are those of the intake air, 288 to 308 K, and of the factor itself, 0.93 to 1.07.
    """
    low_k, high_k = ISO_TEMPERATURE_LIMITS_K
    if not low_k <= temperature_k <= high_k:
        zero = 273.15
        return (
            f"at {temperature_k - zero:.0f} °C the day is outside the limits of ISO 1585, "
            f"{low_k - zero:.0f} to {high_k - zero:.0f} °C"
        )
    low, high = ISO_FACTOR_LIMITS
    factor = float(iso_1585_factor(dry_pressure_pa, temperature_k))
    if not low <= factor <= high:
        return (
            f"the day's air is outside the limits of ISO 1585, whose factor of {factor:.3f} "
            f"would have to lie between {low:g} and {high:g}"
        )
    return ""


def sae_j1349_factor(dry_pressure_pa: float | Floats, temperature_k: float | Floats) -> Floats:
    """Return 1.180 · (990/p)·√(T/298) − 0.18, p in mbar, dry.

    The 0.18 stands for a mechanical efficiency of 85 %: friction does not change with the air.

    Reference: SAE J1349 (1990) [read in a stored copy].
    """
    pressure = np.asarray(dry_pressure_pa, dtype=np.float64) / 100.0
    temperature = np.asarray(temperature_k, dtype=np.float64)
    return np.asarray(1.180 * (990.0 / pressure) * np.sqrt(temperature / 298.0) - 0.18)


def saturation_pressure_pa(temperature_k: float | Floats) -> Floats:
    """Return the pressure of saturated water vapour: 611.2 · exp(17.62·t / (243.12 + t)), t in °C.

    Reference: Magnus form of WMO-No. 8 (Guide to Meteorological Instruments) [value from memory].
    """
    celsius = np.asarray(temperature_k, dtype=np.float64) - 273.15
    return np.asarray(611.2 * np.exp(17.62 * celsius / (243.12 + celsius)))
