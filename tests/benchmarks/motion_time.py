"""Time of the motion estimate and its draws on long logs, and where it goes.

    python tests/benchmarks/motion_time.py [--hours 2] [--rate 10] [--profile]

The log is made of several simulated drives, one after the other (each begins and ends at rest).
Every figure is the best of three runs.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from numpy.typing import NDArray

from roadtest.logs.model import GpsLog
from roadtest.motion.estimate import Draws, Motion, Span, estimate
from roadtest.motion.sampler import Observed
from roadtest.motion.screening import screen
from tests.evidence_from_truth import gps_log
from tests.simulation.ensembles import random_drive
from tests.simulation.receiver import Receiver

Floats = NDArray[np.float64]

DRIVES = 3
RUNS = 3


def long_log(hours: float, rate_hz: float, *, with_speed: bool) -> GpsLog:
    """Return a log of this length, drives repeated with the time going on."""
    receiver = Receiver(rate_hz=rate_hz)
    parts = [gps_log(random_drive(k), receiver, k, with_speed=with_speed) for k in range(DRIVES)]
    wanted = round(3600.0 * hours * rate_hz)
    speeds: list[Floats] = []
    easts: list[Floats] = []
    while sum(part.size for part in speeds) < wanted:
        part = parts[len(speeds) % DRIVES]
        speeds.append(part.speed_mps)
        easts.append(part.longitude_deg - part.longitude_deg[0])
    ends = np.cumsum([part[-1] for part in easts])
    easts = [part + end - part[-1] for part, end in zip(easts, ends, strict=True)]
    blank = np.full(wanted, np.nan)
    return GpsLog(
        name="long",
        kind="nmea",
        time_s=parts[0].time_s[0] + np.arange(wanted) / rate_hz,
        latitude_deg=np.zeros(wanted),
        longitude_deg=np.concatenate(easts)[:wanted],
        altitude_m=blank,
        speed_mps=np.concatenate(speeds)[:wanted],
        course_deg=blank,
        hdop=blank,
        u_position_m=blank,
        segment=np.zeros(wanted, dtype=np.int64),
        source="",
        fixes_read=wanted,
    )


def best(action: Callable[[], object]) -> float:
    """Return the seconds of the quickest of three runs."""
    taken = []
    for _ in range(RUNS):
        began = time.perf_counter()
        action()
        taken.append(time.perf_counter() - began)
    return min(taken)


def estimate_afresh(observed: Observed) -> Motion:
    """Return the estimate, from the same seed every time."""
    return estimate(observed, np.random.default_rng(1))


def draw_afresh(motion: Motion, spans: list[Span]) -> tuple[Draws, ...]:
    """Return the draws, from the same seed every time."""
    return motion.draws(spans, 200, np.random.default_rng(1))


def main() -> None:
    """Print one line for speeds and one for positions."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--rate", type=float, default=10.0)
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args()
    print(f"{'source':10}{'fixes':>8}{'screen s':>10}{'estimate s':>12}{'draws s':>9}")
    for with_speed in (True, False):
        log = long_log(options.hours, options.rate, with_speed=with_speed)
        observed = screen(log).observed
        motion = estimate(observed, np.random.default_rng(1))
        spans = [Span(start, start + 20.0) for start in np.linspace(60.0, motion.time_s[-60], 30)]
        taken = (
            best(partial(screen, log)),
            best(partial(estimate_afresh, observed)),
            best(partial(draw_afresh, motion, spans)),
        )
        print(f"{motion.source:10}{observed.seen.size:8}", end="")
        print(f"{taken[0]:10.2f}{taken[1]:12.2f}{taken[2]:9.2f}", flush=True)
        if options.profile:
            profile = cProfile.Profile()
            profile.runcall(estimate, observed, np.random.default_rng(1))
            pstats.Stats(profile).sort_stats("tottime").print_stats(15)


if __name__ == "__main__":
    main()
