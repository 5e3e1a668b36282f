"""How well manoeuvres are found: missed, phantom, and errors of both ends, by kind and rate.

Run as `python tests/benchmarks/manoeuvres.py [drives]`. The drives are simulated whole shakedown
drives of some twelve minutes, and as many of ten minutes in town with nothing done on purpose.
A hold found begins with the settling that the simulated driver does not count (3 s and more); a
coast is timed between two speeds, and begins and ends outside them.
"""

from __future__ import annotations

import sys
import time
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from roadtest.manoeuvres import find_manoeuvres
from tests.manoeuvres.scoring import FOUND_AS, Score, motion_of, score, town_drive
from tests.simulation.ensembles import random_drive, random_receiver
from tests.simulation.truth import Truth

RATES_HZ = (1.0, 5.0, 10.0, 25.0)
FIRST_SEED = 301


def scored(truth: Truth, seed: int, rate_hz: float, *, with_speed: bool) -> tuple[Score, float]:
    """Return the score of one drive, and the seconds it took to find everything."""
    motion, start_s = motion_of(truth, random_receiver(seed, rate_hz), seed, with_speed=with_speed)
    begin = time.process_time()
    found = find_manoeuvres(motion)
    seconds = time.process_time() - begin
    return score(truth, found, start_s), seconds


def print_table(name: str, scores: list[Score]) -> None:
    """Print a line a kind: how many, missed, and bias and RMS of either end in s."""
    errors: dict[str, list[tuple[float, float]]] = defaultdict(list)
    count, missed = Counter[str](), Counter[str]()
    for seen in (seen for result in scores for seen in result.seen):
        count[seen.kind] += 1
        missed[seen.kind] += not seen.right
        if seen.found:
            ends = seen.found.start_s - seen.start_s, seen.found.end_s - seen.end_s
            errors[seen.kind].append(ends)
    print(f"\n{name}\n{'kind':12} {'true':>5} {'missed':>6}   start bias    rms   end bias    rms")
    for kind in (kind for kind in FOUND_AS if count[kind]):
        table = np.array(errors[kind] or [(np.nan, np.nan)])
        bias, rms = table.mean(axis=0), np.sqrt((table**2).mean(axis=0))
        print(
            f"{kind:12} {count[kind]:5} {missed[kind]:6}   {bias[0]:+10.3f} {rms[0]:6.3f}"
            f" {bias[1]:+10.3f} {rms[1]:6.3f}"
        )


def phantoms(scores: list[Score]) -> str:
    """Return how many of each kind were used where nothing was done on purpose."""
    kinds = Counter(
        f"{made.kind}{' from rest' if made.from_rest else ''}"
        for result in scores
        for made in result.phantom
    )
    return ", ".join(f"{number} {kind}" for kind, number in sorted(kinds.items())) or "none"


def main(drives: int) -> None:
    """Print everything."""
    seeds = range(FIRST_SEED, FIRST_SEED + drives)
    whole = {seed: random_drive(seed) for seed in seeds}
    town = {seed: town_drive(seed) for seed in seeds}
    minutes = sum(float(truth.t_s[-1]) for truth in whole.values()) / 60.0
    print(f"{drives} drives of {minutes / drives:.0f} min, {drives} of 10 min in town")
    for rate_hz, with_speed in [*((rate, True) for rate in RATES_HZ), (1.0, False)]:
        name = f"{rate_hz:g} Hz" + ("" if with_speed else ", positions only")
        results = [scored(whole[s], s, rate_hz, with_speed=with_speed) for s in seeds]
        streets = [scored(town[s], s, rate_hz, with_speed=with_speed)[0] for s in seeds]
        print_table(name, [result for result, _ in results])
        print(f"used, not done on purpose: {phantoms([result for result, _ in results])}")
        print(f"used, of driving in town:  {phantoms(streets)}")
        print(f"seconds an hour of log: {60.0 * sum(s for _, s in results) / minutes:.3f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
