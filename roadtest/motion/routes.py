"""The shortest ordinary way from one place to another, with the headings at both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ALONG, CORNER, TIGHT = 0, 1, 2
_ALONG_RAD: Final = np.radians(45.0)
"""A car that goes in and comes out within 45° of the chord drove along it (our choice)."""
_TURNS_RADPS: Final = 0.1
"""Who turns faster is in the midst of a corner: 20 m/s round a radius of 200 m (our choice)."""
_BEND_M: Final = 100.0  # beyond it a road has forgotten its direction (our choice)
_LEAST_CORNER: Final = np.sin(np.radians(15.0))
_TURNING_RADIUS_M: Final = 6.0
"""Small cars turn in a circle of 9 to 11 m between kerbs, and hardly anyone uses all of it (value
from memory)."""


@dataclass(frozen=True)
class Ends:
    """Both ends of some stretches: [2, w], heading and turning right of the chord positive."""

    chord_m: Floats  # [w]
    off_rad: Floats  # heading less the chord's direction, -π to π
    turning_radps: Floats


@dataclass(frozen=True)
class Routes:
    """Of some stretches [w]: the way, and by which kind of route."""

    way_m: Floats
    kind: Ints


def routes(ends: Ends) -> Routes:
    """Return the shortest ordinary routes between places.

    *Along* the chord the road bends as a cubic does that leaves and arrives at small angles a and
    b: longer than a chord c by c·(2a² + 2b² - a·b)/30, an arc's c·a²/6 where b = -a. Round one
    *corner*, the two straights that meet there. Else by *tight* turns at the very ends, each
    r·(|a| - sin |a|) longer: a U-turn, or an end in the midst of a turn.
    """
    chord = ends.chord_m
    a, b = ends.off_rad
    size = np.abs(ends.off_rad)
    along = size.max(axis=0) < _ALONG_RAD
    bent = chord + np.minimum(chord, _BEND_M) * (2.0 * a**2 + 2.0 * b**2 - a * b) / 30.0
    tight = chord + _TURNING_RADIUS_M * (size - np.sin(size)).sum(axis=0)
    corner, way = _round_corner(ends)
    corner &= ~along
    kind = np.where(along, ALONG, np.where(corner, CORNER, TIGHT))
    return Routes(np.where(along, bent, np.where(corner, way, tight)), kind)


def _round_corner(ends: Ends) -> tuple[Bools, Floats]:
    """Return [w] whether straights along both headings meet, and the way along them."""
    chord = ends.chord_m
    a, b = ends.off_rad
    sine = np.sin(b - a)
    sharp = np.abs(sine) > _LEAST_CORNER
    to_it = chord * np.sin(b) / np.where(sharp, sine, 1.0)
    from_it = -chord * np.sin(a) / np.where(sharp, sine, 1.0)
    towards = ends.turning_radps * np.sign([-a, b])  # the chord
    off = np.abs(ends.off_rad) > _ALONG_RAD
    in_a_turn = ((towards > _TURNS_RADPS) & off).any(axis=0)
    meet = sharp & ~in_a_turn & (np.minimum(to_it, from_it) >= 0.0)
    return meet, np.maximum(to_it + from_it, chord)
