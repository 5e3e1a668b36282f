"""Ratios, steps, clock and sequence against the truth of many drives."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np
import pytest
from scipy.stats import binom

from roadtest.measures.gearing.engine import engine_samples
from roadtest.measures.gearing.follow import Followed, follow
from roadtest.measures.gearing.road import Road
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.cars import shakedown_of
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.ensembles import random_drive, random_receiver
from tests.simulation.receiver import Receiver
from tests.simulation.tach import Tach
from tests.simulation.truth import Truth

DRIVES = 5


def followed(truth: Truth, receiver: Receiver, tach: Tach, seed: int) -> tuple[Followed, float]:
    """Return what is found, and the true start of the evidence's clock."""
    evidence = evidence_from(truth, receiver, seed, tach=[tach_log(truth, tach, seed)], draws=2)
    samples = engine_samples(evidence.tach, evidence.sheet, evidence.start_unix_s)[0]
    return follow(samples, evidence, Road.of(evidence)), evidence.start_unix_s - truth.start_utc_s


def right_gear_share(found: Followed, truth: Truth, tach: Tach) -> float:
    """Return the share of truly locked samples that carry the right gear."""
    time = found.turns.clock_s * (1.0 + tach.drift) + tach.offset_s
    index = np.clip(np.round(time / truth.step_s).astype(int), 0, truth.gear.size - 1)
    locked = truth.gear[index] > 0
    return float(np.mean(found.sequence.gear[locked] + 1 == truth.gear[index][locked]))


@dataclass
class Tally:
    """Errors in standard uncertainties."""

    ratios: list[float] = field(default_factory=list)
    steps: list[float] = field(default_factory=list)
    offsets: list[float] = field(default_factory=list)
    right: list[float] = field(default_factory=list)


@pytest.fixture(scope="module")
def tally() -> Tally:
    made = Tally()
    for seed in range(DRIVES):
        rng = np.random.default_rng([seed, 77])
        truth = random_drive(200 + seed)
        tach = Tach(
            rate_hz=10.0,
            offset_s=rng.uniform(-60.0, 300.0),
            drift=rng.normal(0.0, 4e-5),
            lag_s=rng.uniform(0.05, 0.2),
            step_rpm=float(rng.choice([1.0, 10.0, 25.0])),
        )
        found, start_s = followed(truth, random_receiver(200 + seed, 5.0), tach, seed)
        assert found.fit is not None
        count = len(truth.car.ratios)
        assert found.fit.count == count
        true = np.log([truth.car.revs_per_metre(g + 1) for g in range(count)])
        error = found.fit.log_turns - true
        spread = found.fit.covariance[:count, :count]
        made.ratios += (error / np.sqrt(np.diag(spread))).tolist()
        between = np.diff(np.eye(count), axis=0)
        made.steps += (np.diff(error) / np.sqrt(np.diag(between @ spread @ between.T))).tolist()
        true_offset = tach.apparent_offset_s() + tach.drift * found.samples.time_s[0] - start_s
        made.offsets.append((found.clock.offset_s - true_offset) / found.fit.u_shift_s)
        made.right.append(right_gear_share(found, truth, tach))
    return made


@pytest.mark.parametrize("what", ["ratios", "steps", "offsets"])
def test_95_percent_intervals_hold_the_truth(what: str, tally: Tally) -> None:
    """At least as often as 95 % allows by chance, once in a thousand; figures of a drive share
    errors, so only half of them count."""
    z = np.abs(np.array(getattr(tally, what)))
    inside, counted = int(np.sum(z < 1.96)), z.size
    assert inside / counted >= binom.ppf(0.001, counted // 2, 0.95) / (counted // 2) - 1e-9


@pytest.mark.parametrize("what", ["ratios", "steps"])
def test_intervals_are_not_much_wider_than_they_must_be(what: str, tally: Tally) -> None:
    assert np.sqrt(np.mean(np.square(getattr(tally, what)))) > 0.5


def test_locked_samples_get_the_right_gear(tally: Tally) -> None:
    assert np.mean(tally.right) > 0.99


def test_a_clean_ten_minute_drive_gives_steps_to_three_in_a_thousand() -> None:
    """A quiet 5 Hz receiver, every gear held steadily, as the drive card asks."""

    def script(driver: Driver) -> None:
        driver.idle(10.0)
        driver.traffic(60.0)
        for _ in range(2):
            for gear in range(1, 6):
                low = 1900.0 / 60.0 / driver.car.revs_per_metre(gear)
                driver.hold(min(1.3 * low, 30.0), 20.0, gear=gear)
        driver.traffic(60.0)

    truth = simulate(script, Car(), seed=11)
    assert 400.0 < truth.t_s[-1] < 660.0
    found, _ = followed(truth, Receiver(rate_hz=5.0), Tach(offset_s=20.0), 11)
    assert found.fit is not None
    spread = found.fit.covariance[:5, :5]
    between = np.diff(np.eye(5), axis=0)
    u95 = 1.96 * np.sqrt(np.diag(between @ spread @ between.T))
    assert u95.max() < 0.003
    true = np.diff(np.log([truth.car.revs_per_metre(g) for g in range(1, 6)]))
    assert np.all(np.abs(np.diff(found.fit.log_turns) - true) < 1.5 * u95)


def test_an_engine_behind_a_slipping_converter_has_no_gears() -> None:
    """Engine speed goes with load and wanders against road speed, as behind a torque converter."""
    truth = shakedown_of(5)
    wander = np.sin(np.cumsum(np.random.default_rng(0).normal(size=truth.t_s.size)) * 0.1)
    load = truth.drive_force_n / 2000.0
    rpm = 900.0 + 60.0 * truth.speed_mps * (1.6 + 0.4 * load + 0.2 * wander)
    truth = dataclasses.replace(truth, engine_rpm=rpm)
    found, _ = followed(truth, Receiver(rate_hz=5.0), Tach(), 5)
    assert found.fit is None
    assert not found.sequence.locked.any()
