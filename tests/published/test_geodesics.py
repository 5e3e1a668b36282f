"""Geodesic lengths printed elsewhere, against the sum of our steps.

`step_lengths` is made for the steps of a drive. A line of up to 100 km is compared as one step,
with nothing in between. A longer one is cut by `pyproj` (Geod.npts) into pieces of about 500 m:
the library only says where the points of the line are, the length is the sum of our steps.
"""

import numpy as np
import pytest
from pyproj import Geod

from roadtest.geodesy import radii_m, step_lengths

WGS84 = Geod(ellps="WGS84")


@pytest.mark.source("WGS 84, defining constants: radii of curvature", "computed to the millimetre")
@pytest.mark.parametrize(
    ("latitude_deg", "latitude_degree_m", "longitude_degree_m"),
    # Lengths of a degree from the local radii, M π/180 and N cos φ π/180 (computed from the
    # defining constants of WGS 84, to the millimetre).
    [
        (0.0, 110574.276, 111319.491),
        (30.0, 110852.442, 96486.280),
        (45.0, 111131.777, 78846.835),
        (50.0, 111229.064, 71695.754),
        (52.0, 111267.353, 68678.016),
        (60.0, 111412.287, 55800.002),
    ],
)
def test_degree_lengths(
    latitude_deg: float, latitude_degree_m: float, longitude_degree_m: float
) -> None:
    meridian, normal = radii_m(np.array([latitude_deg]))
    degree = np.pi / 180.0
    assert meridian[0] * degree == pytest.approx(latitude_degree_m, abs=5e-4)
    parallel = normal[0] * np.cos(np.radians(latitude_deg))
    assert parallel * degree == pytest.approx(longitude_degree_m, abs=5e-4)
    # And the same from a step of a thousandth of a degree.
    lat = np.array([latitude_deg - 5e-4, latitude_deg + 5e-4, latitude_deg + 5e-4])
    lon = np.array([3.0, 3.0, 3.001])
    assert step_lengths(lat, lon)[0] * 1000.0 == pytest.approx(latitude_degree_m, abs=5e-4)


@pytest.mark.source("national geodesy test line of 55 km", "as public geodesy test suites print it")
def test_flinders_peak_to_buninyong() -> None:
    """54972.271 m on GRS 80, as public geodesy test suites print it; WGS 84 is < 1 mm off.

    One step of 55 km; tolerance half the last digit printed.
    """
    lat = np.array([-37.95103341666667, -37.65282113888889])
    lon = np.array([144.42486788888889, 143.92649552777778])
    assert step_lengths(lat, lon)[0] == pytest.approx(54972.271, abs=5e-4)


@pytest.mark.source("pymap3d, src/pymap3d/tests", "read in a stored copy")
def test_one_degree_of_the_equator() -> None:
    """111319.49 m for 1° (one step); 445277.96 m for 4° (four steps): half the last digit.

    Source: pymap3d, src/pymap3d/tests.
    """
    lon = np.arange(0.0, 5.0)
    steps = step_lengths(np.zeros(5), lon)
    assert steps[0] == pytest.approx(111319.49, abs=5e-3)
    assert steps.sum() == pytest.approx(445277.96, abs=5e-3)


@pytest.mark.source(
    "GeographicLib, tests/geodtest.c; pyproj, test/test_geod.py; public geodesy test suites",
    "read in a stored copy",
)
@pytest.mark.parametrize(
    ("start", "end", "length_m", "tolerance_m"),
    [
        # Printed to 1 mm; as public geodesy test suites print it.
        ((50.06632, -5.71475), (58.64402, -3.07009), 969954.166, 5e-4),
        # GeographicLib, tests/geodtest.c, given as ± 0.5 m.
        ((40.6, -73.8), (49.01666667, 2.55), 5853226.0, 0.5),
        # GeographicLib, tests/geodtest.c, two lines printed to 0.1 nm. Tolerance: 18,000 and 8,000
        # steps, each end rounded to some nm: up to 10 µm if all roundings went the same way.
        ((35.60777, -139.44815), (-11.17491, -69.95921), 8935244.5604818305, 1e-5),
        ((55.52454, 106.05087), (77.03196, 197.18234), 4105086.1713924406, 1e-5),
        # pyproj, test/test_geod.py: printed to 1 mm.
        (
            (42.25, -71.0 - 7.0 / 60.0),
            (45.0 + 31.0 / 60.0, -123.0 - 41.0 / 60.0),
            4164074.239,
            5e-4,
        ),
    ],
)
def test_long_lines_through_short_steps(
    start: tuple[float, float], end: tuple[float, float], length_m: float, tolerance_m: float
) -> None:
    between = np.array(WGS84.npts(start[1], start[0], end[1], end[0], int(length_m / 500.0)))
    lat = np.concatenate([[start[0]], between[:, 1], [end[0]]])
    lon = np.concatenate([[start[1]], between[:, 0], [end[1]]])
    assert step_lengths(lat, lon).sum() == pytest.approx(length_m, abs=tolerance_m)
