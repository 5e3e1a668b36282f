"""The ground: heights as a field over the plain, and how the road bends with distance."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Wave:
    """One ripple of the terrain: height amplitude (m) and wave vector (rad/m, east and north)."""

    height_m: float
    east_radpm: float
    north_radpm: float
    phase_rad: float


@dataclass(frozen=True)
class Bend:
    """One gentle bend: where it starts (m along the road), how long, and its curvature (1/m)."""

    start_m: float
    length_m: float
    curvature_pm: float  # positive turns right


@dataclass(frozen=True)
class Road:
    """Terrain, bends and wind. The same place has the same slope in whichever direction one drives.

    Grade is height gained over level distance. Wind is where the air goes to (m/s).
    """

    origin_deg: tuple[float, float] = (0.0, 0.0)  # latitude, longitude of the start
    altitude_m: float = 20.0
    heading_rad: float = 0.5 * math.pi  # at the start, clockwise from north
    slope_east: float = 0.0
    slope_north: float = 0.0
    waves: tuple[Wave, ...] = ()
    bends: tuple[Bend, ...] = field(default=())
    wind_east_mps: float = 0.0
    wind_north_mps: float = 0.0

    def grade(self, east_m: float, north_m: float, sin_h: float, cos_h: float) -> float:
        """Grade in the direction (sin_h, cos_h) at a place."""
        east, north = self.slope_east, self.slope_north
        for wave in self.waves:
            turn = wave.east_radpm * east_m + wave.north_radpm * north_m + wave.phase_rad
            slope = wave.height_m * math.cos(turn)
            east += slope * wave.east_radpm
            north += slope * wave.north_radpm
        return east * sin_h + north * cos_h

    def curvature_pm(self, distance_m: float) -> float:
        """Curvature of the road at a distance along it; each bend fades in and out as sin²."""
        for bend in self.bends:
            into = (distance_m - bend.start_m) / bend.length_m
            if 0.0 < into < 1.0:
                return bend.curvature_pm * math.sin(math.pi * into) ** 2
        return 0.0


def level_road(heading_rad: float = 0.5 * math.pi) -> Road:
    """Return a straight, level, windless road."""
    return Road(heading_rad=heading_rad)


def rolling_road(seed: int, steepest: float = 0.015, bendiness: float = 1.0) -> Road:
    """Return a road with gentle hills up to about `steepest` grade and gentle bends for 60 km."""
    rng = np.random.default_rng(seed)
    waves = []
    for share in (0.5, 0.3, 0.2):
        length_m = rng.uniform(300.0, 2500.0)
        way = rng.uniform(0.0, 2.0 * math.pi)
        number = 2.0 * math.pi / length_m
        east, north = number * math.sin(way), number * math.cos(way)
        waves.append(Wave(share * steepest / number, east, north, rng.uniform(0.0, 2.0 * math.pi)))
    bends, at_m = [], 0.0
    while at_m < 60_000.0:
        at_m += rng.uniform(300.0, 1500.0)
        length_m = rng.uniform(80.0, 300.0)
        bends.append(Bend(at_m, length_m, bendiness * rng.normal(0.0, 0.002)))
        at_m += length_m
    return Road(heading_rad=rng.uniform(0.0, 2.0 * math.pi), waves=tuple(waves), bends=tuple(bends))
