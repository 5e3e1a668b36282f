"""Metres on the ground from latitude and longitude on the WGS 84 ellipsoid.

Two pictures of a drive on paper. `local_metres` places each fix as seen from one origin: loops
close, scale is off by millionths some tens of kilometres away. `path_metres` adds up steps:
lengths, speeds and headings stay true over any drive, but a large loop does not close.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# NGA.STND.0036, World Geodetic System 1984: the two defining parameters of the ellipsoid.
SEMI_MAJOR_AXIS_M = 6378137.0
FLATTENING = 1.0 / 298.257223563

SEMI_MINOR_AXIS_M = SEMI_MAJOR_AXIS_M * (1.0 - FLATTENING)
ECCENTRICITY_SQUARED = FLATTENING * (2.0 - FLATTENING)


@dataclass(frozen=True)
class Origin:
    """Where a local plane touches the ellipsoid, degrees."""

    latitude_deg: float
    longitude_deg: float


def radii_m(latitude_deg: Floats) -> tuple[Floats, Floats]:
    """Return the radii of curvature in the meridian (M) and in the prime vertical (N), metres.

    M = a (1 - e²) / w³, N = a / w, w = √(1 - e² sin² φ); shapes as `latitude_deg`.

    Reference: any text on ellipsoidal geodesy (value from memory); checked in
    tests/published/test_geodesics.py.
    """
    w = np.sqrt(1.0 - ECCENTRICITY_SQUARED * np.sin(np.radians(latitude_deg)) ** 2)
    meridian = SEMI_MAJOR_AXIS_M * (1.0 - ECCENTRICITY_SQUARED) / w**3
    return meridian, SEMI_MAJOR_AXIS_M / w


def local_metres(
    latitude_deg: Floats, longitude_deg: Floats, origin: Origin | None = None
) -> tuple[Floats, Floats]:
    """Return east and north of `origin` ([n] each, m); without one, the first fix is the origin.

    The direction in which the fix is seen in the origin's tangent plane, with the length of the
    arc to it (an azimuthal equidistant picture). NaN in gives NaN out; longitudes may wrap.

    Valid for: from the origin, distance is right to 1 µm and direction to 10 mm across at 100 km.
    Between fixes that both lie r away from it, lengths across the line of sight are too long by up
    to r² / 6R²: 3 parts in 10⁶ at 27 km. For the length of a drive take `path_metres`. (The
    mid-latitude formula with a far origin would be off by r tan φ / 2R, 0.3 % at 27 km.)
    """
    if origin is None:
        if latitude_deg.size == 0:
            return np.empty(0), np.empty(0)
        origin = Origin(float(latitude_deg[0]), float(longitude_deg[0]))
    start_deg = np.full_like(latitude_deg, origin.latitude_deg)
    delta_lon_deg = _wrapped(longitude_deg - origin.longitude_deg)
    outward, east, upward = _chords(start_deg, latitude_deg, delta_lon_deg)
    start = np.radians(start_deg)
    north = np.cos(start) * upward - np.sin(start) * outward
    return _stretched(east, north, _arcs(start_deg, latitude_deg, delta_lon_deg))


def step_lengths(latitude_deg: Floats, longitude_deg: Floats) -> Floats:
    """Return the lengths of the geodesics between neighbouring fixes ([n - 1], m).

    The straight chord c between the two points is exact; it is bent into the arc of a circle of
    the ellipsoid's curvature at the middle of the step, in the step's direction (Euler):
    s = 2 R asin(c / 2R), 1/R = cos² α / M + sin² α / N. The chord comes from differences of
    reduced latitudes, so short steps keep their digits (coordinates of 6·10⁶ m would not).

    Valid for: the steps of a drive, away from the poles. Against the geodesic: 4 nm (the rounding
    of degrees) up to 10 km, 1 µm at 100 km; it fails slowly beyond (0.1 m at 1000 km) and
    altogether near a quarter of the globe. NaN at either end gives NaN. Longitudes may wrap.
    Uncertainty: the length is on the ellipsoid; a road at height h is longer by h / 6.4·10⁶.
    """
    delta_lon_deg = _wrapped(np.diff(longitude_deg))
    return _arcs(latitude_deg[:-1], latitude_deg[1:], delta_lon_deg)


def path_metres(latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
    """Return east and north along the drive ([n] each, m), from (0, 0) at the first fix.

    Each step goes in its direction at mid-step with the length of `step_lengths`, and the steps
    are added up: length and true heading of every piece are right however far the drive goes.

    Valid for: all drives; all fixes finite (after a NaN everything is NaN). A loop does not close:
    it is off to the east by its area · tan φ / R, 80 m for a square of 20 km at 52° N. To ask how
    far apart two passes of one place are, take `local_metres`.
    """
    if latitude_deg.size == 0:
        return np.empty(0), np.empty(0)
    start_deg, end_deg = latitude_deg[:-1], latitude_deg[1:]
    delta_lon_deg = _wrapped(np.diff(longitude_deg))
    middle_east, middle_north = _mid_latitude(start_deg, end_deg, delta_lon_deg)
    lengths = _arcs(start_deg, end_deg, delta_lon_deg)
    east, north = _stretched(middle_east, middle_north, lengths)
    return _running_sum(east), _running_sum(north)


def _wrapped(delta_deg: Floats) -> Floats:
    """Return angles taken into ±180°; small ones keep all their digits."""
    return np.asarray(delta_deg - 360.0 * np.round(delta_deg / 360.0))


def _mid_latitude(
    start_deg: Floats, end_deg: Floats, delta_lon_deg: Floats
) -> tuple[Floats, Floats]:
    """Return east and north (m): N cos φ Δλ and M Δφ, all at the latitude midway."""
    middle_deg = 0.5 * (start_deg + end_deg)
    meridian, normal = radii_m(middle_deg)
    parallel = normal * np.cos(np.radians(middle_deg))
    return parallel * np.radians(delta_lon_deg), meridian * np.radians(end_deg - start_deg)


def _chords(
    start_deg: Floats, end_deg: Floats, delta_lon_deg: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the straight way from start to end (m): outward from the axis, east, along the axis.

    Outward and east are those of the start. With the reduced latitude β, tan β = (1 - f) tan φ, a
    point is (a cos β, b sin β), and
    tan Δβ = (1 - f) sin Δφ / (cos φ₁ cos φ₂ + (1 - f)² sin φ₁ sin φ₂).
    """
    start, end = np.radians(start_deg), np.radians(end_deg)
    half_turn = 0.5 * np.radians(delta_lon_deg)
    squash = 1.0 - FLATTENING
    reduced_start = np.arctan2(squash * np.sin(start), np.cos(start))
    reduced_step = np.arctan2(
        squash * np.sin(np.radians(end_deg - start_deg)),
        np.cos(start) * np.cos(end) + squash**2 * np.sin(start) * np.sin(end),
    )
    middle, half = reduced_start + 0.5 * reduced_step, np.sin(0.5 * reduced_step)
    end_from_axis = SEMI_MAJOR_AXIS_M * np.cos(reduced_start + reduced_step)
    outward = -2.0 * SEMI_MAJOR_AXIS_M * np.sin(middle) * half
    outward -= 2.0 * end_from_axis * np.sin(half_turn) ** 2
    upward = 2.0 * SEMI_MINOR_AXIS_M * np.cos(middle) * half
    return outward, end_from_axis * np.sin(2.0 * half_turn), upward


def _arcs(start_deg: Floats, end_deg: Floats, delta_lon_deg: Floats) -> Floats:
    """Return the lengths of geodesics (m); the method is that of `step_lengths`."""
    outward, sideways, upward = _chords(start_deg, end_deg, delta_lon_deg)
    chord = np.sqrt(outward**2 + sideways**2 + upward**2)
    east, north = _mid_latitude(start_deg, end_deg, delta_lon_deg)
    square = east**2 + north**2
    north_share = np.divide(north**2, square, out=np.zeros_like(square), where=square != 0.0)
    meridian, normal = radii_m(0.5 * (start_deg + end_deg))
    diameter = 2.0 / (north_share / meridian + (1.0 - north_share) / normal)
    return np.asarray(diameter * np.arcsin(np.minimum(chord / diameter, 1.0)))


def _stretched(east: Floats, north: Floats, length: Floats) -> tuple[Floats, Floats]:
    """Return the vectors brought to `length`; a vector of no length stays."""
    flat = np.hypot(east, north)
    scale = np.divide(length, flat, out=np.ones_like(flat), where=flat != 0.0)
    return east * scale, north * scale


def _running_sum(steps: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(steps)))
