"""Pulls and standing starts of simulated cars, and what the tool makes of them."""

from __future__ import annotations

import dataclasses

import numpy as np

from roadtest.evidence import Evidence
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.inertia import U95_GEARED_SHARE
from roadtest.measures.pulls import PullsMeasured, measure_pulls
from tests.evidence_from_truth import evidence_from
from tests.measures.coasting.drives import Error, sheet_for
from tests.simulation.car import Car
from tests.simulation.driver import Driver
from tests.simulation.ensembles import random_car, random_receiver, random_road
from tests.simulation.truth import Manoeuvre, Truth


def doubtful_car(seed: int) -> Car:
    """Return a random car whose rotating parts are as far off the handbook as they may be."""
    rng = np.random.default_rng([seed, 41])
    share = 1.0 + U95_GEARED_SHARE / 1.96 * rng.normal()
    return dataclasses.replace(
        random_car(seed), rotating_base=1.0 + 0.04 * share, rotating_square=0.0025 * share
    )


def pull_drive(seed: int) -> Truth:
    """Return full-throttle pulls in second to fourth gear and a standing start."""
    car = doubtful_car(seed)
    driver = Driver(car, random_road(seed), seed)
    driver.start_rolling(12.0)
    for gear in (2, 3, 4):
        low = car.limit_rpm * 0.35 / 60.0 / car.revs_per_metre(gear)
        driver.pull(gear, low, min(1.9 * low, 29.0))
    driver.standing(28.0)
    return driver.finish()


def true_pulls(truth: Truth) -> dict[str, Manoeuvre]:
    """Return the true pulls and standing starts by the name they have in the evidence."""
    made = [m for m in truth.manoeuvres if m.kind in ("pull", "standing")]
    made.sort(key=lambda m: m.start_s)
    return {f"pull-{k}": m for k, m in enumerate(made, start=1)}


def pulls(
    seed: int, rate_hz: float, *, with_speed: bool = True
) -> tuple[Truth, Evidence, PullsMeasured]:
    """Return a simulated drive with pulls and what is measured on it."""
    truth = pull_drive(seed)
    evidence = evidence_from(
        truth,
        random_receiver(seed, rate_hz),
        seed,
        sheet=sheet_for(truth.car, seed),
        with_speed=with_speed,
    )
    gears = {name: made.gear for name, made in true_pulls(truth).items()}
    measured = measure_pulls(evidence, gears, measure_coasting(evidence, {}))
    return truth, evidence, measured


def pull_errors(truth: Truth, measured: PullsMeasured) -> list[Error]:
    """Return times and powers against the truth."""
    true = true_pulls(truth)
    errors = []
    for run in measured.result.runs:
        made = true[run.manoeuvre]
        if run.time is not None and run.from_ is not None and run.to is not None:
            begin = truth.rises_through(run.from_.value, made.start_s - 1.0)
            seconds = truth.rises_through(run.to.value, begin) - begin
            errors.append(Error("time in gear, s", run.time.value - seconds, run.time.u95, seconds))
        if run.peak_power is not None:
            watts = made.figures["peak_power_w"]
            gap, u95 = run.peak_power.value / watts - 1.0, run.peak_power.u95 / watts
            errors.append(Error("peak power, of true", gap, u95, 1.0))
    for row in measured.result.standing:
        assert row.to is not None and row.time is not None and row.manoeuvre is not None
        start = truth.rises_through(1e-9, true[row.manoeuvre].start_s)
        seconds = truth.rises_through(row.to.value, start) - start
        errors.append(Error("time from rest, s", row.time.value - seconds, row.time.u95, seconds))
        if row.after_rollout is not None:
            foot = float(truth.distance_at(start)) + 0.3048
            rolled = float(np.interp(foot, truth.distance_m, truth.t_s))
            gap = row.after_rollout.value - (seconds - (rolled - start))
            errors.append(Error("time after roll-out, s", gap, row.after_rollout.u95, seconds))
    return errors
