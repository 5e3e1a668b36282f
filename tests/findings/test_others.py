"""Gearing, scales, coasting, pulls, channels, inspections."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roadtest.findings import judge_all
from roadtest.results import (
    ChannelPart,
    ChannelResult,
    CoastingResult,
    CoastRun,
    CruiseRow,
    Finding,
    GearingResult,
    GearRow,
    Inspection,
    OdometerResult,
    PullRun,
    PullSlip,
    PullsResult,
    Results,
    Shown,
    Standing,
    Step,
    StoryRow,
    TachInfo,
)
from tests.findings.cases import TACH, case, mph, only, q

BOX = '[gearbox]\nlabel = "five-speed"\nratios = [3.41, 2.08, 1.40]\n[axle]\nratio = 4.22\n'
SHEET = BOX + '[tyres]\nrolling_circumference = "1.797 m"\n'
STEPS = (Step(1, 2, q(1.640, 0.005), 3.41 / 2.08), Step(2, 3, q(1.486, 0.004), 2.08 / 1.40))


def gearing(**given: object) -> Results:
    return Results(logs=(TACH,), gearing=GearingResult(**given))  # type: ignore[arg-type]


def test_a_gearbox_passes_by_its_steps_and_its_name() -> None:
    results = gearing(steps=STEPS, gearbox_shown=Shown("five-speed", 0.999))
    finding = only(case('gearbox = "1 %"', results, SHEET))
    assert finding.verdict == "pass"
    assert finding.reason.startswith('The road shows the "five-speed" gearbox')
    assert [item.what for item in finding.items] == [
        'that it is the "five-speed"',
        "step from 1 to 2",
        "step from 2 to 3",
    ]


def test_another_gearbox_fails_even_where_no_step_was_driven() -> None:
    results = gearing(gearbox_shown=Shown("four-speed", 0.998))
    finding = only(case('gearbox = "1 %"', results, SHEET))
    assert finding.verdict == "fail"
    assert 'not the "five-speed" on the build sheet' in finding.reason
    assert finding.items[0].probability == pytest.approx(0.002)


@pytest.mark.parametrize(
    ("label", "probability", "verdict"),
    [
        ("five-speed", 0.96, "pass"),
        ("five-speed", 0.94, "not proven"),
        ("four-speed", 0.94, "not proven"),
        ("four-speed", 0.96, "fail"),
    ],
)
def test_a_gearbox_is_told_only_as_surely_as_an_interval(
    label: str, probability: float, verdict: str
) -> None:
    results = gearing(steps=STEPS, gearbox_shown=Shown(label, probability))
    assert only(case('gearbox = "1 %"', results, SHEET)).verdict == verdict


def test_a_gearbox_with_more_gears_than_the_sheet_s_is_another_whatever_its_steps() -> None:
    """Nothing else need be named: three gears of the sheet's box agree, and there is a fourth."""
    gears = tuple(GearRow(gear) for gear in (1, 2, 3, 4))
    finding = only(case('gearbox = "1 %"', gearing(gears=gears, steps=STEPS), SHEET))
    assert finding.verdict == "fail"
    assert finding.reason.startswith(
        'The road shows 4 gears, the "five-speed" on the build sheet has 3. Of 3 checks, 1 failed'
    )
    assert only(case('gearbox = "1 %"', gearing(gears=gears[:3], steps=STEPS), SHEET)).verdict == (
        "pass"
    )


def test_a_gear_not_driven_leaves_the_gearbox_open() -> None:
    steps = (STEPS[0], Step(2, 3, None, 2.08 / 1.40))
    results = gearing(steps=steps, gearbox_shown=Shown("five-speed", 0.999))
    finding = only(case('gearbox = "1 %"', results, SHEET))
    assert finding.verdict == "not proven"
    assert "step from 2 to 3 could not be judged" in finding.reason.lower()


@pytest.mark.parametrize("target", ['gearbox = "1 %"', 'axle = "1 %"'])
def test_a_sheet_without_ratios_has_nothing_to_compare_with(target: str) -> None:
    finding = only(case(target, gearing(axle=q(4.2, 0.01))))
    assert (finding.verdict, finding.measured) == ("not proven", None)
    assert "build sheet" in finding.reason


@pytest.mark.parametrize(
    ("target", "sheet"),
    [
        ('gearbox = "1 %"', SHEET),
        ('axle = "1 %"', SHEET),
        ('tach = "3 %"', SHEET),
        ('clutch_slip = "2 %"', SHEET),
        ('cruise_rpm = {speed = "70 mph", at_most = 3200}', SHEET),
    ],
)
def test_without_a_tach_the_log_is_asked_for(target: str, sheet: str) -> None:
    finding = only(case(target, Results(), sheet))
    assert finding.verdict == "not proven"
    assert finding.reason == "No engine speed was logged."
    assert "engine speed" in (finding.to_settle or "")


def test_an_axle_of_another_ratio_fails_and_the_story_is_told() -> None:
    results = gearing(axle=q(3.90, 0.012), axle_shown=Shown("3.90 axle", 0.97))
    finding = only(case('axle = "1 %"', results, SHEET))
    assert finding.verdict == "fail"
    assert '"3.90 axle" fits best' in finding.reason


def test_without_a_tyre_axle_and_tyre_look_alike() -> None:
    finding = only(case('axle = "1 %"', gearing(), BOX))
    assert "can't be told apart" in finding.reason
    assert "roll-out" in (finding.to_settle or "")


def test_gears_of_a_gearbox_nobody_named_do_not_tell_the_axle() -> None:
    finding = only(case('axle = "1 %"', gearing(gears=(GearRow(1), GearRow(2))), SHEET))
    assert finding.verdict == "not proven"
    assert "those of no gearbox on the build sheet" in finding.reason
    assert "alternatives" in (finding.to_settle or "")


def test_an_axle_in_doubt_by_its_tyres_size_asks_for_the_roll_out() -> None:
    sheet = BOX + '[tyres]\nsize = "165/80R13"\n'
    finding = only(case('axle = "1 %"', gearing(axle=q(4.20, 0.06)), sheet))
    assert finding.to_settle == (
        "Measure the tyre's roll-out (one turn of the wheel, crew aboard): most of the interval is "
        "the tyre's."
    )


@pytest.mark.parametrize(("of_tyre", "asked"), [(0.75, True), (0.65, False)])
def test_the_tyre_is_measured_again_where_most_of_the_variance_is_its_own(
    of_tyre: float, asked: bool
) -> None:
    # 0.75² is more than half of the variance, 0.65² is less.
    sheet = BOX + f'[tyres]\nrolling_circumference = "1.800 m ± {of_tyre:.2f} %"\n'
    finding = only(case('axle = "1 %"', gearing(axle=q(4.25, 0.0425)), sheet))
    assert finding.verdict == "not proven"
    assert ("over ten turns" in (finding.to_settle or "")) == asked


def test_gears_without_a_tyre_on_the_sheet_say_that_the_tyre_is_missing() -> None:
    results = Results(
        logs=(TACH,),
        gearing=GearingResult(gears=(GearRow(1),), revs_per_metre_top=q(2.0, 0.01, "1/m")),
    )
    sheet = "[gearbox]\nratios = [3.0, 2.0, 1.0]\n[axle]\nratio = 4.0\n"
    found = only(case('tach = "3 %"', results, sheet))
    assert found.verdict == "not proven"
    assert "the build sheet has no [tyres]" in found.reason
    assert found.to_settle == "Give [tyres] in the build sheet."
    named = only(
        case('tach = "3 %"', results, sheet + "[tyres]\nrolling_circumference = '1.8 m'\n")
    )
    assert "not named on the build sheet" in named.reason


def test_scales_are_told_in_per_cent() -> None:
    results = Results(
        logs=(TACH,),
        odometer=OdometerResult(scale=q(1.045, 0.004)),
        tach=TachInfo(scale=q(0.99, 0.01)),
    )
    odometer, tach = judge_all(case('odometer = "4 %"\ntach = "3 %"', results, SHEET))
    assert odometer.verdict == "fail"
    assert "The odometer shows 4.50 ± 0.40 % more than was driven." in odometer.reason
    assert "StVZO" in odometer.basis
    assert tach.verdict == "pass"
    assert "1.0 ± 1.0 % less" in tach.reason


def test_cruise_takes_the_row_of_top_gear_at_the_speed() -> None:
    rows = (
        CruiseRow(4, mph(70.0), q(4400.0, 20.0, "r/min")),
        CruiseRow(5, mph(70.0), q(3600.0, 20.0, "r/min")),
        CruiseRow(5, mph(60.0), q(3086.0, 20.0, "r/min")),
    )
    target = 'cruise_rpm = {speed = "70 mph", at_most = 3450}'
    finding = only(case(target, gearing(cruise=rows), SHEET))
    assert (finding.verdict, finding.measured) == ("fail", q(3600.0, 20.0, "r/min"))


def test_cruise_without_a_row_is_made_from_the_turns_per_metre() -> None:
    results = gearing(
        revs_per_metre_top=q(1.9, 0.01, "1/m"), gears=(GearRow(3, overall=q(5.9, 0.1)),)
    )
    target = 'cruise_rpm = {speed = "30 m/s", at_most = 3450}'
    finding = only(case(target, results, SHEET))
    assert finding.measured is not None
    assert finding.measured.value == pytest.approx(1.9 * 30.0 * 60.0)


def test_turns_as_a_tach_shows_them_are_made_true_ones_by_its_scale() -> None:
    results = replace(
        gearing(revs_per_metre_top=q(1.9, 0.01, "1/m"), gears=(GearRow(3, overall=q(5.9, 0.1)),)),
        tach=TachInfo(scale=q(1.25, 0.01)),
    )
    measured = only(case('cruise_rpm = {speed = "30 m/s", at_most = 3450}', results)).measured
    assert measured is not None
    assert measured.value == pytest.approx(1.9 / 1.25 * 30.0 * 60.0)
    relative = ((0.01 / 1.9) ** 2 + (0.01 / 1.25) ** 2) ** 0.5
    assert measured.u95 == pytest.approx(relative * measured.value)


@pytest.mark.parametrize(("gear", "verdict"), [(3, "pass"), (2, "not proven")])
def test_cruise_is_judged_only_where_the_top_gear_of_the_box_was_driven(
    gear: int, verdict: str
) -> None:
    row = CruiseRow(gear, mph(70.0), q(3000.0, 20.0, "r/min"))
    results = gearing(cruise=(row,), gearbox_shown=Shown("five-speed", 0.999))
    finding = only(case('cruise_rpm = {speed = "70 mph", at_most = 3450}', results, SHEET))
    assert finding.verdict == verdict
    assert ("Top gear was not driven steadily" in finding.reason) == (gear == 2)


def test_slip_is_read_in_per_cent() -> None:
    finding = only(case('clutch_slip = "2 %"', gearing(clutch_slip=q(0.048, 0.004)), SHEET))
    assert finding.verdict == "fail"
    assert "4.40 %, is 2.40 % outside" in finding.reason


@pytest.mark.parametrize(
    ("slip", "verdict"), [(0.048, "fail"), (0.004, "not proven"), (0.022, "not proven")]
)
def test_slip_seen_in_easier_pulls_alone_can_fail_a_clutch_but_not_pass_it(
    slip: float, verdict: str
) -> None:
    row = PullSlip("pull-2", 4, mph(45.0), q(slip, 0.004))
    finding = only(case('clutch_slip = "2 %"', gearing(slips=(row,)), SHEET))
    assert finding.verdict == verdict
    assert "Of the hardest pulls there are too few rows of engine speed" in finding.reason
    if verdict == "not proven":
        more = "logged every second or more often, and 20 s of easy driving in that gear."
        assert finding.to_settle.endswith(more)


def test_rolling_coefficient() -> None:
    results = Results(coasting=CoastingResult(rolling_coefficient=q(0.0155, 0.002)))
    assert only(case('rolling_coefficient = "0.020"', results)).verdict == "pass"
    assert "No coast-down" in only(case('rolling_coefficient = "0.020"', Results())).reason


def test_only_pulls_in_the_gear_and_between_the_speeds_are_judged() -> None:
    runs = tuple(
        PullRun(f"pull-{k}", gear, mph(low), mph(60.0), q(time, 0.1, "s"))
        for k, (gear, low, time) in enumerate([(4, 40.0, 8.0), (3, 40.0, 20.0), (4, 30.0, 20.0)])
    )
    target = 'through = {gear = 4, from = "40 mph", to = "60 mph", at_most = "9 s"}'
    finding = only(case(target, Results(pulls=PullsResult(runs=runs))))
    assert (finding.verdict, [item.manoeuvre for item in finding.items]) == ("pass", ["pull-0"])
    assert finding.title == "40 mph to 60 mph in gear 4"


def test_several_standing_targets_are_several_findings() -> None:
    starts = tuple(
        Standing(mph(to), q(time, 0.1, "s"), "pull-1", None, True)
        for to, time in ((30.0, 4.0), (60.0, 13.0))
    )
    targets = 'standing = [{to = "30 mph", at_most = "5 s"}, {to = "60 mph", at_most = "12 s"}]'
    found = judge_all(case(targets, Results(pulls=PullsResult(standing=starts))))
    assert [(f.title, f.verdict) for f in found] == [
        ("Standing start to 30 mph", "pass"),
        ("Standing start to 60 mph", "fail"),
    ]


WATER = ChannelResult("coolant_temperature", "degC", 20.0, 104.0, 65.0)
OIL = ChannelResult("oil_pressure", "bar", 0.8, 4.5, 10.0)


def test_channels_are_judged_in_their_own_unit() -> None:
    targets = (
        'channel.coolant_temperature = {at_most = "378.15 K"}\n'
        'channel.oil_pressure = {at_least = "100 kPa"}'
    )
    water, oil = judge_all(case(targets, Results(channels=(WATER, OIL))))
    assert (water.id, water.verdict) == ("channel.coolant_temperature", "pass")
    assert water.limit is not None
    assert (water.limit.high, water.limit.unit) == (105.0, "degC")
    assert water.reason.startswith("Highest 104 °C at 1:05. The sender")
    assert (oil.verdict, oil.measured) == ("fail", q(0.8, 0.0, "bar"))


def test_a_channel_on_its_limit_conforms_though_the_units_differ() -> None:
    channel = ChannelResult("oil", "bar", 1.0, 4.0, 0.0)
    made = case('channel.oil = {at_least = "100 kPa"}', Results(channels=(channel,)))
    assert only(made).verdict == "pass"


def test_a_channel_in_several_files_is_judged_on_the_farthest_of_all() -> None:
    first = ChannelResult("oil", "bar", 2.0, 4.0, 10.0, 20.0, seconds_above=0.0, seconds_below=3.0)
    later = ChannelResult("oil", "bar", 1.0, 5.0, 70.0, 80.0, seconds_above=2.0, seconds_below=4.0)
    target = 'channel.oil = {at_most = "4.5 bar", at_least = "2.5 bar"}'
    finding = only(case(target, Results(channels=(first, later))))
    assert "Highest 5 bar at 1:10, 2 s above the limit" in finding.reason
    assert "lowest 1 bar at 1:20, 7 s below the limit" in finding.reason


@pytest.mark.parametrize(
    ("target", "said"),
    [
        ('channel.oil = {at_least = "1 bar"}', "No channel oil was logged (logged: oil_pressure)"),
        ('channel.oil_pressure = {at_least = "1 degC"}', 'The channel is in "bar"'),
        ('channel.oil_pressure = {at_least = "1 counts"}', 'The channel is in "bar"'),
    ],
)
def test_a_channel_that_cannot_be_judged_says_why(target: str, said: str) -> None:
    finding = only(case(target, Results(channels=(OIL,))))
    assert finding.verdict == "not proven"
    assert said in finding.reason


def test_inspections_are_findings_even_without_targets() -> None:
    results = Results(
        inspections=(
            Inspection("no leaks", "pass"),
            Inspection("lamps", "not done"),
            Inspection("tyres", "fail"),
        )
    )
    found = judge_all(case("", results))
    assert [(f.id, f.title, f.verdict) for f in found] == [
        ("inspection", "Inspection: no leaks", "pass"),
        ("inspection", "Inspection: lamps", "not proven"),
        ("inspection", "Inspection: tyres", "fail"),
    ]


def test_no_targets_no_findings() -> None:
    assert judge_all(case("", Results())) == ()


def coasts(figure: float, u95: float, *runs: CoastRun) -> Results:
    return Results(coasting=CoastingResult(runs=runs, rolling_coefficient=q(figure, u95)))


TWO_WAYS = (
    CoastRun("coast-1", paired_with="coast-2", out_of_gear=True),
    CoastRun("coast-2", paired_with="coast-1", out_of_gear=True),
)
TARGET = 'rolling_coefficient = "0.020"'


def test_a_high_rolling_coefficient_fails_where_the_runs_were_out_of_gear() -> None:
    finding = only(case(TARGET, coasts(0.030, 0.002, *TWO_WAYS)))
    assert finding.verdict == "fail"
    assert "do not cancel" not in finding.reason


def test_a_high_one_of_runs_that_may_have_been_in_gear_proves_nothing() -> None:
    doubtful = tuple(replace(run, out_of_gear=False) for run in TWO_WAYS)
    finding = only(case(TARGET, coasts(0.030, 0.002, *doubtful)))
    assert finding.verdict == "not proven" and finding.probability is None
    assert "overrun" in finding.reason and "neutral" in (finding.to_settle or "")
    low = only(case(TARGET, coasts(0.014, 0.002, *doubtful)))
    assert low.verdict == "pass"
    assert "nothing drove the car" in low.reason


def test_runs_one_way_say_that_grade_and_wind_do_not_cancel() -> None:
    finding = only(case(TARGET, coasts(0.015, 0.009, CoastRun("coast-1", out_of_gear=True))))
    assert finding.verdict == "not proven"
    assert "grade and wind do not cancel" in finding.reason


OIL_SPLIT = ChannelResult(
    "oil_pressure",
    "bar",
    0.8,
    4.5,
    at_rest=ChannelPart(0.8, 1.0, 1.2, 30.0, 20.0, 5.0, 0.7, None, 0.0),
    at_speed=ChannelPart(2.6, 3.5, 4.5, 300.0, 80.0, 90.0, 3.0, None, 4.0),
)
SPLIT = 'channel.oil_pressure = {at_least = "3 bar", at_least_idle = "70 kPa"}'


def test_a_channel_has_limits_of_its_own_at_idle_and_at_speed() -> None:
    finding = only(case(SPLIT, Results(channels=(OIL_SPLIT,))))
    assert [(item.what, item.verdict) for item in finding.items] == [
        ("lowest at idle", "pass"),
        ("lowest at speed", "fail"),
    ]
    assert (finding.verdict, finding.measured) == ("fail", q(2.6, 0.0, "bar"))
    assert finding.limit is not None and finding.limit.low == 3.0
    assert "2.6 bar at 1:20, 4 s below the limit (allowed: at least 3 bar)" in finding.reason


def test_a_channel_never_logged_at_idle_leaves_its_limit_there_open() -> None:
    driven = replace(OIL_SPLIT, at_rest=None, at_speed=ChannelPart(3.2, 3.5, 4.5, 300.0))
    finding = only(case(SPLIT, Results(channels=(driven,))))
    assert finding.verdict == "not proven"
    assert "lowest at idle not logged" in finding.reason.lower()
    assert finding.to_settle == "Log the channel standing, the engine at idle."


def starts(*rows: tuple[float, bool]) -> Results:
    made = tuple(
        Standing(mph(60.0), q(time, 0.2, "s"), f"pull-{k}", None, flat, "it shows" if flat else "")
        for k, (time, flat) in enumerate(rows, 1)
    )
    return Results(pulls=PullsResult(standing=made))


START = 'standing = {to = "60 mph", at_most = "12 s"}'


def test_a_slow_drive_off_does_not_fail_the_car() -> None:
    finding = only(case(START, starts((25.0, False))))
    assert finding.verdict == "not proven" and finding.probability is None
    assert [item.verdict for item in finding.items] == ["not proven"]
    assert "was it flat out" in finding.reason
    assert "twice" in (finding.to_settle or "")


def test_a_target_is_judged_on_the_best_start() -> None:
    finding = only(case(START, starts((25.0, False), (11.0, False), (12.9, True))))
    assert finding.verdict == "pass"
    assert finding.measured == q(11.0, 0.2, "s")
    assert "best of 3" in finding.reason and "pull-1 25.00 ± 0.20 s" in finding.reason


def test_a_slow_start_flat_out_fails() -> None:
    finding = only(case(START, starts((13.0, True), (25.0, False))))
    assert finding.verdict == "fail"
    assert "pull-1 was flat out: it shows" in finding.reason


THROUGH = 'through = {gear = 4, from = "40 mph", to = "60 mph", at_most = "9 s"}'


def test_without_engine_speed_the_gear_of_a_pull_is_not_known_and_this_is_said() -> None:
    run = PullRun("pull-1", None, mph(40.0), mph(60.0), q(8.0, 0.1, "s"))
    finding = only(case(THROUGH, Results(pulls=PullsResult(runs=(run,)))))
    assert finding.verdict == "not proven"
    assert "gear of a pull can't be told" in finding.reason
    assert "pull-1: 8.00 ± 0.10 s" in finding.reason
    assert (finding.to_settle or "").startswith("Log engine speed")
    none = only(case(THROUGH, Results()))
    assert "without engine speed" in none.reason
    with_tach = only(case(THROUGH, Results(logs=(TACH,))))
    assert with_tach.reason == "No pull in gear 4 covers 40 mph to 60 mph."
    in_gps_log = only(case(THROUGH, Results(gearing=GearingResult(gears=(GearRow(4),)))))
    assert in_gps_log.reason == with_tach.reason


def test_an_axle_is_judged_only_where_the_story_behind_it_is_sure() -> None:
    def found(chance: float) -> Finding:
        stories = (
            StoryRow("", chance, tach="tach right", axle="build sheet"),
            StoryRow("", 1.0 - chance, tach="tach off by some factor", axle="build sheet"),
        )
        results = gearing(axle=q(4.4, 0.01), stories=stories)
        return only(case('axle = "1 %"', results, SHEET))

    assert found(0.99).verdict == "fail"
    open_ = found(0.6)
    assert open_.verdict == "not proven"
    assert "have 40% together" in open_.reason
    assert open_.to_settle is not None and "reference" in open_.to_settle
    assert open_.probability == pytest.approx(0.2, abs=0.01)
