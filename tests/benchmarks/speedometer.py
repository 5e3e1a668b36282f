"""How honest the speedometer's intervals are, by GPS rate, on simulated drives.

    python tests/benchmarks/speedometer.py [drives]

Every drive has another car, road, receiver, dial, foot and crew. A dial of 2 mph graduations is
read to the nearest one at any moment of each hold, the time noted to ±5 s. For each figure: root
mean square error, mean error, share of intervals that hold the truth, and the median error over the
median half-width (0.34 where errors are normal and the interval is neither wide nor narrow).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from roadtest.measures.speedometer import measure_speedometer
from roadtest.quantity import Quantity
from tests.measures.speedometer.crew import read_drive
from tests.simulation.ensembles import random_receiver

RATES_HZ = (1.0, 5.0, 10.0, 25.0)
Row = tuple[str, float, float]  # figure, error, half-width


def figures(seed: int, rate_hz: float, *, with_speed: bool) -> Iterator[Row]:
    """Yield the errors of every figure of one drive."""
    rng = np.random.default_rng([seed, 23])
    scale, offset = float(rng.uniform(0.92, 1.10)), float(rng.normal(0.0, 0.5))
    _, looks, evidence = read_drive(
        seed, lambda v: scale * v + offset, random_receiver(seed, rate_hz), with_speed=with_speed
    )
    result = measure_speedometer(evidence).result
    for reading, seen in zip(result.readings, looks, strict=True):
        assert reading.true is not None
        yield _row("speed at the look", reading.true, seen.true_mps)
        if reading.error is not None:
            true_error = (scale - 1.0) * seen.true_mps + offset
            yield _row("error", reading.error, true_error)
    if result.scale is not None and result.offset is not None:
        yield _row("scale", result.scale, scale)
        yield _row("offset", result.offset, offset)
        unread = sum(reading.error is None for reading in result.readings)
        yield "holds without reading", float(unread), 1.0


def _row(name: str, figure: Quantity, truth: float) -> Row:
    return name, figure.value - truth, figure.u95


def table(rows: list[Row], title: str) -> None:
    """Print one line a figure."""
    print(f"\n{title}")
    print(f"{'figure':24}{'n':>6}{'rms':>10}{'mean':>10}{'covered':>9}{'|e|/u95':>9}")
    for name in dict.fromkeys(row[0] for row in rows):
        error = np.array([row[1] for row in rows if row[0] == name])
        width = np.array([row[2] for row in rows if row[0] == name])
        rms, covered = np.sqrt(np.mean(error**2)), np.mean(np.abs(error) <= width)
        tight = np.median(np.abs(error)) / np.median(width)
        print(f"{name:24}{error.size:6}{rms:10.4f}{error.mean():10.4f}{covered:9.3f}{tight:9.2f}")


def main() -> None:
    """Run the benchmark."""
    drives = int(sys.argv[1]) if len(sys.argv) > 1 else 16
    for rate in RATES_HZ:
        rows = [r for seed in range(drives) for r in figures(seed, rate, with_speed=True)]
        table(rows, f"{rate:g} Hz with speed, {drives} drives")
    rows = [r for seed in range(drives) for r in figures(seed, 1.0, with_speed=False)]
    table(rows, f"1 Hz, positions only, {drives} drives")


if __name__ == "__main__":
    main()
