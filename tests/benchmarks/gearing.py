"""How well gearing is measured on simulated drives, and how long it takes.

    python tests/benchmarks/gearing.py [drives]

Whole drives of random cars, roads and receivers (GPS at 1, 5 and 10 Hz) with tachs of every kind:
clock offset and drift, lag, rounding, noise, rate. Then the stories of `tests/measures/gearing`,
and the time a two-hour log takes. Ratios are free of tyre creep, as the truth has them.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from roadtest.evidence import Evidence
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.follow import follow
from roadtest.measures.gearing.road import Road
from roadtest.measures.gearing.sequence import decode
from roadtest.measures.gearing.turns import turns_per_metre
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.drives import evidence_of
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.ensembles import random_drive, random_receiver
from tests.simulation.tach import Tach

Floats = NDArray[np.float64]
Errors = dict[str, list[tuple[float, float]]]  # what -> (error, half-width of its interval)

CASES = (
    "right",
    "wrong axle",
    "wrong gearbox",
    "wrong tyre",
    "six cylinders",
    "slipping clutch",
)


def random_tach(seed: int) -> Tach:
    """Return a tach of any kind."""
    rng = np.random.default_rng([seed, 77])
    return Tach(
        rate_hz=float(rng.choice([1.0, 5.0, 10.0, 25.0])),
        offset_s=rng.uniform(-60.0, 300.0),
        drift=rng.normal(0.0, 4e-5),
        lag_s=rng.uniform(0.05, 0.3),
        step_rpm=float(rng.choice([1.0, 10.0, 25.0, 50.0])),
        noise_rpm=rng.uniform(3.0, 15.0),
        missing_share=0.01,
    )


def one_drive(seed: int, rate_hz: float, errors: Errors) -> tuple[float, float]:
    """Measure one drive, add its errors; return right-gear share and seconds taken."""
    truth, tach = random_drive(seed), random_tach(seed)
    log = tach_log(truth, tach, seed)
    evidence = evidence_from(truth, random_receiver(seed, rate_hz), seed, tach=[log], draws=100)
    start = perf_counter()
    found = measure_gearing(evidence)
    seconds = perf_counter() - start
    fit = None if found.followed is None else found.followed.fit
    car = truth.car
    if found.followed is None or fit is None or fit.count != len(car.ratios):
        errors["gears not all found"].append((1.0, 1.0))
        return float("nan"), seconds
    true = np.log([car.revs_per_metre(g + 1) for g in range(fit.count)])
    off = fit.log_turns - true
    u95 = 1.96 * np.sqrt(np.diag(fit.covariance)[: fit.count])
    errors["turns per metre, %"] += zip(100 * off, 100 * u95, strict=True)
    for k, step in enumerate(found.result.steps):
        if step.step is not None:
            exact = car.ratios[k] / car.ratios[k + 1]
            scale = 100.0 / exact
            errors["step, %"].append(((step.step.value - exact) * scale, step.step.u95 * scale))
    shift = evidence.start_unix_s - truth.start_utc_s
    apparent = tach.apparent_offset_s() + tach.drift * float(log.time_s[0]) - shift
    if found.tach.offset_s is not None:
        errors["tach offset, s"].append(
            (found.tach.offset_s.value - apparent, found.tach.offset_s.u95)
        )
    for row in found.result.slips:
        if row.slip is not None:
            errors["slip of a sound clutch, %"].append((100 * row.slip.value, 100 * row.slip.u95))
    if found.result.clutch_slip is not None:
        all_of_it = found.result.clutch_slip
        errors["largest slip of it, %"].append((100 * all_of_it.value, 100 * all_of_it.u95))
    turns, sequence = found.followed.turns, found.followed.sequence
    time = turns.clock_s * (1.0 + tach.drift) + tach.offset_s
    index = np.clip(np.round(time / truth.step_s).astype(int), 0, truth.gear.size - 1)
    locked = truth.gear[index] > 0
    return float(np.mean(sequence.gear[locked] + 1 == truth.gear[index][locked])), seconds


def show(errors: Errors) -> None:
    """Print root mean square error, bias, coverage and sharpness of everything."""
    print("  what                          n     rms     bias   inside 95 %   med |e|/u95  med u95")
    for what, pairs in errors.items():
        error, u95 = np.array(pairs).T
        rms, bias = float(np.sqrt(np.mean(error**2))), float(error.mean())
        inside = float(np.mean(np.abs(error) <= u95))
        sharp = float(np.median(np.abs(error)) / np.median(u95))
        print(
            f"  {what:27s} {error.size:4d} {rms:8.4f} {bias:+8.4f} {inside:10.1%} "
            f"{sharp:12.2f} {float(np.median(u95)):11.4f}"
        )


def two_hours() -> None:
    """Print the time that a two-hour log at 10 Hz takes, made of one drive over and over."""
    evidence = evidence_of("right")
    length = float(evidence.motion.time_s[-1]) + 0.2
    times = int(7200.0 / length) + 1
    long = _repeated(evidence, times, length)
    rng = np.random.default_rng(0)
    log = evidence.tach[0]
    assert log.rpm is not None
    clock = np.concatenate([log.time_s + k * length for k in range(times)])
    rpm = np.tile(log.rpm, times) + rng.normal(0.0, 1.0, clock.size)
    samples = EngineSamples("long", "elapsed", clock, rpm, 8.0, 0.0, 10.0)
    start = perf_counter()
    found = follow(samples, long, Road.of(long))
    whole = perf_counter() - start
    assert found.fit is not None
    turns = turns_per_metre(samples, Road.of(long), found.clock)
    start = perf_counter()
    decode(turns, found.fit.log_turns)
    once = perf_counter() - start
    hours = clock.size / 36_000
    print(f"two-hour log ({hours:.1f} h, {clock.size} samples): {whole:.2f} s in all, ", end="")
    print(f"{once:.2f} s for one decoding")


def _repeated(evidence: Evidence, times: int, length_s: float) -> Evidence:
    """Return the evidence of the same motion driven again and again."""

    def again(values: Floats) -> Floats:
        return np.tile(values, times)

    def later(values: Floats) -> Floats:
        return np.concatenate([values + k * length_s for k in range(times)])

    motion, ground = evidence.motion, evidence.ground
    repeated = replace(
        motion,
        time_s=later(motion.time_s),
        speed_mps=again(motion.speed_mps),
        u_speed_mps=again(motion.u_speed_mps),
        acceleration_mps2=again(motion.acceleration_mps2),
        u_acceleration_mps2=again(motion.u_acceleration_mps2),
        intensity=again(np.append(motion.intensity, motion.intensity[-1]))[:-1],
    )
    flat = replace(
        ground,
        time_s=later(ground.time_s),
        grade=again(ground.grade),
        u_grade=again(ground.u_grade),
    )
    return replace(evidence, motion=repeated, ground=flat, manoeuvres=(), draws={})


def main(drives: int) -> None:
    """Print everything."""
    for rate_hz in (1.0, 5.0, 10.0):
        errors: Errors = defaultdict(list)
        shares, seconds = zip(
            *(one_drive(500 + seed, rate_hz, errors) for seed in range(drives)), strict=True
        )
        print(f"GPS {rate_hz:g} Hz, {drives} drives of some 13 minutes")
        show(errors)
        print(
            f"  locked samples with the right gear: {np.nanmean(shares):.2%}; "
            f"run time {np.mean(seconds):.2f} s a drive"
        )
    for case in CASES:
        story = measure_gearing(evidence_of(case)).result.stories[0]
        print(f"{case:16s} {story.probability:7.2%}  {story.label}")
    two_hours()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 8)
