"""Whether a pull was flat out: what the drive itself shows of it, for no log has the throttle.

A slow time says something of the car only where the driver really tried. Wide open is the one
position of the pedal that a foot finds twice: power that comes back, and that nothing on the drive
exceeds, is the engine's. An engine taken near its limit was meant to give what it has.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.pulls.crossing import Path

Floats = NDArray[np.float64]

# Our choices. Repeats of one pull on a road that is not quite level agree this well; part throttle
# hardly does so twice.
SAME_POWER: Final = 0.10
SAME_TIME: Final = 0.05
MOST_SHARE: Final = 0.85  # of the most on the drive; clutch, gear and grade take the rest
REVVED_SHARE: Final = 0.8  # of the engine's limit
_LEAST_COMMON: Final = 1.0 / 3.0  # of a pull's engine speeds, to be compared over
_ROLLING_MPS2: Final = 0.15  # usual resistance: a coefficient of 0.015 ...
_AIR_PM: Final = 0.0005  # ... and 0.4 N/(m/s)² on 800 kg
_MEAN_S: Final = 1.0


@dataclass(frozen=True)
class Tried:
    """What one pull or start shows of how hard it was driven."""

    name: str
    from_rest: bool
    peak_wpkg: float  # highest mean over a second, on the level
    turns: Floats | None = None  # engine turns a second, up to a factor common to all gears
    power_wpkg: Floats | None = None  # at these
    rpm_share: float | None = None  # highest engine speed over the engine's limit
    times: Mapping[float, float] | None = None  # of a start: to each speed (m/s), s


@dataclass(frozen=True)
class Effort:
    """Whether a pull is shown to have been flat out, and by what; or what is missing."""

    flat_out: bool = False
    why: str = ""


def peak_power(path: Path) -> float:
    """Return the highest mean over a second of power over mass on the level, W/kg."""
    time, speed = path.time_s, path.speed_mps.mean(axis=0)
    if time[-1] - time[0] < _MEAN_S:
        return 0.0
    after = np.interp(time + _MEAN_S, time, speed)
    gained = (after - speed)[time + _MEAN_S <= time[-1]] / _MEAN_S
    middle = (0.5 * (after + speed))[: gained.size]
    return float(np.max(middle * (gained + _ROLLING_MPS2 + _AIR_PM * middle**2)))


def efforts(tried: Sequence[Tried]) -> dict[str, Effort]:
    """Return by name how hard each pull and start was driven."""
    most = max((one.peak_wpkg for one in tried), default=0.0)
    return {
        one.name: _of_start(one, tried, most) if one.from_rest else _of_pull(one, tried)
        for one in tried
    }


def _of_start(one: Tried, tried: Sequence[Tried], most: float) -> Effort:
    if one.peak_wpkg < MOST_SHARE * most:
        share = 100.0 * one.peak_wpkg / most
        return Effort(False, f"it used {share:.0f} % of the power that the drive shows elsewhere")
    if one.rpm_share is not None and one.rpm_share >= REVVED_SHARE:
        share = 100.0 * one.rpm_share
        return Effort(True, f"the engine was taken to {share:.0f} % of its limit")
    others = [other for other in tried if other.name != one.name]
    for other in others:
        if other.from_rest and _same_times(one, other) and _same_peak(one, other):
            return Effort(True, f"{other.name} repeats it")
    alike = [other.name for other in others if not other.from_rest and _same_peak(one, other)]
    if len(alike) >= 2:
        return Effort(True, f"{alike[0]} and {alike[1]} reach the same power and none more")
    return Effort(False, "no second start repeats it, and no engine speed near the limit was seen")


def _same_times(one: Tried, other: Tried) -> bool:
    """Return whether two starts took the same time to every speed that both reached."""
    mine, theirs = one.times or {}, other.times or {}
    shared = mine.keys() & theirs.keys()
    return bool(shared) and all(
        abs(mine[speed] - theirs[speed]) <= SAME_TIME * mine[speed] for speed in shared
    )


def _same_peak(one: Tried, other: Tried) -> bool:
    return abs(other.peak_wpkg - one.peak_wpkg) <= SAME_POWER * one.peak_wpkg


def _of_pull(one: Tried, tried: Sequence[Tried]) -> Effort:
    """Compare the power of a pull at each engine speed with that of the others, in any gear."""
    ratios = {
        other.name: ratio
        for other in tried
        if other.name != one.name and (ratio := _ratio(one, other)) is not None
    }
    if not ratios:
        return Effort(False, "no second pull shows what the engine gives at these engine speeds")
    strongest = min(ratios, key=lambda name: ratios[name])
    if ratios[strongest] < 1.0 - SAME_POWER:
        share = 100.0 * ratios[strongest]
        return Effort(
            False, f"it used {share:.0f} % of the power of {strongest} at the same engine speeds"
        )
    alike = [name for name, ratio in ratios.items() if abs(ratio - 1.0) <= SAME_POWER]
    if alike:
        return Effort(True, f"{alike[0]} gives the same power at the same engine speeds")
    return Effort(False, "no second pull gives as much at these engine speeds")


def _ratio(one: Tried, other: Tried) -> float | None:
    """Return the power of `one` over that of `other` at common engine speeds, None without."""
    if one.turns is None or other.turns is None:
        return None
    if one.power_wpkg is None or other.power_wpkg is None:
        return None
    common = (one.turns >= other.turns[0]) & (one.turns <= other.turns[-1])
    if np.mean(common) < _LEAST_COMMON:
        return None
    theirs = np.interp(one.turns[common], other.turns, other.power_wpkg)
    return float(one.power_wpkg[common].mean() / theirs.mean())
