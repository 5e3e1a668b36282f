"""Engine speed at cruising speeds, in each gear, as the drive shows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet, CruiseLimit
from roadtest.measures.gearing import creep
from roadtest.measures.gearing.follow import Followed
from roadtest.measures.gearing.kinematics import engine_rpm
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


@dataclass(frozen=True)
class AtSpeed:
    """What engine speed at a road speed is made of, joint draws: [c, k] and [c, 3].

    `turns` are the gears' log engine turns per metre as shown; `creep` is what is added per push,
    per push · |push| and per speed².
    """

    turns: Floats
    creep: Floats
    highest_rpm: float  # of the drive


def as_logged(followed: Followed, count: int) -> AtSpeed | None:
    """Return what a tach log shows, None where no gears were told."""
    fit = followed.fit
    if fit is None:
        return None
    drawn = fit.draws(count, np.random.default_rng(0))
    k = fit.count
    return AtSpeed(drawn[:, :k], drawn[:, k + 2 : k + 5], float(followed.turns.rpm.max()))


def as_noted(turns: Floats, highest_rpm: float) -> AtSpeed:
    """Return what readings noted by hand show: the tyres' creep as it is known beforehand."""
    rng = np.random.default_rng(0)
    mean = [creep.LINEAR, creep.SQUARE, 0.0]
    u = [creep.U_LINEAR, creep.U_SQUARE, creep.U_GROWTH_PM2]
    return AtSpeed(turns, rng.normal(mean, u, (turns.shape[0], 3)), highest_rpm)


def cruise_rows(
    shown: AtSpeed, gears: tuple[int, ...], road: Road, sheet: BuildSheet, tach_scale: Floats
) -> tuple[CruiseRow, ...]:
    """Return true engine speed in every gear at every speed the engine can take in it.

    On a level road in still air, the tyres' creep at a steady speed included. `tach_scale` are
    draws [c] of the log of shown over true engine speed.
    """
    highest = sheet.engine.limit_rpm or _BEYOND * shown.highest_rpm
    rows = []
    for k, gear in enumerate(gears):
        for speed in cruise_speeds(sheet):
            push = float(road.drag.at(np.array([speed]))[0])
            added = shown.creep @ [push, push * abs(push), speed**2]
            rpm = engine_rpm(speed, np.exp(shown.turns[:, k] + added - tach_scale))
            if rpm.mean() <= highest or k == len(gears) - 1:
                exact = Quantity(speed, 0.0, "m/s")
                rows.append(CruiseRow(gear, exact, Quantity.from_draws(rpm, "r/min")))
    return tuple(rows)
