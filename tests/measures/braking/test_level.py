"""The grade under stops: from altitudes, from the other direction, from like braking."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking.level import grades_of, level_of
from roadtest.measures.braking.onset import Onset
from roadtest.measures.braking.stop import StopDraws
from roadtest.motion.hilliness import Grades
from tests.evidence_from_truth import evidence_from
from tests.simulation.ensembles import random_stops
from tests.simulation.receiver import Receiver

G = 9.80665
COUNT = 400


@pytest.fixture(scope="module")
def plain() -> Evidence:
    """Return evidence to put another ground under."""
    return evidence_from(random_stops(1, count=1), Receiver(rate_hz=1.0), 1, draws=2)


def on_a_line(
    plain: Evidence,
    ways: list[int],
    grades: list[float],
    u_grade: float,
    apart_m: float = 0.0,
    speed_mps: float = 15.0,
) -> Evidence:
    """Return evidence of a stop every 100 s along a line, way +1 north and -1 south."""
    n = 100 * (len(ways) + 1)
    time = np.arange(float(n))
    of_stop = np.clip((time // 100).astype(int), 0, len(ways) - 1)
    heading = np.where(np.array(ways)[of_stop] > 0, 0.0, np.pi)
    ground = dataclasses.replace(
        plain.ground,
        time_s=time,
        east_m=np.zeros(n),
        north_m=apart_m * of_stop,
        heading_rad=heading,
        altitude_m=np.zeros(n),
        possible=(Grades(1.0, 0.02, 200.0, np.array(grades)[of_stop], np.full(n, u_grade)),),
    )
    motion = dataclasses.replace(
        plain.motion, time_s=time, distance_m=speed_mps * time, speed_mps=np.full(n, speed_mps)
    )
    return dataclasses.replace(plain, ground=ground, motion=motion)


def stops(mfdds: list[float], sd: float = 0.03) -> list[StopDraws]:
    """Return stops with these decelerations, one every 100 s."""
    rng = np.random.default_rng(3)
    zero = np.zeros(COUNT)
    onset = Onset(zero, zero, zero, zero, zero, zero[:, None])
    return [
        StopDraws(
            manoeuvre=Manoeuvre(f"stop-{k + 1}", "stop", 0.0, 1.0, to_rest=True),
            onset=onset,
            initial_mps=zero + 20.0,
            final_mps=zero,
            end_s=zero,
            distance_m=zero,
            upper_s=zero + 100.0 * k + 40.0,
            lower_s=zero + 100.0 * k + 43.0,
            mfdd_mps2=mfdd + sd * rng.standard_normal(COUNT),
            peak_mps2=zero,
            mean_mps2=zero,
            build_up_s=zero,
        )
        for k, mfdd in enumerate(mfdds)
    ]


def grades(
    evidence: Evidence, made: list[StopDraws], like: bool = True
) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and standard deviation of each stop's grade, and keep the draws' order."""
    drawn = grades_of(evidence, made, np.full(len(made), like), np.random.default_rng(4))
    assert drawn.shape == (len(made), COUNT)
    return drawn.mean(axis=1), drawn.std(axis=1)


def test_one_stop_has_the_grade_and_the_uncertainty_of_the_ground(plain: Evidence) -> None:
    mean, sd = grades(on_a_line(plain, [1], [0.012], 0.008), stops([6.0]))
    assert mean[0] == pytest.approx(0.012, abs=0.0015)
    assert sd[0] == pytest.approx(0.008, rel=0.15)


def test_the_other_direction_over_the_same_ground_makes_the_grade_better_known(
    plain: Evidence,
) -> None:
    evidence = on_a_line(plain, [1, -1], [0.012, -0.008], 0.008)
    mean, sd = grades(evidence, stops([6.0, 6.0]), like=False)
    assert mean[0] == pytest.approx(-mean[1], abs=0.0015)
    assert 0.008 < mean[0] < 0.0125
    assert (sd < 0.0066).all()  # two looks at one hill, the thought of roads beforehand once


def test_stops_made_soon_after_each_other_rest_on_the_same_altitudes(plain: Evidence) -> None:
    evidence = on_a_line(plain, [1, -1], [0.012, -0.012], 0.008, speed_mps=0.01)
    mean, sd = grades(evidence, stops([6.0, 6.0]), like=False)
    assert mean == pytest.approx([0.012, -0.012], abs=0.0015)
    assert sd == pytest.approx([0.008, 0.008], rel=0.15)  # one look at the hill, not two


def test_how_hilly_is_told_by_the_braking_too(plain: Evidence) -> None:
    flat = on_a_line(plain, [1, -1] * 3, [0.0] * 6, 0.002)
    n = flat.ground.time_s.size
    possible = tuple(
        Grades(p, spread, 200.0, np.zeros(n), np.full(n, spread))
        for p, spread in ((0.9, 0.002), (0.1, 0.02))
    )
    either = dataclasses.replace(flat, ground=dataclasses.replace(flat.ground, possible=possible))
    made = stops([6.0 + way * G * 0.02 for way in [1, -1] * 3])
    assert grades(either, made)[0][0] == pytest.approx(0.02, abs=0.006)
    # Without what stops show, the flat road's tails are those of the hilly one.
    drawn = grades_of(either, made, np.full(6, False), np.random.default_rng(7))[0]
    assert 0.03 < np.mean(np.abs(drawn) > 0.006) < 0.15


def test_ground_far_away_tells_nothing(plain: Evidence) -> None:
    evidence = on_a_line(plain, [1, -1], [0.012, -0.008], 0.008, apart_m=3000.0)
    mean, sd = grades(evidence, stops([6.0, 6.0]), like=False)
    assert mean[0] == pytest.approx(0.012, abs=0.0015)
    assert sd[0] == pytest.approx(0.008, rel=0.15)


def test_no_grade_changes_much_within_a_few_dozen_metres(plain: Evidence) -> None:
    evidence = on_a_line(plain, [1, 1], [0.0, 0.0], 0.02, apart_m=50.0)
    drawn = grades_of(evidence, stops([6.0, 6.0]), np.full(2, False), np.random.default_rng(6))
    # A grade that may have kinks, e^(-d/reach), would differ by 0.013.
    assert np.std(drawn[1] - drawn[0]) == pytest.approx(0.02 * np.sqrt(2 * 0.0902), rel=0.15)


def test_without_altitudes_pairs_of_like_stops_show_the_hill(plain: Evidence) -> None:
    evidence = on_a_line(plain, [1, -1, 1, -1, 1, -1], [0.0] * 6, 0.02)
    hill = 0.02
    made = stops([6.0 + way * G * hill + 0.02 * k for k, way in enumerate([1, -1, 1, -1, 1, -1])])
    mean, sd = grades(evidence, made)
    assert mean[0] == pytest.approx(hill, abs=2.5 * sd[0])
    assert sd[0] < 0.008
    level = level_of(
        made, grades_of(evidence, made, np.full(6, True), np.random.default_rng(5))
    ).mean(axis=1)
    assert np.ptp(level) < 0.5 * np.ptp([stop.mfdd_mps2.mean() for stop in made])


def test_unlike_stops_do_not_speak_of_the_hill(plain: Evidence) -> None:
    evidence = on_a_line(plain, [1, -1], [0.0, 0.0], 0.02)
    mean, sd = grades(evidence, stops([7.0, 5.0]), like=False)
    np.testing.assert_allclose(mean, 0.0, atol=0.003)
    assert (sd > 0.015).all()


def test_a_driver_who_brakes_very_differently_is_not_taken_for_a_cliff(plain: Evidence) -> None:
    evidence = on_a_line(plain, [1, -1], [0.0, 0.0], 0.01)
    mean, sd = grades(evidence, stops([8.0, 4.0]))
    assert np.abs(mean).max() < 0.012
    assert (sd > 0.007).all()
