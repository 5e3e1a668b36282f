"""Pulls: sustained acceleration in one gear, or from rest through the gears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres.model import Manoeuvre
from roadtest.manoeuvres.profile import STEP_S, Profile, built_up, died_down, runs
from roadtest.quantity import COVERAGE_FACTOR_95

Floats = NDArray[np.float64]

PULLING_MPS2: Final = 0.25
"""A small car in top gear at full throttle still gains this much on a slight rise."""
LEAST_GAIN_MPS: Final = 5.0
_LEAST_S: Final = 1.5
_SHIFT_S: Final = 2.0  # longest gear change of a standing start
_SHIFT_LOSS_MPS: Final = 1.5
_HALF_S: Final = 0.5  # of the second over which power is a mean
FULL_SHARE: Final = 0.5
"""An engine held open through a pull gives at least half of the most it ever gives: torque curves
are that flat. What stays below half of the drive's best was driven on part throttle."""
SHIFTED_SHARE: Final = 0.75
"""The same for a pull that a change up ends: who pulls hard through the gears changes up near the
most power, who drives briskly does so early."""
STANDING_SHARE: Final = 0.4
"""The same for the mean over a standing start, clutch and gear changes and all."""
LEAST_WPKG: Final = 22.0
"""Power a kilogram at the wheels that a pull reaches; in town nobody uses as much. Common
practice, no published source."""
STANDING_WPKG: Final = 20.0
"""Mean over a standing start. A car that takes 25 s to 60 mph gives it: 14 W/kg into speed, 6
against air and tyres."""
LEAST_ROTATING, MOST_ROTATING = 1.06, 1.25
"""Effective mass over mass in top gear and in second, for as long as the gear is not known."""
_ROLLING_MPS2: Final = 0.15  # usual resistance, for the power: a coefficient of 0.015 ...
_AIR_PM: Final = 0.0005  # ... and 0.4 N/(m/s)² on 800 kg


@dataclass(frozen=True)
class Pull:
    """One stretch of sustained acceleration."""

    start_s: float
    end_s: float
    from_rest: bool
    power_wpkg: float  # highest mean over a second, of what moves the car's own mass
    least_wpkg: float  # the same with rotating parts, and no more than it surely was
    most_wpkg: float  # and no less
    mean_wpkg: float  # over the whole
    shifted: bool  # a gear change ends it, and the car gathers speed again at once


def find_pulls(profile: Profile) -> list[Manoeuvre]:
    """Return every pull in the order driven, ids still to be given."""
    powers = _Powers.of(profile)
    found = []
    gathering = _through_gears(profile, runs(profile.slope_mps2 > PULLING_MPS2))
    for k, (first, last) in enumerate(gathering):
        gain = profile.speed_mps[last - 1] - profile.speed_mps[first]
        if gain >= LEAST_GAIN_MPS and (last - first) * STEP_S >= _LEAST_S:
            shifted = k + 1 < len(gathering) and _gear_change(profile, last, gathering[k + 1][0])
            found.append(_pull(profile, (first, last), powers, shifted=shifted))
    # The best of many noisy figures is too high; the best of their lower bounds is not.
    best = max((pull.least_wpkg for pull in found), default=0.0)
    return [_judged(profile, pull, best) for pull in found]


@dataclass(frozen=True)
class _Powers:
    """Power over mass at the wheels on the level, W/kg, mean over a second; [n] each."""

    plain: Floats  # that goes into the car's own mass
    least: Floats  # with rotating parts in the gear that adds least, lower end of the interval
    most: Floats  # in the one that adds most, upper end

    @classmethod
    def of(cls, profile: Profile) -> _Powers:
        speed, slope = profile.speed_mps, profile.slope(_HALF_S)
        resisted = _ROLLING_MPS2 + _AIR_PM * speed**2
        half = round(_HALF_S / STEP_S)
        u_speed = np.pad(profile.u_speed_mps, half, mode="edge")
        # Errors of speed that last cancel in the slope: taken as independent, it is not too sure.
        u_slope = np.hypot(u_speed[: -2 * half], u_speed[2 * half :]) / (2.0 * _HALF_S)
        least = LEAST_ROTATING * (slope - COVERAGE_FACTOR_95 * u_slope)
        most = MOST_ROTATING * (slope + COVERAGE_FACTOR_95 * u_slope)
        return cls(
            speed * (slope + resisted), speed * (least + resisted), speed * (most + resisted)
        )


def _through_gears(profile: Profile, found: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the runs, those of a standing start joined over its gear changes."""
    joined: list[tuple[int, int]] = []
    for start, end in found:
        if (
            joined
            and _from_rest(profile, joined[-1][0])
            and _gear_change(profile, joined[-1][1], start)
        ):
            joined[-1] = (joined[-1][0], end)
            continue
        joined.append((start, end))
    return joined


def _gear_change(profile: Profile, before: int, after: int) -> bool:
    """Return whether a pause in gathering speed, [before, after), is short enough for one."""
    loss = profile.speed_mps[before - 1] - profile.speed_mps[after]
    return (after - before) * STEP_S <= _SHIFT_S and bool(loss < _SHIFT_LOSS_MPS)


def _from_rest(profile: Profile, first: int) -> bool:
    return bool(profile.resting[max(first - round(1.0 / STEP_S), 0) : first + 2].any())


def _pull(profile: Profile, run: tuple[int, int], powers: _Powers, *, shifted: bool) -> Pull:
    first, last = run
    from_rest = _from_rest(profile, first)
    start = _first_motion(profile, first, last) if from_rest else _opened(profile, first, last)
    part = powers.plain[first:last]
    mean = float(part[min(10, part.size // 2) :].mean())  # the first second has little speed yet
    return Pull(
        start_s=start,
        end_s=_closed(profile, first, last),
        from_rest=from_rest,
        power_wpkg=float(part.max()),
        least_wpkg=float(powers.least[first:last].max()),
        most_wpkg=float(powers.most[first:last].max()),
        mean_wpkg=mean,
        shifted=shifted,
    )


def _first_motion(profile: Profile, first: int, last: int) -> float:
    """Return when the car began to move: the way it gathers speed, traced back to standing."""
    speed, time = profile.speed_mps, profile.time_s
    low = max(0.5, 3.0 * float(profile.u_speed_mps[first : first + round(3.0 / STEP_S)].max()))
    above = np.flatnonzero(speed[first:last] >= low + 2.0)
    if above.size == 0:
        return float(time[first])
    finish = first + int(above[0])
    below = np.flatnonzero(speed[:finish] < low)
    begin = int(below[-1]) if below.size else first
    rate = (speed[finish] - speed[begin]) / (time[finish] - time[begin])
    return float(time[begin] - speed[begin] / rate)


def _opened(profile: Profile, first: int, last: int) -> float:
    """Return when the acceleration rose through half of what the pull begins with."""
    accel = profile.acceleration_mps2
    level = float(np.median(accel[first : min(first + 20, last)]))
    return built_up(profile.time_s, accel, (first, last), 0.5 * level)


def _closed(profile: Profile, first: int, last: int) -> float:
    """Return when the acceleration fell through half of what the pull ends with."""
    accel = profile.acceleration_mps2
    level = float(np.median(accel[max(last - 20, first) : last]))
    return died_down(profile.time_s, accel, (first, last), 0.5 * level)


def _judged(profile: Profile, pull: Pull, best_wpkg: float) -> Manoeuvre:
    why = None
    gap = profile.gap_within(pull.start_s, pull.end_s)
    if gap:
        why = f"no usable fixes from {gap[0]:.1f} s to {gap[1]:.1f} s"
    elif pull.power_wpkg < LEAST_WPKG:
        why = f"part throttle: {pull.power_wpkg:.0f} W/kg at most, a pull gives {LEAST_WPKG:g}"
    elif pull.most_wpkg < FULL_SHARE * best_wpkg:
        why = (
            f"part throttle: {pull.most_wpkg:.0f} W/kg at most, less than half of the "
            f"{best_wpkg:.0f} W/kg or more of the strongest pull"
        )
    elif pull.shifted and pull.most_wpkg < SHIFTED_SHARE * best_wpkg:
        why = (
            f"part throttle or an early change up: {pull.most_wpkg:.0f} W/kg at most, less than "
            f"three quarters of the {best_wpkg:.0f} W/kg or more of the strongest pull"
        )
    elif pull.from_rest and pull.mean_wpkg < max(STANDING_WPKG, STANDING_SHARE * best_wpkg):
        least = max(STANDING_WPKG, STANDING_SHARE * best_wpkg)
        why = (
            f"part throttle: {pull.mean_wpkg:.0f} W/kg on average from rest, "
            f"a standing start gives {least:.0f}"
        )
    return Manoeuvre(
        id="",
        kind="pull",
        start_s=pull.start_s,
        end_s=pull.end_s,
        from_rest=pull.from_rest,
        used=why is None,
        why_not=why,
    )
