"""Road load against figures from outside the project.

- Coast-down statistic and its table of t: StVZO Anlage XXIII 3.9.2 [read in a stored copy]; the
  timings put through it are our own arithmetic.
- Test-car list of the US EPA, 2008: coast-down times filed beside weight and coefficients; 2016:
  coefficients [read in stored copies of the public files]. Meaning of the time column (55 to
  45 mph) is inferred from the numbers, not from a description.
- Table road load of the old European cycle [read second-hand, on a slide].
- Worked coast: our own arithmetic, from the closed form for f1 = 0.
"""

import math

import numpy as np
import pytest

from roadtest.measures.road_load import (
    RoadLoad,
    coast_down_force,
    coast_down_precision,
    drag_area,
    rolling_coefficient,
)
from roadtest.units import to_si

MASS_KG = 790.0 * 1.03
WORKED = RoadLoad(120.0, 0.0, 0.40)
KMH = 1.0 / 3.6
MPH = to_si(1.0, "mph")
LBF = to_si(1.0, "lbf")
LB = to_si(1.0, "lb")

# id, weight lb, A lbf, B lbf/mph, C lbf/mph², filed s, filed over the time without rotating parts
EPA_2008 = [
    ("MC6D6U16A1", 2750.0, 31.05, 0.0, 0.0198, 15.82, 1.0135),
    ("MC6D6U21A1", 2750.0, 32.529, 0.0, 0.0195, 15.70, 1.0151),
    ("8AU2-2.0-L-323", 3000.0, 26.61, 0.1625, 0.01835, 17.26, 1.0141),
    ("KJB468", 3000.0, 15.83, 0.3053, 0.02015, 17.12, 1.0151),
    ("KJB594", 3000.0, 38.10, -0.3877, 0.02602, 16.62, 1.0147),
    ("R171E30-Z6022", 3500.0, 32.541, 0.39801, 0.016227, 17.41, 1.0124),
]


def from_pounds(a: float, b: float, c: float) -> RoadLoad:
    return RoadLoad(a * LBF, b * LBF / MPH, c * LBF / MPH**2)


@pytest.mark.source("closed form of a coast for f1 = 0", "our own arithmetic")
@pytest.mark.parametrize(
    ("from_kmh", "to_kmh", "seconds"),
    [(100.0, 80.0, 12.276), (80.0, 60.0, 16.744), (100.0, 20.0, 82.550)],
)
def test_worked_coast_times(from_kmh: float, to_kmh: float, seconds: float) -> None:
    time = WORKED.coast_time_s(MASS_KG, from_kmh * KMH, to_kmh * KMH)
    assert time == pytest.approx(seconds, abs=0.5e-3)


@pytest.mark.source("closed form of a coast for f1 = 0", "our own arithmetic")
def test_worked_coast_distance_speed_and_deceleration() -> None:
    va, vb = 100.0 * KMH, 20.0 * KMH
    distance = WORKED.coast_distance_m(MASS_KG, va, vb)
    assert distance == pytest.approx(1195.33, abs=0.5e-2)
    closed = MASS_KG / (2.0 * 0.40) * math.log((120.0 + 0.40 * va**2) / (120.0 + 0.40 * vb**2))
    assert distance == pytest.approx(closed, rel=1e-12)
    assert float(WORKED.speed_after(MASS_KG, va, 30.0)) / KMH == pytest.approx(59.006, abs=0.5e-3)
    assert float(WORKED.force_n(va)) / MASS_KG == pytest.approx(0.5268, abs=0.5e-4)


@pytest.mark.source("textbook f0 = Crr m g, f2 = rho CdA / 2", "our own arithmetic")
def test_worked_coefficients() -> None:
    assert float(rolling_coefficient(120.0, 790.0)) == pytest.approx(0.01549, abs=0.5e-5)
    assert float(drag_area(0.40, 1.225)) == pytest.approx(0.653, abs=0.5e-3)


@pytest.mark.source("closed form of a coast for f1 = 0", "our own arithmetic")
def test_closed_form_and_integral_are_one_coast() -> None:
    times = np.array([1.0, 10.0, 60.0])
    for time, speed in zip(times, WORKED.speed_after(MASS_KG, 27.0, times), strict=True):
        assert WORKED.coast_time_s(MASS_KG, 27.0, float(speed)) == pytest.approx(time, rel=1e-9)
    assert float(WORKED.speed_after(MASS_KG, 27.0, 1e4)) == 0.0


@pytest.mark.source(
    "US EPA test-car list, 2008: coast-down times beside weight and coefficients",
    "read in a stored copy; the column's 55 to 45 mph inferred",
)
@pytest.mark.parametrize("row", EPA_2008, ids=lambda row: str(row[0]))
def test_filed_coast_down_times(row: tuple[str, float, float, float, float, float, float]) -> None:
    _, weight, a, b, c, filed, ratio = row
    time = from_pounds(a, b, c).coast_time_s(weight * LB, 55.0 * MPH, 45.0 * MPH)
    # The filed time is rounded to 0.01 s, the ratio to 0.0001.
    assert filed / time == pytest.approx(ratio, abs=0.5e-4)
    assert 1.009 < filed / time < 1.021  # as 88 % of 571 entries


@pytest.mark.source(
    "US EPA test-car list, 2008",
    "read in a stored copy; the column's 55 to 45 mph inferred",
)
def test_median_of_filed_times_leaves_room_for_one_axles_wheels() -> None:
    ratios = [
        filed / from_pounds(a, b, c).coast_time_s(weight * LB, 55.0 * MPH, 45.0 * MPH)
        for _, weight, a, b, c, filed, _ in EPA_2008
    ]
    # 1.0147 over all 571 entries, their middle half 1.0137 to 1.0150.
    assert 1.0137 <= float(np.median(ratios)) <= 1.0150


@pytest.mark.source(
    "US EPA test-car list, 2016: coefficients",
    "read in a stored copy; SI by our own arithmetic",
)
def test_road_load_of_a_2016_entry_in_si() -> None:
    load = from_pounds(26.252, 0.27570, 0.017475)
    assert load.f0_n == pytest.approx(116.77, abs=0.5e-2)
    assert load.f1 == pytest.approx(2.7433, abs=0.5e-4)
    assert load.f2 == pytest.approx(0.38897, abs=0.5e-5)
    force = float(load.force_n(50.0 * MPH))
    assert force == pytest.approx(372.4, abs=0.05)
    assert force / LBF == pytest.approx(83.72, abs=0.005)
    assert float(load.power_w(50.0 * MPH)) / to_si(1.0, "hp") == pytest.approx(11.16, abs=0.005)
    assert float(drag_area(load.f2, 1.189)) == pytest.approx(0.654, abs=0.5e-3)
    assert float(rolling_coefficient(load.f0_n, 2625.0 * LB)) == pytest.approx(0.0100, abs=0.5e-4)


@pytest.mark.source("table road load of the old European cycle", "read second-hand, on a slide")
@pytest.mark.parametrize(
    ("a_n", "b", "force_n", "kilowatt"), [(6.4, 0.0433, 284.0, 6.3), (7.1, 0.0481, 315.0, 7.0)]
)
def test_table_loads_of_the_old_cycle(
    a_n: float, b: float, force_n: float, kilowatt: float
) -> None:
    load = RoadLoad(a_n, 0.0, b / KMH**2)
    assert float(load.force_n(80.0 * KMH)) == pytest.approx(force_n, abs=0.5)
    assert float(load.power_w(80.0 * KMH)) / 1000.0 == pytest.approx(kilowatt, abs=0.05)


@pytest.mark.source(
    "StVZO, Anlage XXIII, 3.9.2: coast-down statistic and its table of t",
    "read in a stored copy; timings by our own arithmetic",
)
def test_worked_statistic() -> None:
    four = [12.4, 12.1, 12.6, 12.3]
    assert np.std(four, ddof=1) == pytest.approx(0.2082, abs=0.5e-4)
    assert coast_down_precision(four) == pytest.approx(0.0270, abs=0.5e-4)
    assert coast_down_precision([*four, 12.4, 12.2]) == pytest.approx(0.0151, abs=0.5e-4)
    with pytest.raises(ValueError, match="4 to 15"):
        coast_down_precision(four[:3])


@pytest.mark.source(
    "StVZO, Anlage XXIII, 3.9.2",
    "read in a stored copy; timing by our own arithmetic",
)
def test_worked_force_and_power_from_a_timing() -> None:
    force = float(coast_down_force(900.0, 5.0 * KMH, 12.35))
    assert force == pytest.approx(202.4, abs=0.05)
    assert force * 80.0 * KMH == pytest.approx(4498.0, abs=0.5)


@pytest.mark.source("closed form of a coast for f1 = 0", "our own arithmetic")
def test_closed_form_refuses_what_it_does_not_hold_for() -> None:
    for load in (RoadLoad(120.0, 1.0, 0.4), RoadLoad(-1.0, 0.0, 0.4), RoadLoad(120.0, 0.0, 0.0)):
        with pytest.raises(ValueError, match="closed form"):
            load.speed_after(MASS_KG, 20.0, 1.0)
