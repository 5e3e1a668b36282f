"""A tach logger: engine speed rows, or raw pulses, on a clock that need not be right."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.simulation.lag import lagged
from tests.simulation.truth import Floats, Truth


@dataclass(frozen=True)
class Tach:
    """What kind of tach logger it is.

    True time (s since the start of the drive) = clock + offset_s + drift * clock, where clock is
    the logger's own: for a UTC logger its stamp less the drive's start. What the logger shows at a
    clock reading is lag_s old (first-order), so the figure to compare an answer with is
    `apparent_offset_s`.
    """

    rate_hz: float = 10.0
    offset_s: float = 0.0
    drift: float = 0.0
    lag_s: float = 0.15
    step_rpm: float = 10.0  # rounding; 0 none
    noise_rpm: float = 8.0
    scale: float = 1.0  # shown / true; 4 cylinders on a setting for 6 read 2/3
    missing_share: float = 0.0
    from_s: float = 0.0  # of true time
    until_s: float = math.inf

    def apparent_offset_s(self) -> float:
        """Return what is to be added to its clock, its mean delay included, at clock zero."""
        return self.offset_s - self.lag_s

    def clock(self, time_s: Floats) -> Floats:
        """Return what the logger's clock shows at true times."""
        return np.asarray((time_s - self.offset_s) / (1.0 + self.drift))


@dataclass(frozen=True, eq=False)
class TachRows:
    """What the logger wrote: its own clock (see `Tach`) and engine speed, [n] each."""

    clock_s: Floats
    rpm: Floats


def log_tach(truth: Truth, tach: Tach, seed: int) -> TachRows:
    """Return the rows a tach logger writes over a drive."""
    rng = np.random.default_rng(seed)
    end_s = min(tach.until_s, float(truth.t_s[-1]))
    count = int((end_s - tach.from_s) * tach.rate_hz)
    time = tach.from_s + np.arange(count) / tach.rate_hz
    shown = np.interp(time, truth.t_s, lagged(truth.engine_rpm, truth.step_s, tach.lag_s))
    shown = tach.scale * shown + rng.normal(0.0, tach.noise_rpm, count)
    if tach.step_rpm > 0.0:
        shown = tach.step_rpm * np.round(shown / tach.step_rpm)
    kept = rng.random(count) >= tach.missing_share
    return TachRows(tach.clock(time)[kept], np.maximum(shown, 0.0)[kept])


def interpolated(rows: TachRows, every_s: float) -> TachRows:
    """Return rows brought to an even clock of another log, as some loggers write them.

    Between two readings a straight line is drawn: a row during a change of gear blends two gears.
    """
    clock = np.arange(float(rows.clock_s[0]), float(rows.clock_s[-1]), every_s)
    return TachRows(clock, np.interp(clock, rows.clock_s, rows.rpm))


@dataclass(frozen=True)
class Pulses:
    """How an ignition or flywheel pickup counts."""

    per_rev: float = 2.0
    jitter_s: float = 2e-5
    missed_share: float = 0.0
    doubled_share: float = 0.0  # a second pulse soon after the first (contact bounce)
    bounce_s: float = 0.0012


def log_pulses(truth: Truth, tach: Tach, pulses: Pulses, seed: int) -> Floats:
    """Return pulse times on the logger's clock, increasing. Rate, lag and rounding do not apply."""
    rng = np.random.default_rng(seed)
    legs = 0.5 * (truth.engine_rpm[1:] + truth.engine_rpm[:-1]) / 60.0 * np.diff(truth.t_s)
    turns = np.concatenate(([0.0], np.cumsum(legs)))
    marks = np.arange(1, int(turns[-1] * pulses.per_rev)) / pulses.per_rev
    time = np.interp(marks, turns, truth.t_s) + rng.normal(0.0, pulses.jitter_s, marks.size)
    time = time[(time >= tach.from_s) & (time <= tach.until_s)]
    time = time[rng.random(time.size) >= pulses.missed_share]
    bounced = time[rng.random(time.size) < pulses.doubled_share] + pulses.bounce_s
    return tach.clock(np.sort(np.concatenate((time, bounced))))
