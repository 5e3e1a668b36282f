"""Engine speed at cruising speeds, in each gear, as the drive shows it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet, CruiseLimit
from roadtest.measures.gearing.follow import Followed
from roadtest.measures.gearing.kinematics import engine_rpm
from roadtest.measures.gearing.ratios import Fit
from roadtest.measures.gearing.road import Road
from roadtest.quantity import Quantity
from roadtest.results import CruiseRow
from roadtest.units import to_si

Floats = NDArray[np.float64]

_MPH: Final = (30.0, 40.0, 50.0, 60.0, 70.0)
_KMPH: Final = (50.0, 70.0, 80.0, 100.0, 120.0)
_BEYOND: Final = 1.1  # times the highest engine speed of the drive, where the sheet has no limit


def cruise_speeds(sheet: BuildSheet) -> tuple[float, ...]:
    """Return the speeds told, m/s: round ones in the sheet's units, and those asked for."""
    round_ones = _MPH if sheet.units == "mph" else _KMPH
    speeds = [to_si(value, sheet.units) for value in round_ones]
    for target in sheet.targets.named("cruise_rpm"):
        if isinstance(target.value, CruiseLimit):
            wanted = target.value.speed_mps
            if all(abs(wanted - speed) > 1e-3 * wanted for speed in speeds):
                speeds.append(wanted)
    return tuple(sorted(speeds))


def cruise_rows(
    followed: Followed,
    gears: tuple[int, ...],
    road: Road,
    sheet: BuildSheet,
    tach_scale: Floats,
) -> tuple[CruiseRow, ...]:
    """Return true engine speed in every gear at every speed the engine can take in it.

    On a level road in still air, the tyres' creep at a steady speed included, as the drive shows
    it. `tach_scale` are draws [c] of the log of shown over true engine speed.
    """
    fit = followed.fit
    if fit is None:
        return ()
    coefficient = fit.draws(tach_scale.size, np.random.default_rng(0))
    highest = sheet.engine.limit_rpm or _BEYOND * float(followed.turns.rpm.max())
    rows = []
    for k, gear in enumerate(gears):
        for speed in cruise_speeds(sheet):
            log_turns = coefficient[:, k] + _at_cruise(fit, coefficient, road, speed)
            rpm = engine_rpm(speed, np.exp(log_turns - tach_scale))
            if rpm.mean() <= highest or k == len(gears) - 1:
                exact = Quantity(speed, 0.0, "m/s")
                rows.append(CruiseRow(gear, exact, Quantity.from_draws(rpm, "r/min")))
    return tuple(rows)


def _at_cruise(fit: Fit, coefficient: Floats, road: Road, speed_mps: float) -> Floats:
    """Return draws [c] of what creep and speed add to the log turns per metre."""
    push = float(road.drag.at(np.array([speed_mps]))[0])
    k = fit.count
    added = coefficient[:, k + 2] * push + coefficient[:, k + 3] * push * abs(push)
    return np.asarray(added + coefficient[:, k + 4] * speed_mps**2)
