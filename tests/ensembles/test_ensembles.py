"""The comparison with the truth can fail, and the random drives are what they say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadtest.quantity import Quantity
from roadtest.results import (
    DriveInfo,
    Finding,
    GearingResult,
    GearRow,
    Limit,
    Manoeuvre,
    Results,
    Step,
)
from tests.ensembles.drives import RandomDrive, random_folder, unkind_receiver
from tests.ensembles.held import Comparison, judgements, manoeuvre_counts, phantom_gears
from tests.simulation.tach import TachRows, interpolated
from tests.simulation.truth import from_profile


@pytest.fixture(scope="module")
def drive() -> RandomDrive:
    return random_folder(2)


def test_a_drive_is_the_same_every_time_and_has_its_files(drive: RandomDrive) -> None:
    again = random_folder(2)
    assert again.files == drive.files
    assert {"build.toml", "notes.csv"} < set(drive.files)
    assert random_folder(3).files != drive.files


def test_a_right_figure_is_held_and_a_wrong_one_is_not(drive: RandomDrive) -> None:
    car = drive.truth.car
    true = car.ratios[0] / car.ratios[1]
    right = Results(
        drive=DriveInfo(duration_s=float(drive.truth.t_s[-1])),
        gearing=GearingResult(
            gears=(GearRow(1), GearRow(2)), steps=(Step(1, 2, Quantity(true, 0.01, "1")),)
        ),
    )
    wrong = replace(
        right,
        gearing=replace(right.gearing, steps=(Step(1, 2, Quantity(true + 0.02, 0.01, "1")),)),
    )
    errors = [
        next(
            one.error
            for one in Comparison(drive, results, 0.0).run()
            if one.what == "gearing.steps"
        )
        for results in (right, wrong)
    ]
    assert errors == pytest.approx([0.0, 0.02])


def test_a_verdict_is_held_against_the_true_one(drive: RandomDrive) -> None:
    car = drive.truth.car
    step = Quantity(car.ratios[0] / car.ratios[1] + 0.05, 0.01, "1")
    results = Results(
        gearing=GearingResult(gears=(GearRow(1), GearRow(2)), steps=(Step(1, 2, step),)),
        findings=(
            Finding("gearbox", "", "pass", step, Limit(step.value - 0.02, None, "1")),
            Finding("other", "", "pass", Quantity(1.0, 0.1, "s"), Limit(None, 2.0, "s")),
        ),
    )
    found = list(judgements(results, Comparison(drive, results, 0.0).run()))
    assert [(one.given, one.true) for one in found] == [("pass", "fail"), ("pass", "not known")]
    assert found[0].distance == pytest.approx(3.0)


def test_missed_and_made_up_manoeuvres_are_counted(drive: RandomDrive) -> None:
    fitted = replace(drive.fitted, receiver=replace(drive.fitted.receiver, gaps=()))
    drive = replace(drive, fitted=fitted)
    stops = drive.truth.of_kind("stop")
    seen = [
        Manoeuvre(f"stop-{k}", "stop", stop.start_s, stop.end_s) for k, stop in enumerate(stops[1:])
    ]
    hold = drive.truth.of_kind("hold")[0]
    made_up = Manoeuvre("stop-9", "stop", hold.start_s, hold.end_s)
    counts = manoeuvre_counts(drive, Results(manoeuvres=(*seen, made_up)), 0.0)
    assert counts["stop"] == [len(stops), len(stops) - 1, 1]
    assert counts["hold"][1:] == [0, 0]


def test_gears_the_car_does_not_have_are_counted(drive: RandomDrive) -> None:
    count = len(drive.truth.car.ratios)
    rows = tuple(GearRow(k + 1) for k in range(count + 2))
    assert phantom_gears(drive, Results(gearing=GearingResult(gears=rows))) == 2


def test_interpolated_rows_blend_their_neighbours() -> None:
    rows = TachRows(np.array([0.0, 2.0, 4.0]), np.array([1000.0, 3000.0, 2000.0]))
    blended = interpolated(rows, 1.0)
    np.testing.assert_allclose(blended.clock_s, [0.0, 1.0, 2.0, 3.0])
    np.testing.assert_allclose(blended.rpm, [1000.0, 2000.0, 3000.0, 2500.0])


def test_errors_of_random_receivers_last_as_long_as_their_source_has_them() -> None:
    """What `tests.simulation.receiver` quotes: of 0.033 m/s, 0.27 at 1 s, 0.15 to 0.18 at 2 to 3 s
    and 0.07 from 5 to 20 s."""
    still = from_profile(np.zeros(1000), 10.0)
    receivers = [
        unkind_receiver(still, seed, np.random.default_rng([seed, 77]))[0] for seed in range(3000)
    ]
    fast, fast_s, slow, slow_s = np.array(
        [(r.fast_mps, r.fast_tau_s, r.slow_mps, r.slow_tau_s) for r in receivers]
    ).T

    def alike(lag_s: float) -> float:
        both = fast**2 * np.exp(-lag_s / fast_s) + slow**2 * np.exp(-lag_s / slow_s)
        return float(both.mean()) / 0.033**2

    assert alike(1.0) == pytest.approx(0.27, abs=0.02)
    assert [alike(2.0), alike(3.0)] == pytest.approx([0.18, 0.15], abs=0.02)
    assert np.mean([alike(lag) for lag in np.linspace(5.0, 20.0, 16).tolist()]) == pytest.approx(
        0.07, abs=0.02
    )
