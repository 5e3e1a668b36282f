"""What [targets] becomes."""

from typing import Any

import pytest

from roadtest.build_sheet import (
    BeddingWanted,
    ChannelLimit,
    CruiseLimit,
    DialBand,
    Efficiency,
    NamedRule,
    StandingLimit,
    StoppingLimit,
    Target,
    ThroughLimit,
)
from roadtest.rules import BRAKING_RULES, SPEEDOMETER_RULES
from tests.build_sheet.sheets import FULL, faults, sheet

MPH = 0.44704


def test_every_target_is_read_into_si_in_the_order_of_the_manual() -> None:
    close: Any = pytest.approx
    assert list(sheet(FULL).targets) == [
        Target("speedometer", DialBand(0.0, close(3 * MPH))),
        Target("odometer", close(0.04)),
        Target("gearbox", close(0.01)),
        Target("axle", close(0.01)),
        Target("tach", close(0.03)),
        Target("clutch_slip", close(0.02)),
        Target("cruise_rpm", CruiseLimit(close(70 * MPH), 3200.0)),
        Target("mfdd", close(0.58 * 9.80665)),
        Target("stopping_distance", StoppingLimit(close(60 * MPH), 51.0)),
        Target("fade", close(0.75)),
        Target("drift", close(1.0)),
        Target("spread", close(0.10)),
        Target("rolling_coefficient", close(0.020)),
        Target("standing", StandingLimit(close(60 * MPH), 12.0)),
        Target("standing", StandingLimit(close(30 * MPH), 5.0)),
        Target("through", ThroughLimit(4, close(40 * MPH), close(60 * MPH), 9.0)),
        Target(
            "channel.coolant_temperature",
            ChannelLimit("coolant_temperature", None, close(378.15), "degC", "temperature"),
        ),
        Target("channel.mixture", ChannelLimit("mixture", 0.8, None, "", None)),
        Target("channel.fuel_flow", ChannelLimit("fuel_flow", None, 30.0, "L/h", None)),
        Target(
            "channel.oil_pressure", ChannelLimit("oil_pressure", 2e5, close(7e5), "bar", "pressure")
        ),
    ]


def test_targets_are_found_by_name() -> None:
    targets = sheet(FULL).targets
    assert [target.id for target in targets.named("standing")] == ["standing", "standing"]
    assert targets.named("nothing") == ()
    assert len(targets) == 20


@pytest.mark.parametrize("rule", SPEEDOMETER_RULES)
def test_every_speedometer_rule_can_be_named(rule: str) -> None:
    targets = sheet(f'[targets]\nspeedometer = "{rule}"').targets
    assert list(targets) == [Target("speedometer", NamedRule(rule))]


@pytest.mark.parametrize("rule", BRAKING_RULES)
def test_every_braking_rule_can_be_named_for_deceleration(rule: str) -> None:
    targets = sheet(f'[targets]\nmfdd = "{rule}"').targets
    assert list(targets) == [Target("mfdd", NamedRule(rule))]


def test_only_rules_with_a_distance_can_be_named_for_the_stopping_distance() -> None:
    targets = sheet('[targets]\nstopping_distance = "un-r13h"').targets
    assert list(targets) == [Target("stopping_distance", NamedRule("un-r13h"))]
    (line,) = faults('[targets]\nstopping_distance = "gb-roadworthiness"')
    assert 'expected one of "un-r13h"' in line


@pytest.mark.parametrize("written", ['"0.020"', "0.020", '"2 %"', '"2.0 %"'])
def test_a_rolling_coefficient_needs_no_unit(written: str) -> None:
    (target,) = sheet(f"[targets]\nrolling_coefficient = {written}").targets
    assert target.value == pytest.approx(0.020)


def test_a_channel_may_have_limits_of_its_own_at_idle() -> None:
    read = sheet('[targets]\nchannel.oil = {at_least = "3 bar", at_least_idle = "70 kPa"}')
    (target,) = read.targets
    assert target.value == ChannelLimit(
        "oil", pytest.approx(3e5), None, "bar", "pressure", at_least_idle=pytest.approx(7e4)
    )


def test_a_channel_may_be_written_as_a_dotted_quoted_or_table_key() -> None:
    texts = [
        '[targets]\nchannel.oil = {at_least = "2 bar"}',
        '[targets]\n"channel.oil" = {at_least = "2 bar"}',
        '[targets.channel.oil]\nat_least = "2 bar"',
        '[targets."channel.oil"]\nat_least = "2 bar"',
    ]
    assert len({sheet(text).targets for text in texts}) == 1


def test_a_unit_that_only_the_logger_knows_is_kept_and_remarked_on() -> None:
    read = sheet('[targets]\nchannel.flow = {at_most = "30 L/h"}')
    assert read.targets.items[0].value == ChannelLimit("flow", None, 30.0, "L/h", None)
    assert read.remarks[0].startswith('targets.channel.flow: unit "L/h" is not in the table')


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('speedometer = "un-r93"', 'unknown rule "un-r93", did you mean "un-r39"?'),
        ("speedometer = 3", "the number 3; expected the name of a rule, or {under ="),
        (
            'speedometer = {under = "0 mph"}',
            'speedometer.over: this key is missing; expected a speed such as "3 mph"',
        ),
        ('odometer = "4"', 'odometer: "4" has no unit; expected a fraction such as "4 %"'),
        ("odometer = 0.04", 'the number 0.04; expected a fraction such as "4 %", in quotes'),
        ('odometer = "-4 %"', "out of range"),
        ('odometer = "4 % ± 1 %"', 'has a "±"'),
        ('cruise_rpm = {speed = "70 mph", at_most = "3200 rpm"}', "cruise_rpm.at_most"),
        ("cruise_rpm = {at_most = 3200}", "cruise_rpm.speed: this key is missing"),
        (
            "mfdd = 5.8",
            'expected an acceleration such as "5.8 m/s^2", or an efficiency such as "58 %"',
        ),
        ('mfdd = "58 m"', '"58 m" is a length; expected an acceleration'),
        ('mfdd = "un-r13"', 'did you mean "un-r13h"?'),
        (
            'stopping_distance = {form = "60 mph", at_most = "51 m"}',
            'stopping_distance.form: unknown key, did you mean "from"?',
        ),
        ('stopping_distance = {from = "60 mph", at_most = "51 kg"}', '"51 kg" is a mass'),
        ("fade = true", "fade: true; expected a fraction"),
        ('drift = "1 s"', '"1 s" is a time; expected a length such as "1.0 m"'),
        ('rolling_coefficient = "0,020"', "decimal point"),
        ("rolling_coefficient = nan", "out of range"),
        ('standing = "12 s"', 'standing: "12 s"; expected {to = "60 mph", at_most = "12 s"}'),
        ('standing = [{to = "60 mph"}]', "standing[0].at_most: this key is missing"),
        (
            'through = {gear = 4, from = "60 mph", to = "40 mph", at_most = "9 s"}',
            'through[0].to: a speed not above from; expected "to" faster than "from"',
        ),
        ('through = {gear = 0, from = "40 mph", to = "60 mph", at_most = "9 s"}', "gear: the num"),
        ("channel.oil = {}", "channel.oil: neither at_least nor at_most"),
        ('channel.oil = {at_least = "2"}', 'channel.oil.at_least: "2" has no unit'),
        ('channel.oil = {at_least = "2 bar ± 1 bar"}', 'has a "±"'),
        ('channel.oil = {at_least = "2 bar", at_most = "7 degC"}', "expected one unit"),
        ('channel.oil = {at_least = "7 bar", at_most = "2 bar"}', "at_most below at_least"),
        ('channel.oil = {at_least = "2 bar", at_least_idle = "1"}', '"1" has no unit'),
        ('channel.oil = {at_least = "2 bar", at_least_idle = "7 degC"}', "expected one unit"),
        (
            'channel.oil = {at_least_idle = "7 bar", at_most_idle = "2 bar"}',
            "at_most_idle below at_least_idle",
        ),
        ('channel.oil = {at_mots = "7 bar"}', 'did you mean "at_most"?'),
        ('channel.oil = "2 bar"', 'channel.oil: "2 bar"; expected a table'),
        ('channel.a = {at_least = 1}\n"channel.a" = {at_least = 2}', "given twice"),
        ('"channel." = {at_least = 1}', "the name of a channel"),
        ('brakes = "good"', "targets.brakes: unknown key"),
    ],
)
def test_a_faulty_target_says_what_was_found_and_expected(line: str, message: str) -> None:
    lines = faults(f"[targets]\n{line}")
    assert any(message in found for found in lines), lines
    assert all(found.startswith("targets.") for found in lines)


def test_brakes_may_be_asked_for_in_percent_of_g() -> None:
    assert list(sheet('[targets]\nmfdd = "58 %"').targets) == [Target("mfdd", Efficiency(0.58))]
    (line,) = faults('[targets]\nmfdd = "580 %"')
    assert "out of range" in line


def test_fade_may_be_asked_for_by_a_rule_that_speaks_of_hot_brakes() -> None:
    targets = sheet('[targets]\nfade = "un-r13h"').targets
    assert list(targets) == [Target("fade", NamedRule("un-r13h"))]
    (line,) = faults('[targets]\nfade = "us-393.52"')
    assert 'expected one of "un-r13h", "un-r13-m1", "fmvss-135", or' in line


def test_bedding_says_how_many_stops_from_what_speed_to_what() -> None:
    close: Any = pytest.approx
    targets = sheet('[targets]\nbedding = {stops = 10, from = "30 mph", to = "5 mph"}').targets
    assert list(targets) == [Target("bedding", BeddingWanted(10, close(30 * MPH), close(5 * MPH)))]
    (to_rest,) = sheet('[targets]\nbedding = {stops = 10, from = "30 mph"}').targets
    assert to_rest.value == BeddingWanted(10, close(30 * MPH), 0.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{stops = 0, from = "30 mph"}', "a number of stops"),
        ("{stops = 10}", "from"),
        ('{stops = 10, from = "30 mph", to = "40 mph"}', "not below from"),
    ],
)
def test_a_bedding_target_that_makes_no_sense_is_refused(text: str, said: str) -> None:
    (line,) = faults(f"[targets]\nbedding = {text}")
    assert said in line
