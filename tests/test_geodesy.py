"""Metres on the ellipsoid: invariants, and how far from the geodesic they get."""

import numpy as np
import pytest
from pyproj import Geod

from roadtest.geodesy import FLATTENING, Origin, local_metres, path_metres, radii_m, step_lengths

WGS84 = Geod(ellps="WGS84")


def drive(seed: int, n: int = 2000, step_m: float = 30.0) -> tuple[np.ndarray, np.ndarray]:
    """Return a wandering drive near 52° N (latitude, longitude) of about n · step_m."""
    rng = np.random.default_rng(seed)
    heading = np.cumsum(rng.normal(0.0, 0.05, n)) + np.pi / 2.0
    lat = 52.0 + np.cumsum(step_m * np.cos(heading)) / 111_267.0
    lon = -1.0 + np.cumsum(step_m * np.sin(heading)) / 68_678.0
    return lat, lon


def random_lines(length_m: float, n: int = 4000) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return start and end of n geodesics as [2 n] latitudes and longitudes, and their lengths."""
    rng = np.random.default_rng(7)
    lat, lon = rng.uniform(-75.0, 75.0, n), rng.uniform(-180.0, 180.0, n)
    end_lon, end_lat, _ = WGS84.fwd(lon, lat, rng.uniform(0.0, 360.0, n), np.full(n, length_m))
    _, _, lengths = WGS84.inv(lon, lat, end_lon, end_lat)
    return np.stack([lat, end_lat], 1).ravel(), np.stack([lon, end_lon], 1).ravel(), lengths


@pytest.mark.parametrize(
    ("length_m", "bound_m"),
    # A degree of longitude at 180 is rounded to 3 nm; nothing built on degrees can be better.
    [(0.5, 5e-9), (30.0, 5e-9), (999.0, 5e-9), (1e4, 5e-9), (1e5, 1e-6), (1e6, 0.1)],
)
def test_a_step_is_as_long_as_the_geodesic(length_m: float, bound_m: float) -> None:
    lat, lon, lengths = random_lines(length_m)
    assert np.max(np.abs(step_lengths(lat, lon)[::2] - lengths)) < bound_m


def test_very_long_lines_are_visibly_off_as_the_docstring_says() -> None:
    lat, lon, lengths = random_lines(1e7)
    assert np.max(np.abs(step_lengths(lat, lon)[::2] - lengths)) > 1000.0


def test_a_whole_drive_is_as_long_as_its_geodesics() -> None:
    lat, lon = drive(1)
    _, _, lengths = WGS84.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    assert step_lengths(lat, lon).sum() == pytest.approx(lengths.sum(), abs=1e-6)
    east, north = path_metres(lat, lon)
    assert np.hypot(np.diff(east), np.diff(north)).sum() == pytest.approx(lengths.sum(), abs=1e-6)


def test_a_sphere_would_misstate_an_eastward_drive() -> None:
    lat, lon = np.full(101, 52.0), np.linspace(-1.0, -0.2, 101)
    on_sphere = np.radians(0.8) * np.cos(np.radians(52.0)) * 6371008.77
    # N is 6391 km at 52° N, so a sphere of the mean radius reads 0.32 % short due east.
    assert on_sphere / step_lengths(lat, lon).sum() == pytest.approx(1.0 - 0.0032, abs=1e-4)


def test_path_headings_are_true_far_from_the_start() -> None:
    lat, lon = drive(2)
    east, north = path_metres(lat, lon)
    out, _, _ = WGS84.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    heading = np.degrees(np.arctan2(np.diff(east), np.diff(north)))
    # The azimuth at mid-step differs from the one at the start by at most half the convergence.
    assert np.max(np.abs((heading - out + 180.0) % 360.0 - 180.0)) < 0.5 * 30.0 / 68_678.0


def test_a_loop_of_steps_fails_to_close_by_area_times_tangent() -> None:
    side = np.linspace(0.0, 1.0, 201)
    lat = 52.0 + np.concatenate([0 * side, side, 0 * side + 1, 1 - side]) * 0.18
    lon = np.concatenate([side, 0 * side + 1, 1 - side, 0 * side]) * 0.29
    east, north = path_metres(lat, lon)
    area = 0.18 * 111_267.0 * 0.29 * 68_500.0
    assert abs(east[-1]) == pytest.approx(area * np.tan(np.radians(52.09)) / 6.39e6, rel=0.02)
    assert abs(north[-1]) < 1e-6
    plane_east, plane_north = local_metres(lat, lon)
    assert np.hypot(plane_east[-1], plane_north[-1]) < 1e-6


@pytest.mark.parametrize("distance_m", [1.0, 1e3, 2.7e4, 1e5])
def test_the_local_plane_keeps_distance_and_direction_from_its_origin(distance_m: float) -> None:
    azimuth = np.arange(0.0, 360.0, 5.0)
    n = azimuth.size
    lon, lat, _ = WGS84.fwd(np.full(n, -1.0), np.full(n, 52.0), azimuth, np.full(n, distance_m))
    east, north = local_metres(lat, lon, Origin(52.0, -1.0))
    assert np.max(np.abs(np.hypot(east, north) - distance_m)) < 1e-6
    turn = np.radians(azimuth)
    across = east * np.cos(turn) - north * np.sin(turn)
    assert np.max(np.abs(across)) < 0.01 * (distance_m / 1e5) ** 2 + 1e-8


def test_the_local_plane_is_stretched_by_millionths_only_at_27_km() -> None:
    azimuth = np.arange(0.0, 360.0, 5.0)
    n = azimuth.size
    lon, lat, _ = WGS84.fwd(np.full(n, -1.0), np.full(n, 52.0), azimuth, np.full(n, 2.7e4))
    lon2, lat2, _ = WGS84.fwd(lon, lat, azimuth + 90.0, np.full(n, 10.0))
    east, north = local_metres(lat, lon, Origin(52.0, -1.0))
    east2, north2 = local_metres(lat2, lon2, Origin(52.0, -1.0))
    stretch = np.hypot(east2 - east, north2 - north) / 10.0 - 1.0
    assert np.max(np.abs(stretch)) < 4e-6


def test_without_an_origin_the_first_fix_is_it() -> None:
    lat, lon = drive(3, n=50)
    for given, default in zip(
        local_metres(lat, lon, Origin(lat[0], lon[0])), local_metres(lat, lon), strict=True
    ):
        np.testing.assert_array_equal(given, default)
        assert default[0] == 0.0


def test_the_date_line_is_no_jump() -> None:
    lat = np.full(5, -17.0)
    there = np.array([179.99, 179.995, -180.0, -179.995, -179.99])
    elsewhere = np.array([10.0, 10.005, 10.01, 10.015, 10.02])
    np.testing.assert_allclose(step_lengths(lat, there), step_lengths(lat, elsewhere), atol=1e-8)
    for function in (path_metres, local_metres):
        for a, b in zip(function(lat, there), function(lat, elsewhere), strict=True):
            np.testing.assert_allclose(a, b, atol=1e-7)


def test_east_and_north_have_the_right_signs() -> None:
    lat, lon = np.array([52.0, 52.001]), np.array([-1.0, -0.999])
    for function in (path_metres, local_metres):
        east, north = function(lat, lon)
        assert 68.0 < east[1] < 69.0
        assert 111.0 < north[1] < 111.5


def test_standing_still_is_no_distance() -> None:
    lat, lon = np.full(3, 52.0), np.full(3, -1.0)
    assert not step_lengths(lat, lon).any()
    assert not np.any(path_metres(lat, lon))
    assert not np.any(local_metres(lat, lon))


def test_a_missing_fix_spoils_only_its_own_steps() -> None:
    lat, lon = np.array([52.0, 52.001, np.nan, 52.003, 52.004]), np.full(5, -1.0)
    assert np.isnan(step_lengths(lat, lon)).tolist() == [False, True, True, False]
    assert np.isnan(local_metres(lat, lon)[1]).tolist() == [False, False, True, False, False]


@pytest.mark.parametrize("n", [0, 1])
def test_too_few_fixes_for_a_step(n: int) -> None:
    lat, lon = np.full(n, 52.0), np.full(n, -1.0)
    assert step_lengths(lat, lon).size == 0
    assert [a.size for a in path_metres(lat, lon)] == [n, n]
    assert [a.size for a in local_metres(lat, lon)] == [n, n]


def test_inputs_are_left_alone() -> None:
    lat, lon = drive(4, n=20)
    lat.setflags(write=False)
    lon.setflags(write=False)
    step_lengths(lat, lon)
    path_metres(lat, lon)
    local_metres(lat, lon)


def test_radii_at_equator_and_pole() -> None:
    a, f = 6378137.0, FLATTENING
    meridian, normal = radii_m(np.array([0.0, 90.0]))
    assert meridian == pytest.approx([a * (1 - f) ** 2, a / (1 - f)], abs=1e-6)
    assert normal == pytest.approx([a, a / (1 - f)], abs=1e-6)
