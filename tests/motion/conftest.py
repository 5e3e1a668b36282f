"""Simulated drives and their estimates, made once for all tests of the motion."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from roadtest.motion.estimate import Draws, Motion, Span, estimate
from roadtest.motion.screening import Screened, screen
from tests.evidence_from_truth import gps_log
from tests.simulation.ensembles import random_holds, random_receiver, random_stops
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth


@dataclass(frozen=True, eq=False)
class Case:
    """A truth, its log screened, and the estimate of it."""

    truth: Truth
    screened: Screened
    motion: Motion
    rng: np.random.Generator

    @property
    def late_s(self) -> float:
        """What to add to the estimate's times to get the truth's."""
        return self.screened.start_unix_s - self.truth.start_utc_s

    def true_rates(self, time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return level speed and its rate of change over ±10 ms at the estimate's times."""
        level = self.truth.speed_mps / np.sqrt(1.0 + self.truth.grade**2)
        at, h = time_s + self.late_s, self.truth.step_s
        ahead = np.interp(at + h, self.truth.t_s, level)
        behind = np.interp(at - h, self.truth.t_s, level)
        return np.interp(at, self.truth.t_s, level), (ahead - behind) / (2.0 * h)

    def level_way(self, start_s: float, end_s: float) -> float:
        """Return the level distance between two of the estimate's times."""
        time = np.linspace(start_s, end_s, max(int((end_s - start_s) * 200), 2))
        return float(np.trapezoid(self.true_rates(time)[0], time))

    def stop_draws(self, count: int = 200, margin_s: float = 2.0) -> tuple[Draws, ...]:
        """Return joint draws over each true stop."""
        spans = [
            Span(m.start_s - self.late_s - margin_s, m.end_s - self.late_s + margin_s)
            for m in self.truth.of_kind("stop")
        ]
        return self.motion.draws(spans, count, np.random.default_rng(1))


def make_case(truth: Truth, receiver: Receiver, seed: int = 0, *, with_speed: bool = True) -> Case:
    """Return the case of a drive logged by `receiver`."""
    screened = screen(gps_log(truth, receiver, seed, with_speed=with_speed))
    rng = np.random.default_rng([seed, 99])
    return Case(truth, screened, estimate(screened.observed, rng), rng)


@cache
def _stops(seed: int) -> Truth:
    return random_stops(seed, 3)


@cache
def _holds(seed: int) -> Truth:
    return random_holds(seed, (13.4, 22.4))


@cache
def _stop_cases(rate_hz: float) -> tuple[Case, ...]:
    return tuple(make_case(_stops(k), random_receiver(k, rate_hz), k) for k in range(8))


@pytest.fixture(scope="session")
def stops_truth() -> Callable[[int], Truth]:
    """Return short drives with three stops, by seed."""
    return _stops


@pytest.fixture(scope="session")
def holds_truth() -> Callable[[int], Truth]:
    """Return short drives with two holds, by seed."""
    return _holds


@pytest.fixture(scope="session")
def stop_cases() -> Callable[[float], tuple[Case, ...]]:
    """Return eight estimated drives with stops, by rate."""
    return _stop_cases


@pytest.fixture(scope="session")
def stops_at_5_hz() -> Case:
    """Return one drive with stops, logged at 5 Hz."""
    return make_case(_stops(0), Receiver(rate_hz=5.0), 0)
