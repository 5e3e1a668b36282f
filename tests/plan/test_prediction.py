"""Intervals predicted from the plan against those that simulated drives then give.

A handful of drives tells a ratio of half-widths to a tenth or two, so the test takes that into
account: it fails where the mean ratio lies outside what is aimed at by more than the drives'
own scatter allows. tests/benchmarks/planning.py prints the ratios of more drives.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.plan.trials import compared, gearing_compared

DRIVES, RATE_HZ = 3, 5.0
STUDENT = 4.30  # 95 %, two degrees of freedom
WITHIN = math.log(1.2)  # a fifth is aimed at
FIGURES = (
    "hold", "initial_speed", "mfdd", "mfdd_level", "distance", "build_up_s", "drift", "fade",
    "spread", "pull time", "standing time", "axle", "engine turns", "tach scale", "step", "cruise",
)  # fmt: skip
TOLD_ABOUT = ("mfdd", "axle", "step", "cruise", "tach scale")
"""Figures whose ratio three drives tell well enough to see a prediction that is off."""


@pytest.fixture(scope="module")
def log_ratios() -> dict[str, NDArray[np.float64]]:
    """Logarithm of obtained over predicted half-width, one a drive, by figure."""
    gathered: dict[str, list[float]] = {}
    for seed in range(DRIVES):
        pairs = (compared(900 + seed, RATE_HZ, coasts=0), gearing_compared(900 + seed, RATE_HZ))
        for predicted, obtained in pairs:
            assert predicted.keys() == obtained.keys()
            for name, width in predicted.items():
                gathered.setdefault(name, []).append(math.log(obtained[name] / width))
    return {name: np.array(values) for name, values in gathered.items()}


def _scatter(values: NDArray[np.float64]) -> float:
    """Return the 95 % half-width of the mean of a few values (Student's t)."""
    return STUDENT * float(values.std(ddof=1)) / math.sqrt(values.size)


def test_every_figure_is_there(log_ratios: dict[str, NDArray[np.float64]]) -> None:
    assert set(log_ratios) == set(FIGURES)
    assert all(values.size == DRIVES for values in log_ratios.values())


@pytest.mark.parametrize("name", FIGURES)
def test_the_interval_is_predicted_within_a_fifth(
    log_ratios: dict[str, NDArray[np.float64]], name: str
) -> None:
    values = log_ratios[name]
    assert abs(values.mean()) <= WITHIN + _scatter(values)
    assert abs(values.mean()) <= math.log(1.6)  # whatever the scatter


@pytest.mark.parametrize("name", TOLD_ABOUT)
def test_a_prediction_a_half_off_would_be_seen(
    log_ratios: dict[str, NDArray[np.float64]], name: str
) -> None:
    for wrong in (math.log(1.8), -math.log(1.8)):
        values = log_ratios[name] + wrong
        assert abs(values.mean()) > WITHIN + _scatter(values)
