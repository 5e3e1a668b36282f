"""Engine speed at cruising speeds, from figures made by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.measures.gearing.cruise import AtSpeed, as_noted, cruise_rows, cruise_speeds
from roadtest.measures.gearing.road import Road

DRAWS = 400
PUSH_MPS2 = 0.3
ROAD = cast(Road, SimpleNamespace(drag=SimpleNamespace(at=lambda v: np.full_like(v, PUSH_MPS2))))
SHEET = read_build_sheet(b'units = "mph"\n[engine]\nlimit_rpm = 5500\n', "build.toml")
MPH = 0.44704


def at_speed(*turns_per_metre: float, highest_rpm: float = 5000.0) -> AtSpeed:
    """Return gears of these engine turns per metre, with 1 %, 0.2 % and 0.001 % of creep."""
    turns = np.tile(np.log(turns_per_metre), (DRAWS, 1))
    return AtSpeed(turns, np.tile([0.01, 0.002, 1e-5], (DRAWS, 1)), highest_rpm)


def test_engine_speed_is_turns_a_metre_with_creep_over_the_tach_s_scale() -> None:
    scale = np.full(DRAWS, np.log(1.25))
    (row, *_) = cruise_rows(at_speed(2.0), (5,), ROAD, SHEET, scale)
    assert row.speed is not None and row.rpm is not None
    speed = 30.0 * MPH
    creep = 0.01 * 0.3 + 0.002 * 0.3**2 + 1e-5 * speed**2
    assert (row.gear, row.speed.value) == (5, pytest.approx(speed))
    assert row.rpm.value == pytest.approx(60.0 * speed * 2.0 * np.exp(creep) / 1.25)


def test_speeds_that_the_engine_cannot_take_in_a_gear_are_left_out_but_in_the_highest() -> None:
    # At 60 and 70 mph 4 turns a metre are 6,437 r/min and more; at 50 mph 5,364.
    rows = cruise_rows(at_speed(4.0, 3.4), (2, 3), ROAD, SHEET, np.zeros(DRAWS))
    told = {(row.gear, round(row.speed.value / MPH)) for row in rows if row.speed is not None}
    assert told == {(2, 30), (2, 40), (2, 50), (3, 30), (3, 40), (3, 50), (3, 60), (3, 70)}
    bare = read_build_sheet(b'units = "mph"\n', "build.toml")
    # Without a limit on the sheet: a tenth more than the drive's highest, 4,400 r/min.
    rows = cruise_rows(at_speed(4.0, 3.4, highest_rpm=4000.0), (2, 3), ROAD, bare, np.zeros(DRAWS))
    assert [row.gear for row in rows].count(2) == 2


def test_the_speed_of_a_target_is_told_beside_the_round_ones() -> None:
    text = 'units = "mph"\n[targets]\ncruise_rpm = {speed = "65 mph", at_most = 3000}\n'
    speeds = cruise_speeds(read_build_sheet(text.encode(), "build.toml"))
    assert [round(speed / MPH) for speed in speeds] == [30, 40, 50, 60, 65, 70]


def test_readings_by_hand_have_the_creep_that_is_known_beforehand() -> None:
    noted = as_noted(np.zeros((DRAWS, 1)), 4000.0)
    assert noted.creep.shape == (DRAWS, 3)
    # About 0.4 % at a push of 0.3 m/s², none by speed alone, each with its doubt.
    means = noted.creep.mean(axis=0)
    assert 0.002 < means[0] * 0.3 + means[1] * 0.09 < 0.006
    assert abs(means[2]) < 3.0 * noted.creep[:, 2].std() / DRAWS**0.5
    assert (noted.creep.std(axis=0) > 0.0).all()
