"""Stops of 1.4 to 3 s against loggers that are slow and receivers that smooth their speed.

    python tests/benchmarks/short_stops.py [drives]

Three stops a drive, of different feet, on another car, road and receiver, its delay up to half a
second. For each rate of fixes and time constant of smoothing: the figures as `braking.py` prints
them, how many stops were measured, and how many of those the log was too slow to judge.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from roadtest.measures.braking import measure_braking
from tests.benchmarks.braking import table
from tests.measures.braking.trials import Row, errors, found_evidence
from tests.simulation.driver import Driver, Pedal
from tests.simulation.ensembles import random_car, random_road
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

RATES_HZ = (1.0, 2.0, 5.0, 10.0)
SMOOTHINGS_S = (0.0, 0.2, 0.5, 1.0, 1.5)


def short_stops(seed: int) -> Truth:
    """Return a drive with three stops of 1.4 to 3 s."""
    rng = np.random.default_rng([seed, 44])
    driver = Driver(random_car(seed), random_road(seed, 0.005), seed)
    for k in range(3):
        level = rng.uniform(5.0, 8.0)
        speed = float(np.clip(level * rng.uniform(1.4, 3.0), 7.8, 22.0))
        if k:
            driver.turn_round()
        else:
            driver.start_rolling(speed)
        foot = Pedal(
            level_mps2=level,
            build_up_s=rng.uniform(0.2, 0.4),
            unevenness=rng.uniform(0.01, 0.05),
            rise=rng.uniform(0.0, 0.1),
            lift_s=rng.uniform(0.15, 0.5),
        )
        driver.stop(speed, foot)
    driver.idle(5.0)
    return driver.finish()


def one_kind(drives: int, rate_hz: float, smoothing_s: float) -> None:
    """Print the table of one rate and smoothing."""
    rows: list[Row] = []
    measured = unjudged = 0
    for seed in range(drives):
        rng = np.random.default_rng([seed, 45])
        receiver = Receiver(
            rate_hz=rate_hz,
            white_mps=rng.uniform(0.02, 0.08),
            lag_s=smoothing_s,
            delay_s=rng.uniform(0.0, 0.5),
            late_start_s=rng.uniform(0.0, 1.0 / rate_hz),
        )
        truth = short_stops(seed)
        evidence = found_evidence(truth, receiver, seed)
        found = measure_braking(evidence)
        rows += errors(truth, evidence, found)
        measured += len(found.result.stops)
        unjudged += sum(bool(stop.not_judged) for stop in found.result.stops)
    title = f"{rate_hz:g} Hz, smoothed over {smoothing_s:g} s: {measured} of {3 * drives} measured"
    table(rows, f"{title}, {unjudged} of them not judged")


def main() -> None:
    """Run the benchmark."""
    drives = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    for rate in RATES_HZ:
        for smoothing in SMOOTHINGS_S:
            one_kind(drives, rate, smoothing)


if __name__ == "__main__":
    main()
