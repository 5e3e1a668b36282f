"""Rotating parts: a simulated car with heavier ones is measured right, and wrong without them."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest

from roadtest.build_sheet import read_build_sheet
from roadtest.evidence import Evidence
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.pulls import measure_pulls
from tests.evidence_from_truth import evidence_from
from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.receiver import Receiver
from tests.simulation.road import level_road
from tests.simulation.truth import Truth
from tests.small_sheet import small_sheet

CAR = Car()
# No error but rounding: what is left over is the measure's own.
EXACT = Receiver(
    white_mps=0.004, fast_mps=0.0, slow_mps=0.0, altitude_slow_m=0.05, altitude_white_m=0.05
)
AIR = """[conditions]
temperature = "15 degC ± 0 degC"
pressure = "1013.25 hPa ± 0 hPa"
"""
SHEET = small_sheet(CAR, 'mass = "790 kg ± 0 kg"', AIR)


def script(driver: Driver) -> None:
    driver.start_rolling(25.0)
    for _ in range(2):
        driver.coast(27.0, 8.0)
        driver.turn_round()
    for gear, low, high in ((2, 6.0, 17.0), (4, 15.0, 26.0)):
        driver.pull(gear, low, high)


@functools.cache
def drive() -> tuple[Truth, Evidence]:
    truth = simulate(script, CAR, level_road(), seed=1)
    return truth, evidence_from(truth, EXACT, 1, sheet=SHEET)


def f0_n(rotating: str) -> float:
    """Return the force at walking pace that the coasts show, for the sheet's rotating parts."""
    _, evidence = drive()
    about = f'mass = "790 kg ± 0 kg"\n{rotating}'
    sheet = read_build_sheet(small_sheet(CAR, about, AIR).encode(), "b.toml")
    result = measure_coasting(dataclasses.replace(evidence, sheet=sheet), {}).result
    assert result.rolling_coefficient is not None
    return result.rolling_coefficient.value * 790.0 * 9.80665


def test_three_per_cent_of_rotating_parts_stand_in_every_coasting_figure() -> None:
    """What a coast shows is force over effective mass: the force goes with 1 + share, exactly."""
    taken = f0_n("")
    assert taken / f0_n('rotating_mass = "0 % ± 0 %"') == pytest.approx(1.03, abs=2e-3)
    assert taken / f0_n('rotating_mass = "6 % ± 0 %"') == pytest.approx(1.03 / 1.06, abs=2e-3)


def test_the_level_deceleration_and_the_truth_agree_on_the_effective_mass() -> None:
    """Deceleration needs no mass; times effective mass it is the car's force within 1 %."""
    _, evidence = drive()
    result = measure_coasting(evidence, {}).result
    row = result.deceleration[1]
    assert row.speed is not None and row.value is not None
    force = CAR.rolling_force_n + CAR.drag_factor * row.speed.value**2
    assert row.value.value * CAR.effective_mass_kg(0) == pytest.approx(force, rel=0.01)
    (run, *_) = result.runs
    terms = [run.f0, run.f2]
    assert all(term is not None for term in terms)
    shown = sum(t.value * row.speed.value**k for t, k in zip(terms, (0, 2), strict=True) if t)
    assert shown == pytest.approx(force, rel=0.015)  # 3 % would be twice that


@pytest.mark.parametrize(("pull", "gear", "share"), [("pull-1", 2, 0.233), ("pull-2", 4, 0.085)])
def test_power_counts_the_rotating_parts_of_its_gear(pull: str, gear: int, share: float) -> None:
    """Without them the force that a car gathers speed by would be 19 % and 8 % too small."""
    truth, evidence = drive()
    coasting = measure_coasting(evidence, {})
    found = measure_pulls(evidence, {"pull-1": 2, "pull-2": 4}, coasting)
    run = next(r for r in found.result.runs if r.manoeuvre == pull)
    made = truth.of_kind("pull")[("pull-1", "pull-2").index(pull)]
    middle = run.curve[len(run.curve) // 2]
    when = truth.rises_through(middle.speed_mps, made.start_s)
    true = float(np.interp(when, truth.t_s, truth.drive_force_n))
    assert middle.force is not None
    assert middle.force.value == pytest.approx(true, rel=0.02)
    assert CAR.effective_mass_kg(gear) / 790.0 - 1.0 == pytest.approx(share, abs=1e-3)
    wrong = measure_pulls(evidence, {pull: 5}, coasting)
    light = next(r for r in wrong.result.runs if r.manoeuvre == pull).curve
    assert light[len(light) // 2].force is not None
    assert light[len(light) // 2].force.value < 0.99 * true  # type: ignore[union-attr]
