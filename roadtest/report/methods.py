"""How each figure was got, in a sentence."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from roadtest.results import Results

_SPEED: Final = (
    "Speed, acceleration, distance",
    "a joint posterior over the whole drive from the receiver's reports, their noise and its slow "
    "part estimated from the log and from published comparisons. Other figures are worked out on "
    "joint draws of it, or of a model of their own given the same reports where that is said; "
    "intervals are the spread of the results (JCGM 101), what the instruments may be off by as a "
    "whole drawn beside",
)
_SPEEDOMETER: Final = (
    "Speedometer",
    "the dial as read, its division allowed for, against the mean true speed of the hold; "
    "dial = scale × true + offset is a straight line with errors in both",
)
_ODOMETER: Final = (
    "Odometer",
    "the distance it counted between readings, its last digit allowed for, over the distance "
    "driven between the same moments",
)
_GEARING: Final = (
    "Gear ratios, axle, roll-out",
    "engine revolutions per metre, sample by sample, decoded into gears; ratios are weighted means "
    "over settled, lightly loaded driving, freed of what the receiver's smoothing and a slipping "
    "clutch did to them. Steps between gears need neither tyre nor axle; the axle "
    "takes the tyre as given, the roll-out takes the axle as given",
)
_TACH: Final = (
    "Tachometer",
    "engine speed shown over the engine speed that the most probable gears, axle and tyre make of "
    "the road speed; its clock set by the best agreement of the two over the whole drive",
)
_SLIP: Final = (
    "Clutch slip",
    "engine speed over that of the same gear under light load, by draws of one clutch for all "
    "pulls, which is sound or slips where it carries more torque than it holds; the largest kept "
    "up for a second",
)
_CRUISE: Final = (
    "Engine speed when cruising",
    "engine revolutions per metre of the gear, the tyre's creep at a steady speed included, times "
    "the road speed, on a level road in still air",
)
_BRAKING: Final = (
    "Deceleration in stops",
    "mean fully developed deceleration: between 0.8 and 0.1 of the initial speed, over distance "
    "(UN R13-H), by a model of a foot that comes onto the brake and holds it, given the fixes of "
    "the stop; level: the road's grade taken out, how well it is known in the interval. Peak: the "
    "largest mean over 0.1 s. Build-up: from the beginning of deceleration to 0.9 of the mean",
)
_STOPPING: Final = (
    "Stopping distance",
    "from the beginning of braking deceleration to rest; brought to the speed named by the square "
    "of the ratio of the two speeds, where they are within 15 %",
)
_STRAIGHT: Final = (
    "Drift and heading",
    "the path of the stop against the line of approach over its last second before; a bend of the "
    "road is allowed for",
)
_LIKE: Final = (
    "Fade and spread",
    "over stops from speeds within 10 % of each other: the last deceleration over the first, and "
    "standard deviation over mean",
)
_COASTING: Final = (
    "Rolling coefficient, drag area",
    "the road load f0 + f1·v + f2·v² fitted to the speeds of runs out of gear, grade and wind in "
    "the interval, opposite runs paired where there are any; rotating parts count as mass",
)
_PULLS: Final = (
    "Pulls",
    "acceleration as a smooth curve of speed, fitted as the receiver's smoothing shows it; times "
    "between speeds along that curve, where speeds are logged and as far as it reaches, else by "
    "the moments of crossing, found between fixes; power at the wheels from mass, rotating parts, "
    "drag, rolling and grade",
)
_STANDING: Final = ("Standing starts", "timed from first motion, found between fixes")
_CHANNELS: Final = ("Channels", "lowest and highest value as logged, the sender taken at its word")
_PATH: Final = ("Path and grade", "smoothed positions and altitudes of the receiver")


def methods(results: Results) -> tuple[tuple[str, str], ...]:
    """Return what was measured, and how."""
    return tuple((what, f"{how[0].upper()}{how[1:]}.") for what, how in _of(results))


def _of(results: Results) -> Iterator[tuple[str, str]]:
    gearing, braking, pulls = results.gearing, results.braking, results.pulls
    stops = braking.stops
    for sentence, there in (
        (_SPEED, results.drive.distance is not None),
        (_PATH, results.drive.distance is not None),
        (_SPEEDOMETER, bool(results.speedometer.readings)),
        (_ODOMETER, results.odometer.scale is not None),
        (_GEARING, bool(gearing.gears)),
        (_TACH, results.tach.scale is not None or results.tach.offset_s is not None),
        (_SLIP, bool(gearing.slips)),
        (_CRUISE, bool(gearing.cruise)),
        (_BRAKING, bool(stops)),
        (_STOPPING, any(stop.distance is not None for stop in stops)),
        (_STRAIGHT, any(stop.drift is not None for stop in stops)),
        (_LIKE, braking.fade is not None or braking.spread is not None),
        (_COASTING, bool(results.coasting.runs)),
        (_PULLS, bool(pulls.runs)),
        (_STANDING, bool(pulls.standing)),
        (_CHANNELS, bool(results.channels)),
    ):
        if there:
            yield sentence
