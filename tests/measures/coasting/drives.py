"""Coast-downs of simulated cars and what the tool makes of them, for tests and the benchmark."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from roadtest.evidence import Evidence
from roadtest.measures.coasting import CoastingMeasured, measure_coasting
from roadtest.measures.coasting.model import WIND_SD_MPS
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver
from tests.simulation.ensembles import random_car, random_coasts, random_receiver, random_road
from tests.simulation.truth import Truth
from tests.small_sheet import small_sheet

# Mass, rotating parts and air as doubtful as the sheet says: drawn anew for each seed.
_RELATIVE_U95 = {"mass": 0.02, "pressure": 0.005}
_TEMPERATURE_U95_K = 2.0
_ROTATING_U95 = 0.01


@dataclass(frozen=True)
class Error:
    """One figure against the truth."""

    name: str
    error: float
    u95: float
    true: float

    @property
    def held(self) -> bool:
        """Whether the interval holds the truth."""
        return abs(self.error) <= self.u95


def sheet_for(car: Car, seed: int) -> str:
    """Return a build sheet whose figures are off the truth by as much as they say they may be."""
    rng = np.random.default_rng([seed, 31])
    mass = car.mass_kg * (1.0 + _RELATIVE_U95["mass"] / 1.96 * rng.normal())
    share = car.rotating_neutral - 1.0 + _ROTATING_U95 / 1.96 * rng.normal()
    kelvin = 288.15 + _TEMPERATURE_U95_K / 1.96 * rng.normal()
    true_pa = car.air_density_kgpm3 * 287.05 * 288.15
    pascal = true_pa * (1.0 + _RELATIVE_U95["pressure"] / 1.96 * rng.normal())
    about = f'''mass = "{mass:.2f} kg ± 2 %"
rotating_mass = "{100.0 * max(share, 0.0):.3f} % ± 1 %"'''
    air = f"""[conditions]
temperature = "{kelvin - 273.15:.3f} degC ± {_TEMPERATURE_U95_K} degC"
pressure = "{pascal / 100.0:.3f} hPa ± 0.5 %"
"""
    return small_sheet(car, about, air)


def coast_drive(seed: int, pairs: int = 2) -> Truth:
    """Return coasts in a wind as strong as the model takes to be likely."""
    wind = float(np.random.default_rng([seed, 77]).rayleigh(WIND_SD_MPS))
    return random_coasts(seed, pairs, wind)


def coasts(
    seed: int, rate_hz: float, pairs: int = 2, *, with_speed: bool = True
) -> tuple[Truth, Evidence, CoastingMeasured]:
    """Return a simulated coast-down drive and what is measured on it."""
    truth = coast_drive(seed, pairs)
    receiver = random_receiver(seed, rate_hz)
    sheet = sheet_for(truth.car, seed)
    evidence = evidence_from(truth, receiver, seed, sheet=sheet, with_speed=with_speed)
    return truth, evidence, measure_coasting(evidence, {})


def one_way(seed: int, rate_hz: float) -> tuple[Truth, CoastingMeasured]:
    """Return a single coast on a road with an even slope of its own, and what is measured on it."""
    rng = np.random.default_rng([seed, 78])
    road, wind, way = random_road(seed), rng.rayleigh(WIND_SD_MPS), rng.uniform(0.0, 2.0 * np.pi)
    slope = rng.normal(0.0, 0.01)
    road = dataclasses.replace(
        road,
        slope_east=slope * np.sin(road.heading_rad),
        slope_north=slope * np.cos(road.heading_rad),
        wind_east_mps=wind * np.sin(way),
        wind_north_mps=wind * np.cos(way),
    )
    driver = Driver(random_car(seed), road, seed)
    driver.start_rolling(25.0)
    driver.coast(rng.uniform(25.0, 28.0), rng.uniform(7.0, 11.0))
    truth = driver.finish()
    sheet = sheet_for(truth.car, seed)
    evidence = evidence_from(truth, random_receiver(seed, rate_hz), seed, sheet=sheet)
    return truth, measure_coasting(evidence, {})


def coasting_errors(truth: Truth, measured: CoastingMeasured) -> list[Error]:
    """Return rolling coefficient, drag area and decelerations against the truth."""
    car, result = truth.car, measured.result
    true = {
        "rolling coefficient": car.rolling_coefficient,
        "drag area, m²": car.drag_area_m2,
    }
    errors = [
        Error(name, found.value - true[name], found.u95, true[name])
        for name, found in zip(true, (result.rolling_coefficient, result.drag_area), strict=True)
        if found is not None
    ]
    for row in result.deceleration:
        assert row.speed is not None
        assert row.value is not None
        force = car.rolling_force_n + car.drag_factor * row.speed.value**2
        level = force / car.effective_mass_kg(0)
        gap = row.value.value - level
        errors.append(Error("deceleration, m/s²", gap, row.value.u95, level))
    return errors
