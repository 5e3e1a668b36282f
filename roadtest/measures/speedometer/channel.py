"""A continuous log of what the speedometer shows: `indicated_speed` in a channels file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.clock import channels_in_utc
from roadtest.evidence import Evidence
from roadtest.logs.model import Channel, ChannelsLog
from roadtest.measures.speedometer.hold_speed import Part
from roadtest.measures.speedometer.readings import DialReading
from roadtest.motion.estimate import Motion
from roadtest.units import UnknownUnitError, find_unit, to_si

Floats = NDArray[np.float64]

CHANNEL: Final = "indicated_speed"

_STEP_S: Final = 0.5  # both speeds are compared this often
_LEAST_OVERLAP_S: Final = 60.0  # of log and drive, for a clock to be found; our choice
_LEAST_CORRELATION: Final = 0.95  # of the two speeds, for a clock to be believed; our choice
_LEAST_SAMPLES: Final = 3  # in a hold


@dataclass(frozen=True)
class DialLog:
    """What the dial showed all along, on the drive's clock. Arrays are [n]."""

    name: str  # of the file
    time_s: Floats
    shown_mps: Floats
    step_mps: float  # smallest step in which it was logged

    def reading_over(self, part: Part) -> DialReading | None:
        """Return the mean reading over part of a hold, None where too little was logged."""
        inside = (self.time_s >= part.start_s) & (self.time_s <= part.end_s)
        if int(inside.sum()) < _LEAST_SAMPLES:
            return None
        mean = float(self.shown_mps[inside].mean())
        return DialReading(mean, self.step_mps, "channel", f"{self.name} {CHANNEL}")


def dial_log(evidence: Evidence) -> tuple[DialLog | None, tuple[str, ...]]:
    """Return the continuous log of the dial, if there is one, and what is to be said about it.

    A log on a clock of its own is laid over the drive where both speeds agree best.
    """
    notes: list[str] = []
    for log in evidence.channels:
        for channel in log.channels:
            if channel.name != CHANNEL:
                continue
            try:
                return _read(evidence, log, channel), tuple(notes)
            except ValueError as fault:
                notes.append(f"{log.name} {CHANNEL} is not used: {fault}")
    return None, tuple(notes)


def _read(evidence: Evidence, log: ChannelsLog, channel: Channel) -> DialLog:
    """Return a channel as a dial log; raises ValueError that says why it can't be used."""
    try:
        dimension = find_unit(channel.unit).dimension
    except UnknownUnitError as fault:
        raise ValueError(str(fault)) from None
    if dimension != "speed":
        raise ValueError(f'its unit is "{channel.unit}", not one of speed')
    good = np.isfinite(channel.values)
    shown = to_si(channel.values[good], channel.unit)
    if shown.size < _LEAST_SAMPLES:
        raise ValueError("it has no readings")
    log = channels_in_utc(log, evidence.sheet.utc_offset_s)
    time = log.time_s[good]
    if log.clock == "utc":
        time = time - evidence.start_unix_s
    else:
        time = time + _clock_offset(time, shown, evidence.motion)
    steps = np.diff(np.unique(np.round(shown, 6)))
    return DialLog(log.name, time, shown, float(steps.min()) if steps.size else 0.0)


def _clock_offset(time_s: Floats, shown_mps: Floats, motion: Motion) -> float:
    """Return what to add to the log's own clock for the drive's.

    The offset at which the two speeds are correlated best. Raises ValueError where they never are.
    """
    true = np.interp(
        np.arange(motion.time_s[0], motion.time_s[-1], _STEP_S), motion.time_s, motion.speed_mps
    )
    shown = np.interp(np.arange(time_s[0], time_s[-1], _STEP_S), time_s, shown_mps)
    least = min(int(_LEAST_OVERLAP_S / _STEP_S), true.size, shown.size)
    shifts = np.arange(least - shown.size, true.size - least + 1)
    scores = np.array([_correlation(true, shown, int(shift)) for shift in shifts])
    best = int(np.argmax(scores))
    if scores[best] < _LEAST_CORRELATION:
        raise ValueError("its clock can't be found, for its speeds fit the drive nowhere")
    return float(motion.time_s[0] - time_s[0] + shifts[best] * _STEP_S)


def _correlation(true: Floats, shown: Floats, shift: int) -> float:
    """Return the correlation when shown[0] is laid on true[shift]; -1 where one is constant."""
    start, end = max(shift, 0), min(true.size, shift + shown.size)
    a, b = true[start:end], shown[start - shift : end - shift]
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0.0 else -1.0
