"""Probability of conforming: worked examples of JCGM 106:2012, and a worked speedometer decision.

The clause numbers of the JCGM examples were seen in a list of them; the numbers themselves are
values from memory. Tolerance: half the last printed digit.
"""

from __future__ import annotations

import pytest

from roadtest.quantity import Quantity
from roadtest.results import Limit
from roadtest.verdicts import judge

K95 = 1.959963984540054  # 0.975 quantile of the normal distribution
MPH = 0.44704  # m/s, exact
R39_ALLOWANCE_MPH = 4.0 / 1.609344  # 4 km/h


def _measured(value: float, u: float, unit: str) -> Quantity:
    return Quantity(value, K95 * u, unit)


@pytest.mark.source("JCGM 106:2012, 7.3.3, example 1", "value from memory")
def test_7_3_3_example_1_upper_limit_on_a_breakdown_voltage() -> None:
    judgement = judge(_measured(-5.47, 0.05, "V"), Limit(None, -5.40, "V"))
    assert judgement.probability == pytest.approx(0.92, abs=0.005)
    assert judgement.probability == pytest.approx(0.919, abs=0.0005)  # Φ(1.4)
    assert judgement.verdict == "not proven"


@pytest.mark.source("JCGM 106:2012, 7.3.3, example 2", "value from memory")
def test_7_3_3_example_2_lower_limit_on_a_pressure() -> None:
    judgement = judge(_measured(509.7, 8.6, "kPa"), Limit(490.0, None, "kPa"))
    assert judgement.probability == pytest.approx(0.989, abs=0.0005)  # Φ(2.29)
    assert judgement.verdict == "pass"  # 490 lies 2.29 u away, more than 1.96


@pytest.mark.source("JCGM 106:2012, 7.4", "value from memory")
def test_7_4_limits_on_both_sides_of_a_viscosity() -> None:
    judgement = judge(_measured(13.6, 1.8, "mm²/s"), Limit(12.5, 16.3, "mm²/s"))
    assert judgement.probability == pytest.approx(0.66, abs=0.005)
    assert judgement.probability == pytest.approx(0.663, abs=0.0005)
    assert judgement.verdict == "not proven"


@pytest.mark.source("JCGM 106:2012, 8.3.3 (clause number unsure)", "value from memory")
def test_8_3_3_speed_that_exceeds_100_with_probability_99_9_percent() -> None:
    """Clause number unsure. u is 2 % of the reading; 107 km/h is printed, 106.6 its arithmetic."""
    limit = Limit(None, 100.0, "km/h")
    at = {speed: judge(_measured(speed, 0.02 * speed, "km/h"), limit) for speed in (106.0, 107.0)}
    assert at[107.0].probability < 0.001 < at[106.0].probability
    edge = 100.0 / (1.0 - 3.090 * 0.02)
    judgement = judge(_measured(edge, 0.02 * edge, "km/h"), limit)
    assert judgement.probability == pytest.approx(0.001, abs=5e-6)
    assert judgement.verdict == "fail"


@pytest.mark.source("UN R39, 5.3, with the normal distribution of JCGM 106", "our own arithmetic")
@pytest.mark.parametrize(
    ("true_mph", "probability", "digit", "verdict"),
    [(59.5, 0.798, 5e-4, "not proven"), (58.2, 0.9987, 5e-5, "pass")],
)
def test_dial_held_at_60_mph_against_un_r39(
    true_mph: float, probability: float, digit: float, verdict: str
) -> None:
    """UN R39, 5.3: 0 <= shown - true <= 0.1 true + 4 km/h; Φ values by our own arithmetic."""
    limit = Limit(0.0, (0.1 * true_mph + R39_ALLOWANCE_MPH) * MPH, "m/s")
    judgement = judge(_measured((60.0 - true_mph) * MPH, 0.6 * MPH, "m/s"), limit)
    assert judgement.probability == pytest.approx(probability, abs=digit)
    assert judgement.verdict == verdict


@pytest.mark.source("UN R39, 5.3", "our own arithmetic")
def test_un_r39_upper_side_at_60_mph_on_the_dial_is_met_down_to_52_29_mph_true() -> None:
    edge_mph = (60.0 - R39_ALLOWANCE_MPH) / 1.1
    assert edge_mph == pytest.approx(52.29, abs=0.005)
    for true_mph, verdict in ((edge_mph + 0.01, "pass"), (edge_mph - 0.01, "fail")):
        limit = Limit(0.0, 0.1 * true_mph + R39_ALLOWANCE_MPH, "mph")
        assert judge(Quantity(60.0 - true_mph, 0.0, "mph"), limit).verdict == verdict
