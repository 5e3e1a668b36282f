"""What a drive was found to hold against what it held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from roadtest.manoeuvres import Manoeuvre, find_manoeuvres
from roadtest.motion.estimate import Motion, estimate
from roadtest.motion.screening import screen
from tests.evidence_from_truth import gps_log
from tests.simulation import truth as simulated
from tests.simulation.driver import Driver
from tests.simulation.ensembles import random_car, random_road
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Floats, Truth

FOUND_AS = {
    "hold": "hold",
    "pull": "pull",
    "standing": "pull",
    "stop": "stop",
    "snub": "stop",
    "interrupted": "stop",
    "coast": "coast",
}
NOT_TO_BE_USED = ("snub", "interrupted")


@dataclass(frozen=True)
class Seen:
    """One true manoeuvre, and what it was found as (None: not at all)."""

    kind: str  # the truth's
    start_s: float  # on the clock of the found ones
    end_s: float
    found: Manoeuvre | None

    @property
    def right(self) -> bool:
        """Whether it was found, and used if it should be."""
        return self.found is not None and self.found.used == (self.kind not in NOT_TO_BE_USED)


@dataclass(frozen=True)
class Score:
    """All true manoeuvres, and those found and used where there was none."""

    seen: tuple[Seen, ...]
    phantom: tuple[Manoeuvre, ...]


def motion_of(
    truth: Truth, receiver: Receiver, seed: int = 0, *, with_speed: bool = True
) -> tuple[Motion, float]:
    """Return the motion estimated from a receiver's log, and its zero on the truth's clock."""
    screened = screen(gps_log(truth, receiver, seed, with_speed=with_speed))
    motion = estimate(screened.observed, np.random.default_rng([seed, 98]))
    return motion, screened.start_unix_s - truth.start_utc_s


def found_in(truth: Truth, receiver: Receiver, seed: int = 0) -> tuple[Manoeuvre, ...]:
    """Return what is found in a receiver's log of a drive."""
    motion, _ = motion_of(truth, receiver, seed)
    return find_manoeuvres(motion)


def score(truth: Truth, found: Sequence[Manoeuvre], start_s: float) -> Score:
    """Return how `found`, on a clock that starts at `start_s` of the truth's, fits the truth."""
    seen = [
        _seen(truth, made, found, start_s) for made in truth.manoeuvres if made.kind in FOUND_AS
    ]
    matched = {one.found.id for one in seen if one.found}
    return Score(tuple(seen), tuple(made for made in found if made.used and made.id not in matched))


def _seen(
    truth: Truth, made: simulated.Manoeuvre, found: Sequence[Manoeuvre], start_s: float
) -> Seen:
    begin, end = made.start_s, made.end_s
    if made.kind == "coast":
        begin = truth.falls_through(made.figures["from_mps"], begin - truth.step_s)
        end = truth.falls_through(made.figures["to_mps"], begin)
    begin, end = begin - start_s, end - start_s
    fitting = [
        one
        for one in found
        if one.kind == FOUND_AS[made.kind]
        and min(one.end_s, end) - max(one.start_s, begin) > 0.5 * (end - begin)
    ]
    return Seen(made.kind, begin, end, fitting[0] if fitting else None)


def driven(*parts: tuple[float, float]) -> Floats:
    """Return accelerations (100 a second) from (seconds, m/s²) parts, for `from_profile`."""
    return np.concatenate([np.full(round(100 * seconds), accel) for seconds, accel in parts])


def town_drive(seed: int, seconds: float = 600.0) -> Truth:
    """Return a drive in town, with nothing done on purpose."""
    driver = Driver(random_car(seed), random_road(seed), seed)
    driver.idle(10.0)
    driver.traffic(seconds)
    return driver.finish()
