"""Worked examples of the GUM (JCGM 100:2008, Annex H) and its Supplement 1 (JCGM 101:2008, 9).

H.1 to H.3: data and answers read in stored copies of public test suites. JCGM 101, 9.5: input
distributions and answer likewise; 9.2: [value from memory]. Draws are seeded. A published standard
uncertainty must lie within half its last printed digit plus four Monte Carlo standard errors of
ours; the Monte Carlo error is worked out from the draws themselves.
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from roadtest.measures.straight_line import fit_line, fit_line_by_scatter
from roadtest.quantity import Quantity

Floats = NDArray[np.float64]

DRAWS = 400_000
SUITES = "data read in public test suites; section from memory"


def assert_mean(draws: Floats, published: float, half_digit: float) -> None:
    slack = half_digit + 4.0 * float(draws.std()) / math.sqrt(draws.size)
    assert float(draws.mean()) == pytest.approx(published, abs=slack)


def assert_deviation(draws: Floats, published: float, half_digit: float) -> None:
    square = (draws - draws.mean()) ** 2
    deviation = float(draws.std())
    error = float(square.std()) / math.sqrt(draws.size) / (2.0 * deviation)
    assert deviation == pytest.approx(published, abs=half_digit + 4.0 * error)


def arcsine(rng: np.random.Generator, half_width: float) -> Floats:
    return np.asarray(half_width * np.sin(rng.uniform(-0.5 * math.pi, 0.5 * math.pi, DRAWS)))


def curved_trapezoid(rng: np.random.Generator, half_width: float, doubt: float) -> Floats:
    """Return draws of a rectangle with ends known only to ±doubt (JCGM 101, 6.4.3)."""
    lower = -half_width + doubt * rng.uniform(-1.0, 1.0, DRAWS)
    return np.asarray(lower + (-2.0 * lower) * rng.uniform(0.0, 1.0, DRAWS))


# H.1: end gauge. l = ls + d − ls (δα θ + αs δθ), in nm.


def end_gauge_terms(rng: np.random.Generator) -> dict[str, Floats]:
    """Return draws of the inputs with the standard uncertainties of Table H.1."""
    return {
        "ls": rng.normal(50_000_623.0, 25.0, DRAWS),
        "d": rng.normal(215.0, 5.8, DRAWS)
        + rng.normal(0.0, 3.9, DRAWS)
        + rng.normal(0.0, 6.7, DRAWS),
        "alpha_s": rng.uniform(9.5e-6, 13.5e-6, DRAWS),
        "d_alpha": rng.uniform(-1e-6, 1e-6, DRAWS),
        "d_theta": rng.uniform(-0.05, 0.05, DRAWS),
        "theta": rng.normal(-0.1, 0.2, DRAWS) + arcsine(rng, 0.5),
    }


def end_gauge_length(t: dict[str, Floats]) -> Floats:
    return np.asarray(
        t["ls"] + t["d"] - t["ls"] * (t["d_alpha"] * t["theta"] + t["alpha_s"] * t["d_theta"])
    )


@pytest.mark.source(
    "JCGM 100:2008, H.1.3 to H.1.6", "data read in public test suites; section from memory"
)
def test_h1_first_order_uncertainty_is_32_nm() -> None:
    # First order: each factor of a product varies with the other at its estimate.
    t = end_gauge_terms(np.random.default_rng(1))
    linear = t["ls"] + t["d"] - 50_000_623.0 * (t["d_alpha"] * -0.1 + 11.5e-6 * t["d_theta"])
    assert_mean(linear, 50_000_838.0, 0.5)
    assert_deviation(linear, 32.0, 0.5)
    assert_deviation(linear, 31.66, 0.005)


@pytest.mark.source("JCGM 100:2008, H.1.7", SUITES)
def test_h1_with_its_second_order_terms_is_34_nm() -> None:
    # H.1.7 adds the second-order terms by hand; draws of the model itself hold them already.
    length = end_gauge_length(end_gauge_terms(np.random.default_rng(2)))
    assert_mean(length, 50_000_838.0, 0.5)
    assert_deviation(length, 34.0, 0.5)
    quantity = Quantity.from_draws(length, "nm")
    assert quantity is not None
    assert quantity.value == pytest.approx(50_000_838.0, abs=0.8)
    # Nearly normal: 95 % within about two standard uncertainties.
    assert 1.9 * 33.9 < quantity.u95 < 2.0 * 33.9


@pytest.mark.source(
    "JCGM 100:2008, Table H.1", "data read in public test suites; section from memory"
)
def test_h1_components_of_uncertainty() -> None:
    rng = np.random.default_rng(3)
    t = end_gauge_terms(rng)
    assert_deviation(50_000_623.0 * 11.5e-6 * t["d_theta"], 16.599, 0.0005)
    assert_deviation(50_000_623.0 * -0.1 * t["d_alpha"], 2.88679, 0.000005)


@pytest.mark.source(
    "JCGM 101:2008, 9.5, Table 10", "data read in public test suites; section from memory"
)
def test_supplement_1_end_gauge_is_36_nm() -> None:
    # JCGM 101, 9.5, Table 10: Student's t for figures with few degrees of freedom.
    rng = np.random.default_rng(4)
    terms = {
        "ls": 50_000_623.0 + 25.0 * rng.standard_t(18, DRAWS),
        "d": 215.0
        + 6.0 * rng.standard_t(24, DRAWS)
        + 4.0 * rng.standard_t(5, DRAWS)
        + 7.0 * rng.standard_t(8, DRAWS),
        "alpha_s": rng.uniform(9.5e-6, 13.5e-6, DRAWS),
        "d_alpha": curved_trapezoid(rng, 1e-6, 0.1e-6),
        "d_theta": curved_trapezoid(rng, 0.05, 0.025),
        "theta": rng.normal(-0.1, 0.2, DRAWS) + arcsine(rng, 0.5),
    }
    length = end_gauge_length(terms)
    assert_mean(length, 50_000_838.0, 0.5)
    assert_deviation(length, 36.0, 0.5)


# H.2: resistance, reactance and impedance from correlated voltage, current and phase.


@pytest.fixture(scope="module")
def impedance() -> dict[str, Floats]:
    u = np.array([0.0032, 9.5e-6, 7.5e-4])
    r = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    rng = np.random.default_rng(5)
    inputs = rng.multivariate_normal([4.999, 0.019661, 1.04446], r * np.outer(u, u), DRAWS)
    volt, ampere, phase = inputs.T
    ohm = volt / ampere
    return {"R": ohm * np.cos(phase), "X": ohm * np.sin(phase), "Z": ohm}


@pytest.mark.source(
    "JCGM 100:2008, H.2, Table H.3", "data read in public test suites; section from memory"
)
@pytest.mark.parametrize(
    ("what", "value", "u", "value_digit", "u_digit"),
    [
        ("R", 127.732, 0.070, 0.0005, 0.0005),
        ("X", 219.85, 0.30, 0.005, 0.005),
        ("Z", 254.26, 0.24, 0.005, 0.005),
    ],
)
def test_h2_values_and_uncertainties(
    impedance: dict[str, Floats],
    what: str,
    value: float,
    u: float,
    value_digit: float,
    u_digit: float,
) -> None:
    assert_mean(impedance[what], value, value_digit)
    assert_deviation(impedance[what], u, u_digit)
    quantity = Quantity.from_draws(impedance[what], "ohm")
    assert quantity is not None
    assert quantity.u95 == pytest.approx(1.96 * impedance[what].std(), rel=0.01)


@pytest.mark.source(
    "JCGM 100:2008, H.2, Table H.3", "data read in public test suites; section from memory"
)
@pytest.mark.parametrize(
    ("one", "other", "correlation"), [("R", "X", -0.59), ("R", "Z", -0.49), ("X", "Z", 0.99)]
)
def test_h2_correlations(
    impedance: dict[str, Floats], one: str, other: str, correlation: float
) -> None:
    ours = float(np.corrcoef(impedance[one], impedance[other])[0, 1])
    error = (1.0 - correlation**2) / math.sqrt(DRAWS)
    assert ours == pytest.approx(correlation, abs=0.005 + 4.0 * error)


# H.3: calibration of a thermometer by a straight line; a speedometer is the same case.

READING = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)
REFERENCE = 20.0


@pytest.mark.source(
    "JCGM 100:2008, H.3, Table H.6", "data read in public test suites; section from memory"
)
def test_h3_line_by_the_scatter_of_its_points() -> None:
    line = fit_line_by_scatter(READING - REFERENCE, CORRECTION)
    assert line.intercept == pytest.approx(-0.1712, abs=0.5e-4)
    assert line.u_intercept == pytest.approx(0.0029, abs=0.5e-4)
    assert line.slope == pytest.approx(0.00218, abs=0.5e-5)
    assert line.u_slope == pytest.approx(0.00067, abs=0.5e-5)
    assert line.correlation == pytest.approx(-0.930, abs=0.5e-3)
    assert line.residual_sum_of_squares == pytest.approx(0.000110096583109, abs=0.5e-15)
    assert line.residual_deviation == pytest.approx(0.0035, abs=0.5e-4)
    assert line.degrees_of_freedom == 9
    assert line.chi_square is None


@pytest.mark.source("JCGM 100:2008, H.3.4", SUITES)
def test_h3_correction_at_30_degrees() -> None:
    value, u = fit_line_by_scatter(READING - REFERENCE, CORRECTION).at(30.0 - REFERENCE)
    assert value == pytest.approx(-0.1494, abs=0.5e-4)
    assert u == pytest.approx(0.0041, abs=0.5e-4)


@pytest.mark.source("JCGM 100:2008, H.3", SUITES)
def test_h3_zero_of_the_x_axis_changes_neither_line_nor_doubt() -> None:
    near = fit_line_by_scatter(READING - REFERENCE, CORRECTION)
    far = fit_line_by_scatter(READING, CORRECTION)
    assert far.at(30.0) == pytest.approx(near.at(30.0 - REFERENCE), rel=1e-9)
    assert (far.slope, far.u_slope) == pytest.approx((near.slope, near.u_slope), rel=1e-9)


@pytest.mark.source("JCGM 100:2008, H.3.6", SUITES)
def test_h36_common_error_moves_the_intercept_and_never_the_slope() -> None:
    alone = fit_line_by_scatter(READING - REFERENCE, CORRECTION)
    line = alone.with_common_errors(u_y=0.005)
    assert line.u_intercept == pytest.approx(0.00576893138292676, rel=1e-12)
    assert line.u_slope == pytest.approx(0.0006679387732278323, rel=1e-12)
    assert (line.intercept, line.slope) == (alone.intercept, alone.slope)


@pytest.mark.source("JCGM 100:2008, H.3.6", SUITES)
def test_h36_known_uncertainty_of_the_points() -> None:
    # With u known beforehand, the scatter is checked against it and not used.
    line = fit_line(READING - REFERENCE, CORRECTION, 0.0, 0.0035)
    scatter = fit_line_by_scatter(READING - REFERENCE, CORRECTION)
    assert line.slope == pytest.approx(scatter.slope, rel=1e-12)
    assert line.u_slope == pytest.approx(scatter.u_slope, rel=1e-3)
    assert line.chi_square == pytest.approx(0.000110096583109 / 0.0035**2, rel=1e-9)


# JCGM 101, 9.2: a sum of four inputs of standard uncertainty 1. The interval that the project takes
# from draws, against the ends of the 95 % intervals printed there.


@pytest.mark.source("JCGM 101:2008, 9.2", "value from memory")
@pytest.mark.parametrize(
    ("widths", "shape", "u95", "half_digit"),
    [
        ((1.0, 1.0, 1.0, 1.0), "normal", 3.92, 0.005),
        ((1.0, 1.0, 1.0, 1.0), "rectangular", 3.88, 0.005),
        ((1.0, 1.0, 1.0, 10.0), "rectangular", 17.0, 0.05),
    ],
)
def test_supplement_1_sum_of_four(
    widths: tuple[float, ...], shape: str, u95: float, half_digit: float
) -> None:
    rng = np.random.default_rng(6)
    half = math.sqrt(3.0)
    total = np.zeros(DRAWS)
    for u in widths:
        unit = rng.normal(size=DRAWS) if shape == "normal" else rng.uniform(-half, half, DRAWS)
        total += u * unit
    quantity = Quantity.from_draws(total, "1")
    assert quantity is not None
    # Standard error of a 95 % quantile of |total|: √(0.95 · 0.05 / n) / density there.
    band = 0.05 * u95
    density = float(np.mean(np.abs(np.abs(total) - u95) < band)) / (2.0 * band)
    error = math.sqrt(0.95 * 0.05 / DRAWS) / density
    assert quantity.u95 == pytest.approx(u95, abs=half_digit + 4.0 * error)
    assert quantity.value == pytest.approx(0.0, abs=4.0 * float(total.std()) / math.sqrt(DRAWS))
