"""One stop or snub: every figure of it as draws, one for each draw of the motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking.curves import Curves
from roadtest.measures.braking.onset import Onset, find_onset
from roadtest.measures.mfdd import (
    LOWER_SHARE,
    UPPER_SHARE,
    mean_fully_developed_deceleration,
)
from roadtest.measures.smoothing import unsmoothed
from roadtest.motion.estimate import Draws, Motion

Floats = NDArray[np.float64]

_PEAK_S = 0.1  # formats: the largest mean over 0.1 s
_PEAK_STEP_S = 0.02
# On either side of the moment at which the pedal is let go (our choices): what a foot takes for
# it, and how long a straight line is laid through the motion before and after.
_CORNER_S = 0.2
_SIDE_S = 0.6
_SIDE_POINTS = 7
_DRAG_MPS2 = 0.7  # of engine and air, foot off both pedals: half to one in a middle gear
_REST_MPS = 0.1  # below it a receiver does not tell rolling from standing; it is a centimetre
BUILT_UP_SHARE = 0.9  # of the mean fully developed deceleration


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
    onset = find_onset(motion, mean_path, manoeuvre.start_s, smoothing_s, rng)
    if onset is None:
        return None
    curves = Curves(unsmoothed(shown, smoothing_s))
    initial = onset.speed_mps
    upper_s = curves.falls_to(UPPER_SHARE * initial, onset.time_s)
    lower_s = curves.falls_to(LOWER_SHARE * initial, onset.time_s)
    upper, lower = curves.at(upper_s), curves.at(lower_s)
    mfdd = np.full(curves.count, np.nan)
    if manoeuvre.to_rest:
        developed = lower.distance_m - upper.distance_m
        mfdd = mean_fully_developed_deceleration(
            UPPER_SHARE * initial, LOWER_SHARE * initial, developed
        )
        last = _rest(curves, onset, (lower_s, lower.distance_m), mfdd)
    else:
        last = _let_go(curves, manoeuvre.end_s, _spacing(motion, manoeuvre.end_s), rng)
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
        peak_mps2=_peak(curves, onset.time_s, lower_s if manoeuvre.to_rest else last.time_s, rng),
        mean_mps2=mean_fully_developed_deceleration(initial, last.speed_mps, distance),
        build_up_s=_build_up(onset, mfdd),
    )


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


def _let_go(curves: Curves, end_s: float, spacing_s: float, rng: np.random.Generator) -> _End:
    """Return where the pedal is let go: where the braking before and the rolling after it meet.

    Nobody sees the corner itself: the motion's estimate rounds it off, which shows the speed there
    too high. So a straight line is laid through the braking, and met by the rolling that leads to
    the speed seen shortly after, along which it hardly changes.

    end_s : as the manoeuvre has it
    spacing_s : between fixes
    """
    last_s = float(curves.time_s[-1])
    end_s = min(end_s, last_s)
    away = max(_CORNER_S, 0.5 * spacing_s)
    away = max(min(away, last_s - _SIDE_S - end_s), 0.0)
    into = np.linspace(0.0, _SIDE_S, _SIDE_POINTS)
    before, slowing = _line(curves, end_s - away - into)
    after, _ = _line(curves, end_s + away + into)
    # Too short to be seen between fixes: out of gear, in gear off the throttle, or driven already.
    rolling = rng.uniform(-_DRAG_MPS2, 0.0, size=after.size)
    # Lines as seen from the corner: t0 = (after - before) / (slowing - rolling).
    turn = slowing - rolling
    before, after = before + slowing * away, after - rolling * away
    sharp = np.where(turn < 0.0, turn, np.nan)
    meet = np.nan_to_num(np.clip((after - before) / sharp, -away, away))
    speed = np.maximum(after + rolling * meet, 0.0)
    time = np.minimum(end_s + meet, last_s)
    return _End(time, speed, curves.at(time).distance_m)


def _line(curves: Curves, times_s: Floats) -> tuple[Floats, Floats]:
    """Return speed [c] at the first of some evenly spaced times and slope [c] of a line."""
    speed = np.array([curves.at(np.full(curves.count, t)).speed_mps for t in times_s])
    slope, level = np.polyfit(times_s - times_s[0], speed, 1)
    return level, slope


def _spacing(motion: Motion, near_s: float) -> float:
    """Return the usual time between fixes about a moment."""
    time = motion.time_s[motion.observed.seen]
    at = int(np.searchsorted(time, near_s))
    return float(np.median(np.diff(time[max(at - 10, 0) : at + 10])))


def _peak(curves: Curves, start_s: Floats, end_s: Floats, rng: np.random.Generator) -> Floats:
    """Return the largest mean deceleration over 0.1 s in each draw, m/s².

    The largest of a draw's means is too high, for the draw's own noise is picked out with it; the
    mean at the moment at which the mean path has its largest is too low, for the peak may be
    elsewhere. Which of them is nearer is not known: each draw takes one of the two.
    """
    times = np.arange(float(np.median(start_s)), float(np.median(end_s)), _PEAK_STEP_S)
    lag = round(_PEAK_S / _PEAK_STEP_S)
    if times.size <= lag:
        return np.full(curves.count, np.nan)
    speed = np.array([curves.at(np.full(curves.count, t)).speed_mps for t in times])
    means = (speed[:-lag] - speed[lag:]) / _PEAK_S
    at_mean_peak = means[int(np.argmax(means.mean(axis=1)))]
    return np.asarray(np.where(rng.random(curves.count) < 0.5, means.max(axis=0), at_mean_peak))


def _build_up(onset: Onset, mfdd_mps2: Floats) -> Floats:
    """Return the time [c] from the beginning to 0.9 of the mean fully developed deceleration."""
    missing = BUILT_UP_SHARE * mfdd_mps2 + onset.before_mps2
    full = -onset.braking_mps2
    on_ramp = onset.rise_s * missing / full
    growth = -onset.change_mps3
    later = 0.5 * onset.rise_s + (missing - full) / np.where(growth > 0.0, growth, np.nan)
    return np.where(missing <= full, np.clip(on_ramp, 0.0, None), later)
