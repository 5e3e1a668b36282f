"""Routes between two places with a heading at each."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.motion.routes import ALONG, CORNER, TIGHT, Ends, routes


def route(
    chord_m: float, a_deg: float, b_deg: float, turning: tuple[float, float] = (0.0, 0.0)
) -> tuple[float, int]:
    off = np.radians([[a_deg], [b_deg]])
    found = routes(Ends(np.array([chord_m]), off, np.array(turning)[:, None]))
    return float(found.way_m[0]), int(found.kind[0])


@pytest.mark.parametrize("half_deg", [0.0, 5.0, 20.0, 40.0])
def test_an_arc_is_as_long_as_it_is(half_deg: float) -> None:
    """Chord c of an arc with half-angle φ: c·φ / sin φ."""
    half = np.radians(max(half_deg, 1e-6))
    way, kind = route(60.0, -half_deg, half_deg)
    assert kind == ALONG
    assert way == pytest.approx(60.0 * half / np.sin(half), rel=0.01)


def test_a_long_road_has_forgotten_how_it_began() -> None:
    assert route(2000.0, -30.0, 30.0)[0] < 2010.0


@pytest.mark.parametrize(("first_m", "second_m", "corner_deg"), [(100.0, 80.0, 90.0), (30, 90, 60)])
@pytest.mark.parametrize("hand", [-1.0, 1.0])
def test_straights_meet_at_a_corner(
    first_m: float, second_m: float, corner_deg: float, hand: float
) -> None:
    corner = np.radians(corner_deg)
    along, aside = first_m + second_m * np.cos(corner), second_m * np.sin(corner)
    chord, off = float(np.hypot(along, aside)), np.degrees(np.arctan2(aside, along))
    way, kind = route(chord, -hand * off, hand * (corner_deg - off))
    assert kind == CORNER
    assert way == pytest.approx(first_m + second_m)


def test_an_end_in_the_midst_of_a_corner_goes_on_along_the_chord() -> None:
    """Turning right with the chord 60° to the right: the corner is here, not half way."""
    assert route(400.0, -60.0, 30.0)[1] == CORNER
    way, kind = route(400.0, -60.0, 30.0, (0.5, 0.0))
    assert kind == TIGHT
    assert 400.0 < way < 405.0


def test_a_car_that_faces_away_turns_round_at_once() -> None:
    way, kind = route(100.0, 180.0, 0.0)
    assert kind == TIGHT
    assert 110.0 < way < 130.0
