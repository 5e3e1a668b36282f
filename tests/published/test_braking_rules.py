"""Braking rules against their published figures, each with its document.

UN R13-H, Annex 3 [value from memory]. UN R13, Annex 4, as repeated in 70/311/EEC, Annex II [read in
a stored copy], its distances [value from memory]. FMVSS 135: S7.5, 70 m from 100 km/h, and S7.14
[read]. 49 CFR 393.52(d), as printed in Pennsylvania 67 ch. 175, Table I [read]. GB roadworthiness
test [value from memory]. Distances at other speeds, and the m/s² of a percentage, are computed from
those figures.
"""

from datetime import date

import pytest

from roadtest.rules import BRAKING_RULES, braking_rule, un_r13h
from roadtest.rules.model import BrakingRule
from roadtest.units import STANDARD_GRAVITY_MPS2, from_si, to_si

OLD_CAR = date(1972, 6, 1)
LAST_OLD_DAY = date(2010, 8, 31)
FIRST_NEW_DAY = date(2010, 9, 1)


def most_m(rule: BrakingRule, speed: float, unit: str) -> float:
    distance = rule.most_stopping_distance_m(to_si(speed, unit))
    assert distance is not None
    return distance


@pytest.mark.source(
    "UN R13-H, Annex 3, 2.1.1: 0.1 v + 0.0060 v²; FMVSS 135, S7.5: 70 m from 100 km/h",
    "R13-H from memory, FMVSS read; other speeds computed",
)
@pytest.mark.parametrize(
    ("speed", "unit", "most", "half_digit"),
    [
        (60, "km/h", 27.6, 1e-9),
        (80, "km/h", 46.4, 1e-9),
        (100, "km/h", 70.0, 1e-9),
        (60, "mph", 65.60, 0.005),
    ],
)
@pytest.mark.parametrize("name", ["un-r13h", "fmvss-135"])
def test_distance_of_un_r13h_and_fmvss_135(
    name: str, speed: float, unit: str, most: float, half_digit: float
) -> None:
    assert most_m(braking_rule(name), speed, unit) == pytest.approx(most, abs=half_digit)


@pytest.mark.source("UN R13-H, Annex 3: engine connected; secondary braking", "value from memory")
def test_distances_of_un_r13h_engine_connected_and_secondary() -> None:
    speed = to_si(100.0, "km/h")
    assert un_r13h.ENGINE_CONNECTED.at(speed) == pytest.approx(77.0, abs=1e-9)
    assert un_r13h.SECONDARY.at(speed) == pytest.approx(168.0, abs=1e-9)


@pytest.mark.source(
    "UN R13, Annex 4, as repeated in 70/311/EEC, Annex II",
    "deceleration read, distance from memory",
)
def test_older_cars_at_80_kmh() -> None:
    rule = braking_rule("un-r13-m1")
    assert most_m(rule, 80.0, "km/h") == pytest.approx(50.67, abs=0.005)
    assert rule.least_mfdd_mps2() == 5.8
    assert rule.nominal_speed_mps == pytest.approx(to_si(80.0, "km/h"))


@pytest.mark.source(
    "UN R13-H, Annex 3, and UN R13, Annex 4: distance terms against decelerations",
    "value from memory",
)
def test_squared_terms_agree_with_the_decelerations_asked() -> None:
    # 1 / (25.92 k): the two halves of the rule say the same, to the digits printed.
    rule = braking_rule("un-r13h")
    assert rule.distance is not None
    assert rule.distance.square_as_mps2 == pytest.approx(6.4300, abs=0.5e-4)
    assert un_r13h.ENGINE_CONNECTED.square_as_mps2 == pytest.approx(5.7582, abs=0.5e-4)
    assert un_r13h.SECONDARY.square_as_mps2 == pytest.approx(2.4418, abs=0.5e-4)
    older = braking_rule("un-r13-m1").distance
    assert older is not None
    assert older.square_as_mps2 == pytest.approx(5.787, abs=0.5e-3)


@pytest.mark.source(
    "UN R13-H, Annex 3; UN R13, Annex 4; FMVSS 135, S7.5: 0.1 v in km/h",
    "value from memory",
)
def test_delay_of_the_distance_formula_is_036_s() -> None:
    for name in ("un-r13h", "un-r13-m1", "fmvss-135"):
        distance = braking_rule(name).distance
        assert distance is not None
        assert distance.delay_s == pytest.approx(0.36, abs=1e-12)


@pytest.mark.source(
    "UN R13-H, Annex 3; UN R13, Annex 4; FMVSS 135, S7.5; 49 CFR 393.52(d); GB roadworthiness test",
    "as in the rules' own bases",
)
def test_least_deceleration_of_each_rule() -> None:
    asked = {name: braking_rule(name).least_mfdd_mps2(OLD_CAR) for name in BRAKING_RULES}
    assert asked == {
        "un-r13h": 6.43,
        "un-r13-m1": 5.8,
        "fmvss-135": pytest.approx(6.4300, abs=0.5e-4),
        "us-393.52": pytest.approx(6.4008, abs=1e-12),
        "gb-roadworthiness": pytest.approx(4.903325, abs=1e-12),
    }


@pytest.mark.source(
    "GB roadworthiness test, inspection manual for cars, service brake: 50 and 58 %",
    "value from memory",
)
@pytest.mark.parametrize(
    ("first_use", "least"),
    [
        (None, 4.90),
        (OLD_CAR, 4.90),
        (LAST_OLD_DAY, 4.90),
        (FIRST_NEW_DAY, 5.69),
        (date(2024, 1, 1), 5.69),
    ],
)
def test_gb_service_brake_by_first_use(first_use: date | None, least: float) -> None:
    rule = braking_rule("gb-roadworthiness")
    assert rule.least_mfdd_mps2(first_use) == pytest.approx(least, abs=0.005)
    assert rule.most_stopping_distance_m(to_si(60.0, "mph")) is None
    assert rule.nominal_speed_mps is None


@pytest.mark.source(
    "49 CFR 393.52(d), as printed in Pennsylvania Code title 67, chapter 175, Table I",
    "read in a stored copy",
)
def test_us_393_52_figures_from_20_mph() -> None:
    rule = braking_rule("us-393.52")
    assert rule.nominal_speed_mps == pytest.approx(to_si(20.0, "mph"))
    assert from_si(most_m(rule, 20.0, "mph"), "ft") == pytest.approx(20.0, abs=1e-9)
    assert most_m(rule, 20.0, "mph") == pytest.approx(6.096, abs=1e-9)


@pytest.mark.source("49 CFR 393.52(d): stated from 20 mph only", "read in a stored copy")
@pytest.mark.parametrize("speed_mph", [0.0, 19.9, 20.1, 60.0])
def test_us_393_52_gives_no_distance_from_another_speed(speed_mph: float) -> None:
    distance = braking_rule("us-393.52").most_stopping_distance_m(to_si(speed_mph, "mph"))
    assert distance is None


@pytest.mark.source("49 CFR 393.52(d): 21 ft/s² beside 65.2 %", "read in a stored copy")
def test_us_393_52_percent_of_weight_is_its_deceleration_over_gravity() -> None:
    # 21 ft/s² = 0.6527 g beside 65.2 % printed; no build-up is allowed for, else 21.51 ft/s².
    rule = braking_rule("us-393.52")
    least = rule.least_mfdd_mps2()
    assert least is not None
    assert least / STANDARD_GRAVITY_MPS2 == pytest.approx(0.6527, abs=0.5e-4)
    assert rule.distance is not None
    assert from_si(rule.distance.square_as_mps2, "ft/s²") == pytest.approx(21.51, abs=0.005)


@pytest.mark.source(
    "UN R13-H and UN R13, Type-I residual; FMVSS 135, S7.14",
    "R13-H, R13 from memory; FMVSS read",
)
@pytest.mark.parametrize(
    ("name", "cold", "least_hot"),
    [
        ("un-r13h", 6.5, 0.75 * 6.43),
        ("un-r13h", 9.0, 0.60 * 9.0),
        ("un-r13-m1", 6.0, 0.80 * 5.8),
        ("un-r13-m1", 9.0, 0.60 * 9.0),
        ("fmvss-135", 8.0, 0.60 * 8.0),
    ],
)
def test_hot_stop_keeps_both_shares(name: str, cold: float, least_hot: float) -> None:
    assert braking_rule(name).least_hot_mfdd_mps2(cold) == pytest.approx(least_hot, abs=1e-12)


@pytest.mark.source("UN R13-H, UN R13, Type-I residual", "value from memory")
def test_hot_limits_as_rounded_figures() -> None:
    assert braking_rule("un-r13h").least_hot_mfdd_mps2(6.43) == pytest.approx(4.82, abs=0.005)
    assert braking_rule("un-r13-m1").least_hot_mfdd_mps2(5.8) == pytest.approx(4.64, abs=1e-9)


@pytest.mark.source("49 CFR 393.52; GB roadworthiness test: no hot stop", "read in a stored copy")
@pytest.mark.parametrize("name", ["us-393.52", "gb-roadworthiness"])
def test_rules_without_a_hot_stop_say_nothing_of_it(name: str) -> None:
    assert braking_rule(name).least_hot_mfdd_mps2(6.0) is None


@pytest.mark.source("UN R13-H, Annex 3, 2.1.1: 70 m from 100 km/h", "value from memory")
@pytest.mark.parametrize(("distance_m", "within"), [(69.99, True), (70.01, False)])
def test_just_inside_and_just_outside_70_m(distance_m: float, within: bool) -> None:
    assert (distance_m <= most_m(braking_rule("un-r13h"), 100.0, "km/h")) is within


@pytest.mark.source("UN R13-H, Annex 3, 2.1.1: 6.43 m/s²", "value from memory")
@pytest.mark.parametrize(("deceleration", "within"), [(6.429, False), (6.431, True)])
def test_just_inside_and_just_outside_643(deceleration: float, within: bool) -> None:
    for name in ("un-r13h", "fmvss-135"):
        least = braking_rule(name).least_mfdd_mps2()
        assert least is not None
        assert (deceleration >= least) is within


@pytest.mark.source("conditions of each rule's test", "as in the rules' own bases")
def test_every_rule_says_what_a_road_drive_does_not_show() -> None:
    for name in BRAKING_RULES:
        assert braking_rule(name).not_shown
    assert any("pedal force" in line for line in braking_rule("un-r13h").not_shown)
    assert any("laden" in line for line in braking_rule("un-r13h").not_shown)


@pytest.mark.source("each rule's own basis", "as in the rules' own bases")
def test_bases_tell_document_paragraph_and_status() -> None:
    assert str(braking_rule("gb-roadworthiness").basis).startswith("GB roadworthiness test")
    assert "value from memory" in str(braking_rule("un-r13h").basis)
    assert "S7.5" in str(braking_rule("fmvss-135").basis)
    assert "the rule itself judges distance" in str(
        braking_rule("fmvss-135").decelerations[0].basis
    )
