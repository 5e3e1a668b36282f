"""UN R39 against its published figures.

Limits: 0 <= V1 - V2 <= 0.1 V2 + 4 km/h, V1 shown and V2 true (5.3) [read in stored copies]. "80
true, at most 92 shown" and "100 true, at most 114 shown" are printed there as worked limits; the
press prints 50 -> 59, 70 -> 81, 90 -> 103, 110 -> 125, 130 -> 147 km/h. Test speeds (5.2.5): 40, 80
and 120 km/h [read]; the bands by top speed [value from memory].
"""

import pytest

from roadtest.rules import speedometer_rule
from roadtest.units import from_si, to_si

pytestmark = pytest.mark.source("UN R39, 5.3", "read in a stored copy")

RULE = speedometer_rule("un-r39")


def most_shown(true_speed: float, unit: str) -> float:
    true_mps = to_si(true_speed, unit)
    limit = RULE.error_limits(true_mps)
    assert limit is not None
    assert limit.high is not None
    assert limit.unit == "m/s"
    return from_si(true_mps + limit.high, unit)


@pytest.mark.source(
    "UN R39, 5.3; worked limits at 80 and 100 km/h printed there, others in the press",
    "read in a stored copy",
)
@pytest.mark.parametrize(
    ("true_kmh", "most_kmh"),
    [
        (40, 48),
        (50, 59),
        (70, 81),
        (80, 92),
        (90, 103),
        (100, 114),
        (110, 125),
        (120, 136),
        (130, 147),
    ],
)
def test_most_shown_speed_in_kmh(true_kmh: float, most_kmh: float) -> None:
    assert most_shown(true_kmh, "km/h") == pytest.approx(most_kmh, abs=1e-9)


@pytest.mark.parametrize(
    ("true_mph", "most_mph"),
    [(30, 35.49), (40, 46.49), (49, 56.4), (50, 57.49), (60, 68.49), (70, 79.49)],
)
def test_most_shown_speed_in_mph(true_mph: float, most_mph: float) -> None:
    # 49 mph -> 56.4 mph is printed with one decimal, the others are the formula to two.
    half_digit = 0.05 if true_mph == 49 else 0.005
    assert most_shown(true_mph, "mph") == pytest.approx(most_mph, abs=half_digit)


@pytest.mark.parametrize("true_kmh", [0.0, 20.0, 47.3, 80.0, 160.0])
def test_dial_may_never_show_less_than_the_true_speed(true_kmh: float) -> None:
    limit = RULE.error_limits(to_si(true_kmh, "km/h"))
    assert limit is not None
    assert limit.low == 0.0


@pytest.mark.parametrize(
    ("shown_kmh", "within"), [(79.99, False), (80.01, True), (91.99, True), (92.01, False)]
)
def test_just_inside_and_just_outside_at_80(shown_kmh: float, within: bool) -> None:
    limit = RULE.error_limits(to_si(80.0, "km/h"))
    assert limit is not None
    assert limit.low is not None
    assert limit.high is not None
    error = to_si(shown_kmh, "km/h") - to_si(80.0, "km/h")
    assert (limit.low <= error <= limit.high) is within


@pytest.mark.source("UN R39, 5.2.5", "40, 80 and 120 km/h read; the bands from memory")
@pytest.mark.parametrize(
    ("top_kmh", "tested_kmh"),
    [
        (40, (32,)),
        (45, (36,)),
        (60, (40,)),
        (68.7, (40,)),
        (68.75, (40, 55)),
        (100, (40, 80)),
        (101, (40, 80)),
        (124.9, (40, 80)),
        (125, (40, 80, 100)),
        (150, (40, 80, 120)),
        (151, (40, 80, 120)),
        (240, (40, 80, 120)),
    ],
)
def test_test_speeds_follow_top_speed(top_kmh: float, tested_kmh: tuple[float, ...]) -> None:
    tested = [from_si(speed, "km/h") for speed in RULE.test_speeds(to_si(top_kmh, "km/h"))]
    assert tested == pytest.approx(tested_kmh, abs=1e-9)


@pytest.mark.source("UN R39, 5.2.5", "read in a stored copy")
def test_unknown_top_speed_gets_the_test_speeds_of_fast_cars() -> None:
    assert [from_si(speed, "km/h") for speed in RULE.test_speeds()] == pytest.approx([40, 80, 120])


@pytest.mark.source("UN R39, 5.3, worked correction", "our own arithmetic")
def test_worked_correction_picks_the_tooth_count_that_never_under_reads() -> None:
    # Dial scale 1.045 with a 21-tooth driven gear; the scale goes as 21/n. At a true 60 mph, 22
    # teeth (0.9975, nearer to 1) break the lower limit and 20 (1.0973) to 21 keep both.
    true_mps = to_si(60.0, "mph")
    limit = RULE.error_limits(true_mps)
    assert limit is not None
    assert limit.low is not None
    assert limit.high is not None
    keeps = [
        teeth
        for teeth in (18, 19, 20, 21, 22, 23)
        if limit.low <= true_mps * (1.045 * 21 / teeth - 1.0) <= limit.high
    ]
    assert keeps == [20, 21]


def test_least_true_speed_behind_a_dial_held_at_60_mph() -> None:
    # Upper limit met at 60 mph shown if the true speed is (60 - 2.4855) / 1.1 = 52.29 mph or more.
    for true_mph, within in ((52.28, False), (52.29, True)):
        true_mps = to_si(true_mph, "mph")
        limit = RULE.error_limits(true_mps)
        assert limit is not None
        assert limit.high is not None
        assert (to_si(60.0, "mph") - true_mps <= limit.high) is within


def test_verdict_can_tell_its_basis_and_what_a_road_drive_does_not_show() -> None:
    assert str(RULE.basis) == "UN R39, 5.3 (read in a stored copy)"
    assert any("tyres" in line for line in RULE.not_shown)
    assert any("test speeds" in line for line in RULE.remarks)
