"""Tach logs of simulated drives, as a perfect reader gives them."""

from __future__ import annotations

from roadtest.logs.model import Clock, TachLog
from tests.simulation.tach import Pulses, Tach, log_pulses, log_tach
from tests.simulation.truth import Truth


def tach_log(truth: Truth, tach: Tach, seed: int, clock: Clock = "elapsed") -> TachLog:
    """Return the log that a tach writes; with a calendar clock its times are those of the day."""
    rows = log_tach(truth, tach, seed)
    shift = 0.0 if clock == "elapsed" else truth.start_utc_s
    return TachLog("tach.csv", clock, rows.clock_s + shift, rows.rpm, rows.rpm.size)


def pulse_log(truth: Truth, tach: Tach, pulses: Pulses, seed: int) -> TachLog:
    """Return a log of raw pulses."""
    times = log_pulses(truth, tach, pulses, seed)
    return TachLog("tach.csv", "elapsed", times, None, times.size)
