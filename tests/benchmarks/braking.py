"""How honest the intervals of the brakes are, by GPS rate, on simulated drives.

    python tests/benchmarks/braking.py [drives]

Every drive has four stops of different feet on another car, road and receiver, every other stop
the opposite way; the stops are those found in the log. For each figure: root mean square error,
mean error, share of intervals that hold the truth, median half-width, and the median error over it
(0.34 where errors are normal and the interval is neither wide nor narrow). Then whole drives, with
traffic: how many stops are measured that nobody drove.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from roadtest.measures.braking import measure_braking
from tests.measures.braking.trials import Row, found_evidence, trial, true_stop
from tests.simulation.ensembles import random_drive, random_receiver, random_stops

RATES_HZ = (1.0, 5.0, 10.0, 25.0)


def table(rows: list[Row], title: str) -> None:
    """Print one line a figure."""
    print(f"\n{title}")
    head = ("n", "rms", "mean", "covered", "u95", "|e|/u95")
    print(f"{'figure':18}" + "".join(f"{name:>10}" for name in head))
    for name in dict.fromkeys(row[0] for row in rows):
        error = np.array([row[1] for row in rows if row[0] == name])
        width = np.array([row[2] for row in rows if row[0] == name])
        figures = (
            np.sqrt(np.mean(error**2)),
            error.mean(),
            np.mean(np.abs(error) <= width),
            np.median(width),
            np.median(np.abs(error)) / np.median(width),
        )
        print(f"{name:18}{error.size:10}" + "".join(f"{figure:10.4f}" for figure in figures))


def by_rate(drives: int, rate_hz: float, *, with_speed: bool) -> None:
    """Print the table of one rate."""
    rows: list[Row] = []
    driven = measured = 0
    for seed in range(drives):
        receiver = random_receiver(seed, rate_hz)
        found, count, made = trial(random_stops(seed), receiver, seed, with_speed=with_speed)
        rows, driven, measured = rows + found, driven + count, measured + made
    kind = "with speed" if with_speed else "positions only"
    table(rows, f"{rate_hz:g} Hz {kind}: {measured} of {driven} stops measured")


def phantoms(drives: int) -> None:
    """Print how many stops of whole drives were driven, found, and found but never driven."""
    driven = found = phantom = 0
    for seed in range(drives):
        truth = random_drive(seed)
        evidence = found_evidence(truth, random_receiver(seed), seed)
        stops = measure_braking(evidence).result.stops
        true = [true_stop(truth, evidence, stop.manoeuvre) for stop in stops]
        driven += len(truth.of_kind("stop"))
        found += sum(stop is not None for stop in true)
        phantom += sum(stop is None for stop in true)
    print(f"\n{drives} whole drives: {driven} stops driven, {found} measured, {phantom} phantoms")


def main() -> None:
    """Run the benchmark."""
    drives = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    for rate in RATES_HZ:
        by_rate(drives, rate, with_speed=True)
    by_rate(drives, 1.0, with_speed=False)
    phantoms(max(drives // 4, 1))


if __name__ == "__main__":
    main()
