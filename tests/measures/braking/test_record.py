"""The bedding-in record, and the speed that distances are brought to."""

from __future__ import annotations

import numpy as np
import pytest

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking.bedding import Use, bedding_record
from roadtest.measures.braking.nominal import brought_to, nominal_speed

MPH = 0.44704


def use(number: int, from_mps: float, to_mps: float, start_s: float) -> Use:
    """Return a use of the brakes that lasts three seconds."""
    made = Manoeuvre(f"stop-{number}", "stop", start_s, start_s + 3.0, to_rest=to_mps == 0.0)
    rng = np.random.default_rng(number)
    return Use(made, from_mps + 0.05 * rng.standard_normal(200), np.full(200, to_mps))


def test_the_record_counts_lists_and_adds_up() -> None:
    uses = [use(1, 20.0, 10.0, 100.0), use(2, 20.0, 10.0, 140.0), use(3, 15.0, 0.0, 200.0)]
    record = bedding_record(uses, np.full(200, 1000.0))
    assert record is not None
    assert (record.stops, record.snubs) == (1, 2)
    assert [row.kind for row in record.rows] == ["snub", "snub", "stop"]
    assert [row.since_last_s for row in record.rows] == [None, 37.0, 57.0]
    first = record.rows[0]
    assert first.energy is not None
    assert first.energy.value == pytest.approx(150e3, rel=0.01)
    assert first.energy.u95 == pytest.approx(1.96 * 1000.0 * 20.0 * 0.05, rel=0.2)
    assert record.energy is not None
    assert record.energy.value == pytest.approx(412.5e3, rel=0.01)


def test_without_mass_there_is_no_energy_and_without_brakes_no_record() -> None:
    record = bedding_record([use(1, 20.0, 10.0, 100.0)], None)
    assert record is not None
    assert record.energy is None
    assert record.rows[0].energy is None
    assert record.rows[0].from_speed is not None
    assert bedding_record([], np.full(200, 1000.0)) is None


def test_a_use_the_log_does_not_show_is_counted_and_leaves_the_sum_open() -> None:
    lost = Use(Manoeuvre("stop-2", "stop", 150.0, 153.0, to_rest=True), None, None)
    record = bedding_record([use(1, 20.0, 0.0, 100.0), lost], np.full(200, 1000.0))
    assert record is not None
    assert record.stops == 2
    assert record.rows[1].from_speed is None
    assert record.energy is None


def sheet(text: str) -> BuildSheet:
    """Return the build sheet with this text."""
    return read_build_sheet(text.encode(), "build.toml")


@pytest.mark.parametrize(
    ("text", "initial_mps", "nominal_mps"),
    [
        ("", 58.0 * MPH, 60.0 * MPH),
        ('units = "km/h"', 97.0 / 3.6, 100.0 / 3.6),
        ('[targets]\nstopping_distance = {from = "55 mph", at_most = "51 m"}', 60 * MPH, 55 * MPH),
        ('[targets]\nstopping_distance = {from = "55 mph", at_most = "51 m"}', 30 * MPH, 30 * MPH),
        ('[targets]\nstopping_distance = "un-r13h"', 60 * MPH, 100.0 / 3.6),
        ('[targets]\nstopping_distance = "un-r13h"', 31 * MPH, 30 * MPH),
    ],
)
def test_distance_is_brought_to_the_targets_speed_else_to_a_round_one(
    text: str, initial_mps: float, nominal_mps: float
) -> None:
    assert nominal_speed(sheet(text), initial_mps) == pytest.approx(nominal_mps)


def test_distance_goes_with_the_square_of_speed_and_not_beyond_15_percent() -> None:
    distance, initial = np.full(3, 40.0), np.full(3, 25.0)
    brought = brought_to(distance, initial, 24.0)
    assert brought is not None
    np.testing.assert_allclose(brought, 40.0 * (24.0 / 25.0) ** 2)
    assert brought_to(distance, initial, 21.0) is None
