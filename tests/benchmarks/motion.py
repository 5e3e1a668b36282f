"""How good the motion estimate is, and how honest its intervals, on simulated drives.

    python tests/benchmarks/motion.py [--drives N] [--rates 1 5 10 25]

Every drive is logged at 1, 5, 10 and 25 Hz with white speed noise of 0.03, 0.07 and 0.15 m/s beside
the receiver's slow errors. Columns:

/raw       root mean square error of speed over that of the reported speed, moving fixes
/bound     the same over that of the bound below
v a        share of 95 % intervals that hold speed and acceleration, moving fixes, all drives
v a s      the same from joint draws at the knots inside the stops, and the distance to rest
s/est      seconds that one estimate takes
bound      its own error (mm/s), that over its own standard deviation, share of intervals that hold

The bound is what the same log would tell someone who knew the receiver's errors exactly (white,
fast and slow part, sizes and memories), where the car stands, and how lively the jerk really is
from second to second. It shares no code with the estimate: a Kalman filter and the smoother of
H. E. Rauch, F. Tung and C. T. Striebel, AIAA Journal 3 (1965) 1445 (value from memory).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from roadtest.motion.estimate import Draws, Motion, Span, estimate
from roadtest.motion.screening import screen
from tests.evidence_from_truth import gps_log
from tests.simulation.ensembles import random_drive
from tests.simulation.receiver import Fixes, Receiver, receive
from tests.simulation.truth import Truth

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RATES_HZ = (1.0, 5.0, 10.0, 25.0)
WHITES_MPS = (0.03, 0.07, 0.15)
DRAWS = 200
LEAST_JERK = 1e-4  # (m/s³)²·s: a car on the road is never smoother than 0.01 m/s² in a second


@dataclass(frozen=True)
class Line:
    """Errors and standard deviations [2, k] (speed, acceleration) at one set of times."""

    error: Floats
    u: Floats

    @property
    def held(self) -> Floats:
        """[2, k], 1 where the 95 % interval holds the truth."""
        return (np.abs(self.error) <= 1.96 * self.u).astype(np.float64)


@dataclass(frozen=True)
class Outcome:
    """What one drive with one receiver showed."""

    estimate: Line
    bound: Line
    raw: Floats  # errors of the reported speed, moving fixes
    stop_held: tuple[Floats, Floats, Floats]  # speed, acceleration, distance
    seconds: float


def true_rates(truth: Truth, time_s: Floats) -> Floats:
    """Return level speed and its rate of change [2, k]; the rate is the mean over ±10 ms."""
    level = truth.speed_mps / np.sqrt(1.0 + truth.grade**2)
    step = truth.step_s

    def speed(at: Floats) -> Floats:
        return np.asarray(np.interp(at, truth.t_s, level), dtype=np.float64)

    return np.array([speed(time_s), (speed(time_s + step) - speed(time_s - step)) / (2.0 * step)])


def moving(truth: Truth, time_s: Floats) -> Bools:
    """Return where the car rolls, [k]."""
    return np.asarray(truth.speed_at(time_s) > 0.0)


def true_jerk(truth: Truth, time_s: Floats) -> Floats:
    """Return the jerk's local intensity [k]: mean square change of acceleration within a second."""
    level = truth.speed_mps / np.sqrt(1.0 + truth.grade**2)
    acceleration = np.diff(level, append=level[-1]) / truth.step_s
    half = round(0.5 / truth.step_s)
    padded = np.pad(acceleration, half, mode="edge")
    change = padded[2 * half :] - padded[: -2 * half]
    mean = uniform_filter1d(change**2, 2 * half, mode="nearest")
    return np.maximum(np.interp(time_s, truth.t_s, mean), LEAST_JERK)


def bound(truth: Truth, logs: Sequence[Fixes], receivers: Sequence[Receiver]) -> list[Line]:
    """Return the bound for logs [w] of one drive at the same times, told all that is true.

    States: speed, acceleration, fast and slow error. All logs go through the loop together.
    """
    at = logs[0].time_s
    seen = np.array([log.speed_mps for log in logs])
    rolling = moving(truth, at)
    white = np.array([r.white_mps**2 + r.speed_step_mps**2 / 12.0 for r in receivers])
    forward, noise, start = _steps(at, true_jerk(truth, 0.5 * (at[1:] + at[:-1])), receivers[0])
    n, w = at.size, len(logs)
    mean, cov = np.empty((n, w, 4)), np.empty((n, w, 4, 4))
    ahead_mean, ahead_cov = np.empty((n, w, 4)), np.empty((n, w, 4, 4))
    m, p = np.zeros((w, 4)), np.tile(start, (w, 1, 1))
    for k in range(n):
        if k:
            m, p = m @ forward[k - 1].T, forward[k - 1] @ p @ forward[k - 1].T + noise[k - 1]
        ahead_mean[k], ahead_cov[k] = m, p
        row = np.array([1.0, 0.0, 1.0, 1.0] if rolling[k] else [1.0, 0.0, 0.0, 0.0])
        value, variance = (seen[:, k], white) if rolling[k] else (np.zeros(w), np.full(w, 1e-6))
        toward = p @ row
        gain = toward / (toward @ row + variance)[:, None]
        m = m + gain * (value - m @ row)[:, None]
        p = p - gain[:, :, None] * toward[:, None, :]
        mean[k], cov[k] = m, p
    for k in range(n - 2, -1, -1):
        back = cov[k] @ forward[k].T @ np.linalg.inv(ahead_cov[k + 1])
        mean[k] += (back @ (mean[k + 1] - ahead_mean[k + 1])[:, :, None])[:, :, 0]
        cov[k] += back @ (cov[k + 1] - ahead_cov[k + 1]) @ back.transpose(0, 2, 1)
    u = np.sqrt(np.diagonal(cov, axis1=2, axis2=3))[rolling, :, :2]
    error = mean[rolling, :, :2] - true_rates(truth, at[rolling]).T[:, None, :]
    return [Line(error[:, i].T, u[:, i].T) for i in range(w)]


def _steps(at: Floats, jerk: Floats, receiver: Receiver) -> tuple[Floats, Floats, Floats]:
    """Return transitions and noise [n-1, 4, 4], and the covariance at the start."""
    h = np.diff(at)
    forward, noise = np.zeros((h.size, 4, 4)), np.zeros((h.size, 4, 4))
    forward[:, 0, 0] = forward[:, 1, 1] = 1.0
    forward[:, 0, 1] = h
    noise[:, 0, 0], noise[:, 1, 1] = jerk * h**3 / 3.0, jerk * h
    noise[:, 0, 1] = noise[:, 1, 0] = jerk * h**2 / 2.0
    parts = (receiver.fast_mps, receiver.fast_tau_s), (receiver.slow_mps, receiver.slow_tau_s)
    for i, (sd, memory_s) in enumerate(parts, start=2):
        keep = np.exp(-h / memory_s)
        forward[:, i, i] = keep
        noise[:, i, i] = sd**2 * (1.0 - keep**2)
    spread = np.array([30.0, 3.0, parts[0][0], parts[1][0]])
    return forward, noise, np.diag(spread**2)


def run(seed: int, rate_hz: float) -> list[Outcome]:
    """Return what the drive of `seed` shows with each noise."""
    truth = random_drive(seed)
    receivers = [Receiver(rate_hz=rate_hz, white_mps=white) for white in WHITES_MPS]
    logs = [receive(truth, receiver, seed) for receiver in receivers]
    bounds = bound(truth, logs, receivers)
    return [
        _outcome(truth, fixes, receiver, best, seed)
        for fixes, receiver, best in zip(logs, receivers, bounds, strict=True)
    ]


def _outcome(truth: Truth, fixes: Fixes, receiver: Receiver, best: Line, seed: int) -> Outcome:
    screened = screen(gps_log(truth, receiver, seed))
    rng = np.random.default_rng([seed, 99])
    began = time.perf_counter()
    motion = estimate(screened.observed, rng)
    seconds = time.perf_counter() - began
    late = screened.start_unix_s - truth.start_utc_s
    rolling = moving(truth, motion.time_s + late)
    true = true_rates(truth, motion.time_s[rolling] + late)
    found = np.array([motion.speed_mps, motion.acceleration_mps2])[:, rolling]
    u = np.array([motion.u_speed_mps, motion.u_acceleration_mps2])[:, rolling]
    at = fixes.time_s[moving(truth, fixes.time_s)]
    raw = fixes.speed_mps[moving(truth, fixes.time_s)] - true_rates(truth, at)[0]
    return Outcome(Line(found - true, u), best, raw, stops(truth, motion, late, rng), seconds)


def stops(
    truth: Truth, motion: Motion, late: float, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats]:
    """Return 1 or 0 for each interval that holds: speed, acceleration, distance in the stops."""
    found = truth.of_kind("stop")
    spans = [Span(m.start_s - late - 2.0, m.end_s - late + 2.0) for m in found]
    speed, acceleration, distance = [], [], []
    for made, drawn in zip(found, motion.draws(spans, DRAWS, rng), strict=True):
        at = drawn.time_s + late
        inside = (at >= made.start_s) & (at < made.end_s)
        true = true_rates(truth, at[inside])
        speed.append(_held(drawn.speed_mps[:, inside], true[0]))
        acceleration.append(_held(drawn.acceleration_mps2[:, inside], true[1]))
        distance.append(_held(*_to_rest(truth, drawn, at, inside)))
    return np.concatenate(speed), np.concatenate(acceleration), np.concatenate(distance)


def _to_rest(truth: Truth, drawn: Draws, at: Floats, inside: Bools) -> tuple[Floats, Floats]:
    """Return draws [c, 1] of the level distance from the stop's first knot, and the truth."""
    first = int(np.argmax(inside))
    fine = np.linspace(at[first], at[-1], 4000)
    way = np.trapezoid(true_rates(truth, fine)[0], fine)
    return drawn.distance_m[:, -1:] - drawn.distance_m[:, first : first + 1], np.array([way])


def _held(draws: Floats, true: Floats) -> Floats:
    low, high = np.quantile(draws, [0.025, 0.975], axis=0)
    return np.asarray((low <= true) & (true <= high), dtype=np.float64)


def row(outcomes: Sequence[Outcome]) -> str:
    """Return the line of the table for outcomes [drives] of one rate and one noise."""

    def rms(parts: Sequence[Floats]) -> float:
        return float(np.sqrt(np.mean(np.concatenate(parts) ** 2)))

    speed = rms([o.estimate.error[0] for o in outcomes])
    best = rms([o.bound.error[0] for o in outcomes])
    claimed = rms([o.bound.u[0] for o in outcomes])
    every = np.concatenate([o.estimate.held for o in outcomes], axis=1).mean(axis=1)
    own = np.concatenate([o.bound.held for o in outcomes], axis=1).mean(axis=1)
    stop = [float(np.concatenate([o.stop_held[i] for o in outcomes]).mean()) for i in range(3)]
    rush = rms([o.estimate.error[1] for o in outcomes]) / rms([o.bound.error[1] for o in outcomes])
    return (
        f"{speed / rms([o.raw for o in outcomes]):7.3f}{speed / best:8.3f}{rush:8.3f}"
        f"{every[0]:9.3f}{every[1]:7.3f}{stop[0]:9.3f}{stop[1]:7.3f}{stop[2]:7.3f}"
        f"{np.mean([o.seconds for o in outcomes]):8.2f}"
        f"{1e3 * best:8.1f}{best / claimed:7.2f}{own[0]:7.3f}{own[1]:7.3f}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--drives", type=int, default=2)
    parser.add_argument("--first", type=int, default=0, help="seed of the first drive")
    parser.add_argument("--rates", type=float, nargs="+", default=RATES_HZ)
    options = parser.parse_args()
    print(f"{'':11}{'speed error':>15}{'accel':>8}{'all moving':>16}{'stops':>23}", end="")
    print(f"{'':8}{'the bound itself':>29}")
    print(f"{'Hz':>4}{'white':>7}{'/raw':>7}{'/bound':>8}{'/bound':>8}{'v':>9}{'a':>7}", end="")
    print(f"{'v':>9}{'a':>7}{'s':>7}{'s/est':>8}{'mm/s':>8}{'/sd':>7}{'v':>7}{'a':>7}")
    for rate in options.rates:
        seeds = range(options.first, options.first + options.drives)
        drives = [run(seed, rate) for seed in seeds]
        for i, white in enumerate(WHITES_MPS):
            print(f"{rate:4g}{white:7.2f}{row([drive[i] for drive in drives])}", flush=True)


if __name__ == "__main__":
    main()
