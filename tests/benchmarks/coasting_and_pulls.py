"""How good coasting and pulls are by logger rate: `python tests/benchmarks/coasting_and_pulls.py`.

Simulated drives with known truth: root mean square error and bias, how often 95 % intervals hold
the truth, and the middle error over the middle half-width (0.34 for normal errors). Every car's
mass, rotating parts and air are off what its sheet says by as much as the sheet says they may be;
the wind is as strong as the coasting model thinks likely. `--drives N` takes more than six.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.measures.coasting.drives import Error, coasting_errors, coasts, one_way
from tests.measures.pulls.drives import pull_errors, pulls

# Rate, and whether the receiver gives speed (else positions only).
RATES = ((1.0, True), (5.0, True), (10.0, True), (25.0, True), (1.0, False))


def coast_figures(seed: int, rate_hz: float, with_speed: bool) -> list[Error]:
    truth, _, found = coasts(seed, rate_hz, with_speed=with_speed)
    return coasting_errors(truth, found)


def one_way_figures(seed: int, rate_hz: float, with_speed: bool) -> list[Error]:
    if not with_speed:
        return []
    errors = coasting_errors(*one_way(seed, rate_hz))
    return [dataclasses.replace(error, name=f"{error.name}, one way") for error in errors]


def pull_figures(seed: int, rate_hz: float, with_speed: bool) -> list[Error]:
    truth, _, found = pulls(seed, rate_hz, with_speed=with_speed)
    return pull_errors(truth, found)


def show(errors: list[Error], log: str) -> None:
    """Print a line for each figure."""
    for name in dict.fromkeys(error.name for error in errors):
        these = [error for error in errors if error.name == name]
        gaps = np.array([error.error for error in these])
        u95 = np.array([error.u95 for error in these])
        share = np.median(np.abs(gaps)) / np.median(u95)
        held = np.mean([error.held for error in these])
        print(
            f"{name:28} {log:16} {len(these):5d} {np.sqrt(np.mean(gaps**2)):10.5f} "
            f"{gaps.mean():+10.5f} {np.median(u95):10.5f} {100.0 * held:6.1f} % {share:6.2f}"
        )


def run(figures: Callable[[int, float, bool], list[Error]], drives: int) -> None:
    """Run `drives` seeds at every rate."""
    for rate_hz, with_speed in RATES:
        errors: list[Error] = []
        for seed in range(1000, 1000 + drives):
            errors += figures(seed, rate_hz, with_speed)
        show(errors, f"{rate_hz:g} Hz{'' if with_speed else ', positions'}")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drives", type=int, default=6, help="of each kind at each rate")
    parts = {"coasts": coast_figures, "one-way": one_way_figures, "pulls": pull_figures}
    parser.add_argument("--part", choices=parts, help="one of them only")
    given = parser.parse_args()
    heads = ("rms error", "bias", "u95", "held", "ratio")
    print(f"{'figure':28} {'log':16} {'n':>5} {heads[0]:>10} {heads[1]:>10} {heads[2]:>10}", end="")
    print(f" {heads[3]:>8} {heads[4]:>6}")
    began = time.perf_counter()
    for name, figures in parts.items():
        if given.part in (None, name):
            run(figures, given.drives)
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
