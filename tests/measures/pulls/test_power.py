"""The curve of power: where it ends, what a filter and an outlying fix do to it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from roadtest.measures.pulls.curve import Lens, acceleration_at
from roadtest.measures.pulls.lull import lull_s
from roadtest.measures.pulls.power import Resistance, power_curve
from roadtest.measures.stretch import Stretch
from roadtest.measures.windows import Readings
from roadtest.motion.estimate import Span
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import level_road
from tests.small_sheet import small_sheet

COUNT = 200


def test_a_lull_is_where_speed_hardly_grows_any_more() -> None:
    time = np.arange(0.0, 12.0, 0.2)
    speed = 10.0 + 1.5 * np.minimum(time, 5.0) + np.clip(time - 7.0, 0.0, None)
    assert lull_s(time, speed, (0.0, 11.0)) == pytest.approx(5.5, abs=0.3)
    assert lull_s(time, speed, (0.0, 4.0)) == np.inf
    assert lull_s(time, 10.0 + 1.5 * time - 0.05 * time**2, (0.0, 9.0)) == np.inf


def test_driving_on_after_a_pull_is_no_part_of_its_curve() -> None:
    """A slow log merges them: 24 m/s at the end of the pull, 30 m/s at that of the driving on."""

    def script(driver: Driver) -> None:
        driver.start_rolling(12.0)
        driver.pull(4, 12.0, 24.0)
        driver.reach(30.0, gear=4)

    truth = simulate(script, Car(), level_road(), seed=1)
    receiver = Receiver(rate_hz=1.0, white_mps=0.02, fast_mps=0.0, slow_mps=0.0)
    evidence = evidence_from(truth, receiver, 1, sheet=small_sheet(Car(), 'mass = "790 kg"'))
    (found,) = (made for made in evidence.manoeuvres if made.kind == "pull")
    merged = dataclasses.replace(found, end_s=found.end_s + 6.0)
    rng = np.random.default_rng(1)
    (draws,) = evidence.motion.draws([Span(merged.start_s - 2.0, merged.end_s + 2.0)], COUNT, rng)
    evidence = dataclasses.replace(evidence, manoeuvres=(merged,), draws={merged.id: draws})
    still = Resistance(np.zeros((COUNT, 3)), measured=True)
    curve = power_curve(evidence, merged, np.ones(COUNT), still, rng)
    assert curve is not None
    assert curve.speed_mps[-1] == pytest.approx(24.5, abs=0.5)
    inside = (truth.speed_mps > 12.5) & (truth.accel_mps2 > 0.0)
    made = truth.of_kind("pull")[0]
    inside &= (truth.t_s > made.start_s) & (truth.t_s < made.end_s)
    true = np.interp(curve.speed_mps[5:], truth.speed_mps[inside], truth.accel_mps2[inside])
    error = curve.acceleration_mps2[:, 5:].mean(axis=0) - true
    assert np.abs(error).max() < 0.15


def seen(lag_s: float = 0.0, outlier_mps: float = 0.0) -> tuple[Readings, Lens]:
    """Return a pull at an even 1.5 m/s² from 10 m/s, as fixes of 1 Hz show it."""
    time = np.arange(0.0, 8.01, 0.2)
    true = 10.0 + 1.5 * time
    shown = true - 1.5 * lag_s * (1.0 - 0.2 * np.exp(-time / max(lag_s, 1e-9)))
    zero = np.zeros(time.size)
    run = Stretch("pull-1", time, shown, np.zeros((2, time.size)), zero, zero, zero)
    average = np.eye(time.size)[::5]
    said = average @ shown
    said[4] += outlier_mps
    windows = said.size
    white = np.full(windows, 0.05**2)
    readings = Readings(
        run,
        np.arange(0, time.size + 1, 5),
        average,
        said,
        np.diag(white) + 1e-6,
        white,
        np.full(windows, 4.0),
        np.full(windows, np.nan),
        np.ones(windows),
    )
    return readings, Lens(true, lag_s, 100.0)


def test_a_filter_leaves_the_curve_where_it_is() -> None:
    speeds = np.array([10.5, 16.0, 21.5])
    for lag_s in (0.0, 0.5):
        drawn = acceleration_at(speeds, *seen(lag_s), COUNT, np.random.default_rng(2))
        assert drawn.mean(axis=0) == pytest.approx(1.5, abs=0.06)


def test_an_outlying_fix_is_believed_less() -> None:
    speeds = np.array([18.0])
    plain, off = (
        acceleration_at(speeds, *seen(outlier_mps=wild), COUNT, np.random.default_rng(3))
        for wild in (0.0, 1.5)
    )
    assert abs(off.mean() - 1.5) < 0.1
    assert off.std() < 2.0 * plain.std()
