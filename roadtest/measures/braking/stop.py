"""One stop or snub: every figure of it as draws, one for each draw of the motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking.curves import Curves
from roadtest.measures.braking.developed import built_up_s, developed_mps2
from roadtest.measures.braking.onset import Onset, find_onset
from roadtest.measures.braking.peak import peak_draws
from roadtest.measures.braking.seen import fixes_between
from roadtest.measures.mfdd import (
    LOWER_SHARE,
    UPPER_SHARE,
    mean_fully_developed_deceleration,
)
from roadtest.measures.smoothing import alike, unsmoothed
from roadtest.motion.estimate import Draws, Motion

Floats = NDArray[np.float64]

# On either side of the moment at which the pedal is let go (our choices): what a foot takes for
# it, how long a straight line is laid through the braking before, and how long after it a car rolls
# before it is driven again.
_CORNER_S = 0.2
_SIDE_S = 0.6
_SOON_S = 0.3
_SIDE_POINTS = 7
_ROUNDS = 3
_DRAG_MPS2 = 0.7  # of engine and air, foot off both pedals: half to one in a middle gear
_LAST_SHARE = 0.05  # of the initial speed: from there on some ease the pedal
_REST_MPS = 0.1  # below it a receiver does not tell rolling from standing; it is a centimetre


@dataclass(frozen=True)
class StopDraws:
    """A stop (or, with `to_rest` False, a snub) in c draws; [c] each, NaN where it is not shown."""

    manoeuvre: Manoeuvre
    onset: Onset
    initial_mps: Floats
    final_mps: Floats
    end_s: Floats
    distance_m: Floats
    upper_s: Floats  # when speed falls to 0.8 of the initial one
    lower_s: Floats  # when it falls to 0.1
    mfdd_mps2: Floats
    peak_mps2: Floats
    mean_mps2: Floats  # over the distance: (initial² - final²) / (2 · distance)
    build_up_s: Floats


def measure_stop(
    manoeuvre: Manoeuvre,
    shown: Draws,
    smoothing_s: Floats,
    motion: Motion,
    rng: np.random.Generator,
) -> StopDraws | None:
    """Return the figures of a stop or snub; None where the log doesn't show its beginning.

    Parameters
    ----------
    shown : the motion as the receiver shows it, c draws
    smoothing_s : [c], the time constant with which it smooths its speed
    """
    # Of a snub nothing after the pedal is let go says how it began.
    slowing = shown.time_s <= (np.inf if manoeuvre.to_rest else manoeuvre.end_s)
    mean_path = shown.time_s[slowing], shown.speed_mps.mean(axis=0)[slowing]
    curves = Curves(unsmoothed(shown, smoothing_s))
    stretch = manoeuvre.start_s, _until(manoeuvre, curves)
    onset = find_onset(motion, mean_path, stretch, smoothing_s, rng)
    if onset is None:
        return None
    initial = onset.speed_mps
    upper_s = curves.falls_to(UPPER_SHARE * initial, onset.time_s)
    lower_s = curves.falls_to(LOWER_SHARE * initial, onset.time_s)
    lower = curves.at(lower_s)
    mfdd = np.full(curves.count, np.nan)
    if manoeuvre.to_rest:
        mfdd = developed_mps2(onset)
        last = _rest(curves, onset, (lower_s, lower.distance_m), mfdd)
    else:
        # The corner is shown late by the receiver's smoothing, which is taken out of the curves.
        spacing_s = _spacing(motion, manoeuvre.end_s)
        at_s = manoeuvre.end_s - float(np.median(smoothing_s))
        last = _let_go(curves, np.full(curves.count, at_s), spacing_s, rng)
    join = curves.at(onset.join_s)
    distance = onset.way_m + last.distance_m - join.distance_m
    return StopDraws(
        manoeuvre=manoeuvre,
        onset=onset,
        initial_mps=initial,
        final_mps=last.speed_mps,
        end_s=last.time_s,
        distance_m=distance,
        upper_s=upper_s,
        lower_s=lower_s,
        mfdd_mps2=mfdd,
        peak_mps2=_peak(motion, mean_path, onset, last.time_s, smoothing_s, rng),
        mean_mps2=mean_fully_developed_deceleration(initial, last.speed_mps, distance),
        build_up_s=built_up_s(onset, mfdd),
    )


def _until(manoeuvre: Manoeuvre, curves: Curves) -> float:
    """Return up to when a foot's braking is looked at: as far as it is fully developed.

    Of a snub, as long as it lasts. Some ease the pedal as the car comes to rest.
    """
    if not manoeuvre.to_rest:
        return manoeuvre.end_s
    speed = curves.draws.speed_mps.mean(axis=0)
    slow = _LAST_SHARE * float(np.interp(manoeuvre.start_s, curves.time_s, speed))
    past = np.flatnonzero((curves.time_s > manoeuvre.start_s) & (speed <= slow))
    return float(curves.time_s[past[0]]) if past.size else manoeuvre.end_s


@dataclass(frozen=True)
class _End:
    """Where a stop or snub ends, [c] each."""

    time_s: Floats
    speed_mps: Floats
    distance_m: Floats


def _rest(curves: Curves, onset: Onset, lower: tuple[Floats, Floats], mfdd_mps2: Floats) -> _End:
    """Return where the car rests.

    A draw that never quite comes to rest (positions wander while a car stands) goes on evenly from
    a tenth of the initial speed, time and distance [c] of which are `lower`.
    """
    slow_s = curves.falls_to(np.full(curves.count, _REST_MPS), onset.time_s)
    shown = np.isfinite(slow_s)
    tenth = LOWER_SHARE * onset.speed_mps
    time = np.where(shown, slow_s + _REST_MPS / mfdd_mps2, lower[0] + tenth / mfdd_mps2)
    goes_on = lower[1] + 0.5 * tenth**2 / mfdd_mps2
    distance = np.where(shown, curves.at(slow_s).distance_m, goes_on)
    return _End(time, np.zeros(curves.count), distance)


def _let_go(curves: Curves, end_s: Floats, spacing_s: float, rng: np.random.Generator) -> _End:
    """Return where the pedal is let go: where the braking before and the rolling after it meet.

    Nobody sees the corner itself: the motion's estimate rounds it off, which shows the speed there
    too high. So a straight line is laid through the braking, and met by the rolling that leads to
    the speed seen shortly after, along which it hardly changes.

    end_s : [c], about when
    spacing_s : between fixes
    """
    last_s = float(curves.time_s[-1])
    # Too short to be seen between fixes: out of gear, in gear off the throttle, or driven already.
    rolling = rng.uniform(-_DRAG_MPS2, 0.0, size=curves.count)
    for _ in range(_ROUNDS):  # where they meet, both are looked at anew
        end_s = np.minimum(end_s, last_s)
        away = np.clip(last_s - _SIDE_S - end_s, 0.0, max(_CORNER_S, 0.5 * spacing_s))
        meet, speed = _meet(curves, end_s, away, rolling)
        time = np.minimum(end_s + meet, last_s)
        end_s = np.full(curves.count, float(np.mean(time)))
    return _End(time, speed, curves.at(time).distance_m)


def _meet(
    curves: Curves, end_s: Floats, away_s: Floats, rolling_mps2: Floats
) -> tuple[Floats, Floats]:
    """Return when after `end_s` [c] the braking before and the rolling after it meet, and where.

    Of lines from `away_s` off: t0 = (after - before) / (slowing - rolling).
    """
    into = np.linspace(0.0, _SIDE_S, _SIDE_POINTS)
    slowing, before = np.polyfit(-into, _speeds(curves, end_s - away_s, -into), 1)
    soon = np.linspace(0.0, _SOON_S, _SIDE_POINTS)
    after = _speeds(curves, end_s + away_s, soon).mean(axis=0)
    before = before + slowing * away_s
    after = after - rolling_mps2 * (away_s + 0.5 * _SOON_S)
    turn = slowing - rolling_mps2
    sharp = np.where(turn < 0.0, turn, np.nan)
    meet = np.nan_to_num(np.clip((after - before) / sharp, -away_s, away_s))
    return meet, np.maximum(after + rolling_mps2 * meet, 0.0)


def _speeds(curves: Curves, from_s: Floats, into_s: Floats) -> Floats:
    """Return speeds [p, c] at `into_s` [p] after each draw's own time [c]."""
    return np.array([curves.at(from_s + t).speed_mps for t in into_s])


def _spacing(motion: Motion, near_s: float) -> float:
    """Return the usual time between fixes about a moment."""
    time = motion.time_s[motion.observed.seen]
    at = int(np.searchsorted(time, near_s))
    return float(np.median(np.diff(time[max(at - 10, 0) : at + 10])))


def _peak(
    motion: Motion,
    mean_path: tuple[Floats, Floats],
    onset: Onset,
    end_s: Floats,
    smoothing_s: Floats,
    rng: np.random.Generator,
) -> Floats:
    """Return draws [c] of the largest mean deceleration over 0.1 s; NaN where nothing shows it."""
    peak = np.full(end_s.size, np.nan)
    for part in alike(smoothing_s):
        on = float(np.median((onset.time_s + onset.rise_s)[part]))
        off = float(np.nanmedian(end_s[part]))
        fixes = fixes_between(motion, mean_path, on, off)
        if fixes is not None:
            lag = float(smoothing_s[part].mean())
            peak[part] = peak_draws(fixes, (on, off), lag, part.size, rng)
    return peak
