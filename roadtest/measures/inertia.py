"""Mass and rotating parts, each with its interval."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.quantity import COVERAGE_FACTOR_95

Floats = NDArray[np.float64]

COASTING_SHARE: Final = 0.03
"""What rotating parts add to the mass out of gear. Reference: SAE J1263; UN GTR 15, Annex 4: 3 %
unless measured [value from memory]."""

U95_COASTING_SHARE: Final = 0.01
"""The handbooks' formula for rotating parts gives 4 % where coast-down procedures say 3 %."""

U95_MASS: Final = 0.02
"""Relative, where the sheet gives none. Our choice: crew and fuel change by this much."""

U95_GEARED_SHARE: Final = 0.3
"""Relative, of what rotating parts add in gear. Our choice: Gillespie's table gives a small car
1.11 in top gear where his formula gives 1.085 at an axle of 4.22, and flywheels differ."""


def rotating_factor(overall: float | Floats) -> Floats:
    """Return effective mass over mass in a gear: 1.04 + 0.0025·N², N = gear ratio × axle ratio.

    Valid for: cars with all wheels and the engine turning, clutch home. An average over cars of
    its time: a light flywheel gives less.

    Reference: T. D. Gillespie, Fundamentals of Vehicle Dynamics, chapter 2; J. Y. Wong, Theory of
    Ground Vehicles, chapter 3 [value from memory].
    """
    return np.asarray(1.04 + 0.0025 * np.square(overall))


def mass_draws(sheet: BuildSheet, count: int, rng: np.random.Generator) -> Floats | None:
    """Return draws [count] of the mass as driven, kg, or None where the sheet has none."""
    mass = sheet.car.mass
    if mass is None:
        return None
    u95 = U95_MASS * mass.value if mass.u95 is None else mass.u95
    return np.asarray(mass.value + u95 / COVERAGE_FACTOR_95 * rng.normal(size=count))


def coasting_factor_draws(sheet: BuildSheet, count: int, rng: np.random.Generator) -> Floats:
    """Return draws [count] of effective mass over mass out of gear."""
    given = sheet.car.rotating_mass
    share = COASTING_SHARE if given is None else given.value
    u95 = U95_COASTING_SHARE if given is None or given.u95 is None else given.u95
    return np.asarray(1.0 + np.abs(share + u95 / COVERAGE_FACTOR_95 * rng.normal(size=count)))


def geared_factor_draws(overall: float, count: int, rng: np.random.Generator) -> Floats:
    """Return draws [count] of effective mass over mass with `overall` turns per wheel turn."""
    share = float(rotating_factor(overall)) - 1.0
    relative = U95_GEARED_SHARE / COVERAGE_FACTOR_95 * rng.normal(size=count)
    return np.asarray(1.0 + share * np.maximum(1.0 + relative, 0.0))
