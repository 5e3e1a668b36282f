"""Engine-speed samples: whatever the tach logged, as one even kind of row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.logs.model import Clock, TachLog
from roadtest.measures.gearing import pulses

Floats = NDArray[np.float64]

_MOST_HZ: Final = 12.0
"""Faster logs are averaged down to about ten a second: a car's engine speed says no more."""
_STEPS_RPM: Final = (100.0, 50.0, 25.0, 20.0, 10.0, 5.0, 1.0)
_LIVELY_HZ: Final = 3.0  # in slower logs neighbouring samples differ by what the engine does
_USUAL_NOISE_RPM: Final = 8.0  # of them (our choice); the fit finds what is on top
_ASSUMED_PULSES_PER_REV: Final = 2.0  # a four-cylinder four-stroke with one coil


@dataclass(frozen=True)
class EngineSamples:
    """Engine speed against time, [n] each, in order of time.

    `time_s` is seconds since the start of the drive for a log with a calendar clock (as far as
    that clock is right), seconds of the log's own clock for one without.
    """

    name: str
    clock: Clock
    time_s: Floats
    rpm: Floats
    u_rpm: float  # standard, of one sample, without rounding
    step_rpm: float  # rounding, 0 none
    rate_hz: float
    remarks: tuple[str, ...] = ()


def engine_samples(
    logs: Sequence[TachLog], sheet: BuildSheet, start_unix_s: float
) -> tuple[EngineSamples, ...]:
    """Return the samples of each log that has any; logs that continue one another are joined."""
    made = [_samples(log, sheet, start_unix_s) for log in logs]
    made = [samples for samples in made if samples.time_s.size >= 10]
    return tuple(_join(made))


def _samples(log: TachLog, sheet: BuildSheet, start_unix_s: float) -> EngineSamples:
    time = log.time_s
    remarks: tuple[str, ...] = ()
    if log.rpm is None:
        time, rpm, remarks = _from_pulses(log, sheet)
    else:
        rpm = log.rpm
    if log.clock == "local":
        time = time - sheet.utc_offset_s
    if log.clock != "elapsed":
        time = time - start_unix_s
    good = np.isfinite(time) & np.isfinite(rpm)
    time, rpm = time[good], rpm[good]
    step = _rounding(rpm)
    time, rpm = _thinned(time, rpm)
    rate = 1.0 / float(np.median(np.diff(time))) if time.size > 2 else 1.0
    noise = _noise(rpm, step) if rate >= _LIVELY_HZ else _USUAL_NOISE_RPM
    return EngineSamples(log.name, log.clock, time, rpm, noise, step, rate, remarks)


def _from_pulses(log: TachLog, sheet: BuildSheet) -> tuple[Floats, Floats, tuple[str, ...]]:
    per_rev = sheet.pulses_per_rev
    remarks = []
    if per_rev is None:
        per_rev = _ASSUMED_PULSES_PER_REV
        remarks.append(
            f"{log.name}: {per_rev:g} pulses a turn assumed, the build sheet gives neither "
            "pulses_per_rev nor cylinders"
        )
    mended = pulses.mend(log.time_s, per_rev)
    if mended.missed or mended.doubled:
        remarks.append(
            f"{log.name}: {mended.missed} missing pulses filled in, "
            f"{mended.doubled} double pulses taken out"
        )
    time, rpm = pulses.engine_speed(mended)
    return time, rpm, tuple(remarks)


def _rounding(rpm: Floats) -> float:
    """Return the largest usual step that (nearly) all of `rpm` are multiples of, 0 for none."""
    running = rpm[rpm > 0.0]
    for step in _STEPS_RPM:
        off = np.abs(running / step - np.round(running / step))
        if running.size and np.mean(off < 1e-6) > 0.98:
            return step
    return 0.0


def _thinned(time: Floats, rpm: Floats) -> tuple[Floats, Floats]:
    """Return means over groups of neighbouring samples, no more than about ten a second."""
    if time.size < 3:
        return time, rpm
    every = round(0.1 / float(np.median(np.diff(time))))
    if every < 2 or 1.0 / float(np.median(np.diff(time))) <= _MOST_HZ:
        return time, rpm
    group = np.floor((time - time[0]) / (every * float(np.median(np.diff(time)))) + 1e-6)
    _, first, count = np.unique(group, return_index=True, return_counts=True)
    return np.add.reduceat(time, first) / count, np.add.reduceat(rpm, first) / count


def _noise(rpm: Floats, step: float) -> float:
    """Return the standard deviation of one sample, from second differences; rounding taken off."""
    if rpm.size < 5:
        return 5.0
    running = (rpm[1:-1] > 0.0) & (rpm[:-2] > 0.0) & (rpm[2:] > 0.0)
    bend = np.diff(rpm, 2)[running]
    if not bend.size:
        return 5.0
    spread = 1.4826 * float(np.median(np.abs(bend))) / np.sqrt(6.0)
    return float(np.sqrt(max(spread**2 - step**2 / 12.0, 1.0)))


def _join(made: Sequence[EngineSamples]) -> list[EngineSamples]:
    """Return the samples, those on calendar clocks that follow one another in time made one."""
    joined: list[EngineSamples] = []
    for samples in sorted(made, key=lambda s: (s.clock == "elapsed", float(s.time_s[0]))):
        last = joined[-1] if joined else None
        if (
            last is not None
            and samples.clock == last.clock != "elapsed"
            and samples.time_s[0] > last.time_s[-1]
        ):
            joined[-1] = replace(
                last,
                time_s=np.concatenate([last.time_s, samples.time_s]),
                rpm=np.concatenate([last.rpm, samples.rpm]),
                u_rpm=max(last.u_rpm, samples.u_rpm),
                step_rpm=max(last.step_rpm, samples.step_rpm),
                remarks=(*last.remarks, *samples.remarks),
            )
        else:
            joined.append(samples)
    return joined
