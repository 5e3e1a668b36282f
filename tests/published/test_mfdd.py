"""Formulas of a stop against the published definition and a stop worked by hand.

Definition: dm = (vb² − ve²) / (25.92 (se − sb)), km/h and m, vb = 0.8 v1, ve = 0.1 v1 (71/320/EEC,
Annex II, 1.1.2; UN R13, Annex 4, 1.1.2) [read in stored copies]. The worked stop is our own
arithmetic: 100 km/h, 0.1 s nothing, even rise in 0.3 s to 7.0 m/s², then constant.
"""

import numpy as np
import pytest

from roadtest.measures.mfdd import (
    LOWER_SHARE,
    UPPER_SHARE,
    deceleration_of_efficiency,
    distance_at_nominal,
    efficiency,
    level_deceleration,
    lost_time,
    mean_fully_developed_deceleration,
)
from roadtest.units import from_si, to_si

pytestmark = pytest.mark.source(
    "71/320/EEC, Annex II, 1.1.2; UN R13, Annex 4, 1.1.2: mean fully developed deceleration",
    "read in a stored copy",
)

V1 = to_si(100.0, "km/h")
VB, VE = UPPER_SHARE * V1, LOWER_SHARE * V1
DEAD_S, RISE_S, FULL_MPS2 = 0.1, 0.3, 7.0

# The stop in closed form: to the end of the rise, and from there v² = v_r² − 2 a (s − s_r).
V_AFTER_RISE = V1 - 0.5 * FULL_MPS2 * RISE_S
S_AFTER_RISE = V1 * (DEAD_S + RISE_S) - FULL_MPS2 * RISE_S**2 / 6.0


def travelled_m(down_to_mps: float) -> float:
    return S_AFTER_RISE + (V_AFTER_RISE**2 - down_to_mps**2) / (2.0 * FULL_MPS2)


def test_shares_of_initial_speed_are_the_published_ones() -> None:
    assert from_si(VB, "km/h") == pytest.approx(80.0)
    assert from_si(VE, "km/h") == pytest.approx(10.0)


@pytest.mark.source(
    "71/320/EEC, Annex II, 1.1.2: the definition, over a stop worked by hand",
    "definition read, stop by our own arithmetic",
)
def test_worked_stop() -> None:
    assert from_si(V_AFTER_RISE, "km/h") == pytest.approx(96.22, abs=0.005)
    sb, se, stop = travelled_m(VB), travelled_m(VE), travelled_m(0.0)
    assert sb == pytest.approx(26.7595, abs=0.5e-4)
    assert se == pytest.approx(61.4817, abs=0.5e-4)
    assert stop == pytest.approx(62.033, abs=0.5e-3)
    assert float(mean_fully_developed_deceleration(VB, VE, se - sb)) == pytest.approx(
        7.0, abs=1e-12
    )
    # v² / 2s over the whole stop is another, smaller figure.
    whole = float(mean_fully_developed_deceleration(V1, 0.0, stop))
    assert whole == pytest.approx(6.219, abs=0.5e-3)


def test_si_form_equals_the_published_one_in_kmh() -> None:
    vb_kmh, ve_kmh, distance = 83.7, 9.9, 41.3
    published = (vb_kmh**2 - ve_kmh**2) / (25.92 * distance)
    ours = mean_fully_developed_deceleration(to_si(vb_kmh, "km/h"), to_si(ve_kmh, "km/h"), distance)
    assert float(ours) == pytest.approx(published, rel=1e-14)


def test_mean_is_over_distance_not_over_time() -> None:
    # Half the speed lost at 4 m/s², the rest at 8: over distance (10² − 5²)/8 m, then 5²/16 m.
    distance = (10.0**2 - 5.0**2) / 8.0 + 5.0**2 / 16.0
    over_time = 10.0 / (5.0 / 4.0 + 5.0 / 8.0)
    mean = float(mean_fully_developed_deceleration(10.0, 0.0, distance))
    assert mean == pytest.approx(100.0 / (2.0 * distance))
    assert mean < over_time


def test_draws_are_worked_all_at_once_and_impossible_ones_are_nan() -> None:
    distance = np.array([34.0, 35.0, 0.0, -1.0, np.nan])
    draws = mean_fully_developed_deceleration(VB, VE, distance)
    assert draws.shape == (5,)
    assert np.isnan(draws).tolist() == [False, False, True, True, True]
    assert draws[0] == float(mean_fully_developed_deceleration(VB, VE, 34.0))
    assert distance.tolist()[:4] == [34.0, 35.0, 0.0, -1.0]


@pytest.mark.source(
    "distance brought to a nominal speed, by the square of the speeds",
    "our own arithmetic",
)
@pytest.mark.parametrize(
    ("distance", "initial", "nominal", "unit", "length", "answer", "half_digit"),
    [
        (43.2, 98.4, 100.0, "km/h", "m", 44.62, 0.005),
        (160.0, 58.7, 60.0, "mph", "ft", 167.2, 0.05),
    ],
)
def test_square_law(
    distance: float,
    initial: float,
    nominal: float,
    unit: str,
    length: str,
    answer: float,
    half_digit: float,
) -> None:
    corrected = distance_at_nominal(
        to_si(distance, length), to_si(initial, unit), to_si(nominal, unit)
    )
    assert from_si(float(corrected), length) == pytest.approx(answer, abs=half_digit)


def stop_from(initial_mps: float) -> float:
    """Return the worked stop's length (m) from another speed."""
    after = initial_mps - 0.5 * FULL_MPS2 * RISE_S
    rise = initial_mps * (DEAD_S + RISE_S) - FULL_MPS2 * RISE_S**2 / 6.0
    return rise + after**2 / (2.0 * FULL_MPS2)


@pytest.mark.source("distance brought to a nominal speed, with the time lost", "our own arithmetic")
@pytest.mark.parametrize("initial_kmh", [90.0, 95.0, 104.0, 112.0])
def test_lost_time_form_is_far_closer_than_the_square_law(initial_kmh: float) -> None:
    initial = to_si(initial_kmh, "km/h")
    truth = stop_from(V1)
    plain = float(distance_at_nominal(stop_from(initial), initial, V1))
    t0 = float(lost_time(DEAD_S, RISE_S))
    better = float(distance_at_nominal(stop_from(initial), initial, V1, t0))
    assert t0 == pytest.approx(0.25)
    assert abs(better - truth) < 0.03 * abs(plain - truth)
    # What is left is the rise's a·t_r²/24, which does not change with speed but is scaled too.
    residue = FULL_MPS2 * RISE_S**2 / 24.0 * (1.0 - (V1 / initial) ** 2)
    assert better - truth == pytest.approx(residue, abs=1e-9)


@pytest.mark.source("distance brought to a nominal speed", "our own arithmetic")
def test_square_law_overcorrects_from_a_lower_speed() -> None:
    initial = to_si(95.0, "km/h")
    assert float(distance_at_nominal(stop_from(initial), initial, V1)) > stop_from(V1)


@pytest.mark.source("distance brought to a nominal speed", "our own arithmetic")
def test_distance_from_the_nominal_speed_is_unchanged() -> None:
    assert float(distance_at_nominal(50.0, V1, V1)) == pytest.approx(50.0, rel=1e-15)
    assert float(distance_at_nominal(50.0, V1, V1, 0.25)) == pytest.approx(50.0, rel=1e-15)


@pytest.mark.source("distance brought to a nominal speed", "our own arithmetic")
def test_distance_draws_with_an_initial_speed_of_nothing_are_nan() -> None:
    draws = distance_at_nominal(np.array([40.0, 41.0]), np.array([27.0, 0.0]), V1, np.full(2, 0.2))
    assert np.isnan(draws).tolist() == [False, True]


@pytest.mark.source("standard gravity on a slope (3rd CGPM, 1901)", "our own arithmetic")
def test_one_percent_of_grade_is_0098() -> None:
    uphill = float(level_deceleration(6.0, 0.01))
    downhill = float(level_deceleration(6.0, -0.01))
    assert 6.0 - uphill == pytest.approx(0.0981, abs=0.5e-4)
    assert 0.5 * (uphill + downhill) == pytest.approx(6.0, rel=1e-14)


@pytest.mark.source("percent of weight against deceleration (3rd CGPM, 1901)", "our own arithmetic")
@pytest.mark.parametrize(
    ("percent", "deceleration"), [(50, 4.90), (58, 5.69), (16, 1.57), (25, 2.45)]
)
def test_percent_of_weight_both_ways(percent: float, deceleration: float) -> None:
    ours = float(deceleration_of_efficiency(percent / 100.0))
    assert ours == pytest.approx(deceleration, abs=0.005)
    assert 100.0 * float(efficiency(ours)) == pytest.approx(percent, rel=1e-14)


@pytest.mark.source(
    "49 CFR 393.52(d), as printed in Pennsylvania Code title 67, chapter 175, Table I",
    "read in a stored copy",
)
@pytest.mark.parametrize(("fps2", "share"), [(21.0, 0.6527), (17.0, 0.5284), (14.0, 0.4351)])
def test_feet_per_second_squared_as_share_of_weight(fps2: float, share: float) -> None:
    assert float(efficiency(to_si(fps2, "ft/s²"))) == pytest.approx(share, abs=0.5e-4)


@pytest.mark.source("standard gravity on a slope (3rd CGPM, 1901)", "our own arithmetic")
def test_grade_is_rise_over_level_distance_and_not_a_sine() -> None:
    # One in five: sin(arctan 0.2) = 0.2 / √1.04.
    pull = 6.0 - float(level_deceleration(6.0, 0.2))
    assert pull == pytest.approx(9.80665 * 0.2 / 1.04**0.5, rel=1e-12)
