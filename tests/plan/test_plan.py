"""The drive card: safe order, straights against published figures, limits, changes, one sheet."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.build_sheet.schema import KNOWN_WORK
from roadtest.cli import main
from roadtest.errors import InputErrors
from roadtest.measures.road_load import RoadLoad
from roadtest.plan import straights
from roadtest.plan.car import plan_car
from roadtest.plan.card import drive_card
from roadtest.plan.console import card_text
from roadtest.plan.foreseen import Logger
from roadtest.plan.gearing import engine_speeds
from roadtest.plan.making import hand_checks, make_plan
from roadtest.plan.model import Plan
from roadtest.plan.overlay import changed_sheet
from roadtest.plan.predict import planned_profile
from roadtest.plan.programme import programme
from roadtest.plan.runs import pulls
from roadtest.report.html import to_html
from roadtest.report.pdf import to_pdf
from roadtest.work_checks import WORK_CHECKS

MPH, KMH = 0.44704, 1.0 / 3.6
WORK = ", ".join(f'"{name}"' for name in KNOWN_WORK)
FULL = f"""
units = "mph"
[car]
label = "Two-seat roadster with a rather long label, green over cream"
chassis = "DEMO 0001"
mass = "790 kg"
top_speed = "105 mph"
[work]
done = [{WORK}]
[tyres]
rolling_circumference = "1.742 m ± 0.005 m"
[gearbox]
ratios = [3.41, 2.08, 1.40, 1.00, 0.82]
[axle]
teeth = [9, 38]
[engine]
cylinders = 4
idle_rpm = 900
limit_rpm = 5500
[speedometer]
graduation = "2 mph"
drive = "cable"
turns_per_mile = 1000
[targets]
speedometer = "un-r39"
odometer = "4 %"
gearbox = "1 %"
axle = "1 %"
tach = "3 %"
clutch_slip = "2 %"
cruise_rpm = {{speed = "70 mph", at_most = 3450}}
mfdd = "un-r13h"
stopping_distance = {{from = "60 mph", at_most = "60 m"}}
fade = "75 %"
drift = "1.0 m"
spread = "10 %"
rolling_coefficient = "0.020"
standing = {{to = "60 mph", at_most = "12 s"}}
through = {{gear = 4, from = "40 mph", to = "60 mph", at_most = "9 s"}}
[targets.channel]
coolant_temperature = {{at_most = "105 degC"}}
"""


@pytest.fixture(scope="module")
def full() -> Plan:
    return make_plan(FULL.encode(), "build.toml", Logger(5.0, 0.05), ["tyres.size=165/80R13"])


def sheet(text: str) -> BuildSheet:
    return read_build_sheet(text.encode(), "build.toml")


def test_brakes_are_proven_gently_and_bedded_in_before_anything_fast(full: Plan) -> None:
    kinds = [step.kind for step in full.steps]
    assert kinds[:4] == ["gentle", "bedding", "warm", "look"]
    assert kinds.index("stop") < kinds.index("pull") < kinds.index("standing")
    gentle = full.steps[0]
    assert max(gentle.from_mps) <= 31.0 * MPH
    assert list(gentle.from_mps) == sorted(gentle.from_mps)


def test_as_many_uses_of_the_brakes_as_the_target_wants() -> None:
    wanted = '[targets]\nbedding = {stops = 12, from = "30 mph", to = "5 mph"}\n'
    (step,) = [one for one in programme(plan_car(sheet(wanted))) if one.kind == "bedding"]
    assert step.count == 12
    assert step.from_mps == pytest.approx((30.0 * MPH,))
    assert step.to_mps == pytest.approx(5.0 * MPH)


@pytest.mark.parametrize(
    ("speed_kmh", "metres"),
    # Worked by hand from s = 0.1·V + 0.0060·V², UN R13-H Annex 3, 2.1.1 (value from memory).
    [(30.0, 8.4), (50.0, 20.0), (80.0, 46.4), (100.0, 70.0)],
)
def test_stopping_distances_are_the_published_ones(speed_kmh: float, metres: float) -> None:
    assert straights.stopping_m(speed_kmh * KMH) == pytest.approx(metres, abs=0.01)
    # Speeding up at 1.5 m/s², 4 s steady, and room for two such stops, to the next ten metres.
    speed = speed_kmh * KMH
    run = speed**2 / 3.0 + 4.0 * speed + 2.0 * metres
    assert run <= straights.stop_straight_m(speed) < run + 10.0


def test_straights_of_holds_and_pulls_by_hand() -> None:
    # 20 m/s from 10 and back at 1.5 m/s²: 100 m each; 24 s at 20 m/s: 480 m; a fifth on top.
    assert straights.hold_straight_m(20.0, 20.0) == pytest.approx(820.0)  # 816
    # To 10 m/s: 33.3 m; 4 s there: 40 m; 8 s at 0.4 · 10 + 0.6 · 20: 128 m; to rest: 133.3 m.
    assert straights.pull_straight_m(10.0, 20.0, 8.0) == pytest.approx(410.0)  # 401.6


def test_a_longer_distance_allowed_by_the_target_is_reckoned_with() -> None:
    assert straights.stopping_m(20.0, 80.0) == 80.0


def test_the_straight_of_a_coast_holds_the_published_road_load() -> None:
    # US EPA test-car list, 2016: A 26.252 lbf, B 0.2757 lbf/mph, C 0.017475 lbf/mph²; 2625 lb.
    load = RoadLoad(116.77, 2.7433, 0.38897)
    mass = 2625 * 0.45359237
    v = np.linspace(20.0 * MPH, 60.0 * MPH, 20001)
    way = float(np.trapezoid(mass * v / (116.77 + 2.7433 * v + 0.38897 * v**2), v))
    straight = straights.coast_straight_m(60.0 * MPH, 20.0 * MPH, load, mass)
    ways = way + straights.reach_m(0.0, 60.0 * MPH) + straights.reach_m(20.0 * MPH, 0.0)
    assert straights.MARGIN * ways <= straight <= straights.MARGIN * ways + 10.0


def test_engine_speeds_are_those_of_the_gearing() -> None:
    found = engine_speeds(plan_car(sheet(FULL)))
    assert found is not None
    at_60 = next(cells for speed, cells in found.rows if abs(speed - 60.0 * MPH) < 1e-6)
    turns = 60.0 * MPH / 1.742 * 38 / 9
    assert at_60[3] == pytest.approx(60.0 * turns)
    assert at_60[4] == pytest.approx(60.0 * turns * 0.82)
    assert at_60[0] is None  # 12,000 r/min: beyond the engine's limit


def test_a_pull_that_no_target_names_ends_short_of_the_engine_s_limit() -> None:
    text = FULL[: FULL.index("[targets]")].replace("5500", "2000")
    car = plan_car(sheet(text + '[targets]\nclutch_slip = "2 %"\n'))
    ((gear, low, high, _),) = pulls(car)
    assert gear == 3 and low < high
    assert car.rpm(3, high) == pytest.approx(0.95 * 2000.0)


def test_every_target_has_its_prediction(full: Plan) -> None:
    assert [p.id for p in full.predicted] == [t.id for t in full.sheet.targets]
    for predicted in full.predicted:
        if not predicted.id.startswith("channel."):
            assert predicted.expected is not None and predicted.expected.u95 > 0.0
    assert all(p.proves for p in full.predicted)


def test_a_change_shows_dial_and_engine_speeds_before_and_after(full: Plan) -> None:
    rows = {change.what: change for change in full.changes}
    before = 60.0 * 70.0 * MPH / 1.742 * 38 / 9 * 0.82
    assert rows["top gear at 70 mph"].before == f"{before:.0f} rpm"
    assert rows["top gear at 70 mph"].after != rows["top gear at 70 mph"].before
    assert any("dial error" in what for what in rows)


def test_a_change_of_axle_shows_what_hand_arithmetic_gives() -> None:
    # 70 mph = 31.2928 m/s; 1.742 m a turn; fifth gear 0.82. Axle 38/9: 17.9637 wheel turns a
    # second times 4.22222 times 0.82 times 60 = 3731.7; with 3.9 it is 3446.9 r/min.
    # The cable leaves the gearbox before the axle: it turns 3.9 / 4.22222 times as often a mile.
    sheet_text = FULL[: FULL.index("[targets]")].replace("turns_per_mile = 1000", "")
    plan = make_plan(sheet_text.encode(), "b.toml", Logger(), ["axle=3.9"])
    rows = {change.what: (change.before, change.after) for change in plan.changes}
    assert rows["top gear at 70 mph"] == ("3732 rpm", "3447 rpm")
    before, after = (float(said.split()[0]) for said in rows["dial over true speed"])
    assert before == 1.0 and after == pytest.approx(3.9 / (38 / 9), abs=5e-5)


def test_a_tyre_by_size_alone_cannot_prove_the_axle_and_it_says_so(full: Plan) -> None:
    (axle,) = (p for p in full.predicted if p.id == "axle")
    assert not axle.provable and "roll it out" in axle.proves


def test_the_fullest_card_fits_one_sheet(full: Plan) -> None:
    assert len(pypdf.PdfReader(io.BytesIO(to_pdf(drive_card(full)))).pages) <= 2


def test_no_line_of_the_text_is_wider_than_80_columns(full: Plan) -> None:
    lines = card_text(full).splitlines()
    assert max(len(line) for line in lines) <= 80
    assert card_text(full, 80, "ascii").isascii()


def test_the_card_asks_for_every_check_of_the_work_once(full: Plan) -> None:
    listed = [check for group in full.hand_checks.values() for check in group]
    assert len(listed) == len(set(listed))
    assert {c for w in WORK_CHECKS.values() for c in w.by_hand} <= set(listed)
    text = to_html(drive_card(full))
    assert all(check.what.split(",")[0] in text for check in listed)


def test_a_change_replaces_what_it_makes_untrue() -> None:
    changed = changed_sheet(FULL.encode(), "b.toml", ["axle=3.9", "tyres.size=165/80R13"])
    assert changed.axle is not None and changed.axle.ratio == 3.9 and changed.axle.teeth is None
    assert changed.tyres is not None and changed.tyres.rolling_circumference is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (["alternatives.axle.ratio=3.9"], "no drive card rests on alternatives; expected a key of"),
        (["shop.name=Ours"], "no drive card rests on shop"),
        (["axle.teeth=[9, 38]"], "axle.teeth=[9, 38]: it changes nothing"),
        (["axle=3.9", "car.mass=790 kg"], "car.mass=790 kg: it changes nothing"),
    ],
)
def test_a_change_that_changes_nothing_is_refused(changes: list[str], said: str) -> None:
    with pytest.raises(InputErrors) as caught:
        changed_sheet(FULL.encode(), "b.toml", changes)
    assert said in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize(
    "change",
    ["axle", "=3", "axle=", "axle.ratio=none", "nothing.here=1", "car.label.x=1", "a..b=1"],
)
def test_a_faulty_change_is_refused_as_a_faulty_sheet_is(change: str) -> None:
    with pytest.raises(InputErrors, match="--change"):
        changed_sheet(FULL.encode(), "b.toml", [change])


RATIOS = st.lists(st.floats(0.6, 4.5), min_size=1, max_size=7, unique=True)


@settings(
    derandomize=True,
    deadline=None,
    max_examples=50,
    suppress_health_check=[HealthCheck.too_slow],  # of a machine that is busy
)
@given(
    st.data(),
    st.sampled_from(["mph", "km/h"]),
    st.floats(1.1, 2.6),
    st.floats(2.5, 6.5),
    st.floats(2500.0, 9000.0),
    st.one_of(st.none(), st.floats(30.0, 200.0)),
    st.sets(st.sampled_from(KNOWN_WORK)),
)
def test_a_plan_is_finite_and_within_its_own_limits(
    data: st.DataObject,
    units: str,
    around: float,
    axle: float,
    limit: float,
    top: float | None,
    work: set[str],
) -> None:
    ratios = sorted(data.draw(RATIOS), reverse=True)
    gear = data.draw(st.integers(1, len(ratios)))
    text = f"""
units = "{units}"
[car]
mass = "{data.draw(st.floats(400.0, 2000.0)):.1f} kg"
{"" if top is None else f'top_speed = "{top:.1f} {units}"'}
[work]
done = {sorted(work)!r}
[tyres]
rolling_circumference = "{around:.4f} m"
[gearbox]
ratios = {ratios!r}
[axle]
ratio = {axle!r}
[engine]
idle_rpm = 800
limit_rpm = {limit:.1f}
[targets]
speedometer = "un-r39"
mfdd = "5.8 m/s^2"
fade = "75 %"
rolling_coefficient = "0.020"
clutch_slip = "2 %"
standing = {{to = "60 mph", at_most = "12 s"}}
through = {{gear = {gear}, from = "30 mph", to = "50 mph", at_most = "9 s"}}
"""
    car = plan_car(sheet(text))
    for step in programme(car):
        assert step.count >= 1
        speeds = (*step.from_mps, step.to_mps or 0.0)
        assert all(math.isfinite(v) and 0.0 <= v <= car.ceiling_mps * 1.001 for v in speeds)
        assert step.straight_m is None or 0.0 < step.straight_m < 20e3
        if step.kind in ("hold", "pull"):
            for speed, in_gear in zip(step.from_mps, step.gears, strict=True):
                rpm = None if in_gear is None else car.rpm(in_gear, max(speed, step.to_mps or 0.0))
                assert rpm is None or rpm <= limit * 1.001
    profile = planned_profile(car)
    assert np.isfinite(profile.speed_mps).all() and profile.speed_mps.min() >= -1e-9
    assert profile.speed_mps.size < 100 * 7200
    assert hand_checks(car.sheet)["before"]


def test_a_bare_sheet_has_a_plan_too() -> None:
    plan = make_plan(b"", "build.toml", Logger())
    assert [step.kind for step in plan.steps] == ["gentle", "warm", "look", "hold", "stop"]
    assert plan.predicted == () and "Drive card" in card_text(plan)


def test_the_command_writes_what_it_is_asked_for(
    tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    build = tmp_path / "build.toml"
    build.write_text('[targets]\nodometer = "4 %"\n')
    for name, start in (("c.txt", b"Drive card"), ("c.html", b"<!DOCTYPE"), ("c.pdf", b"%PDF")):
        assert main(["plan", str(build), "-o", str(tmp_path / name)]) == 0
        assert (tmp_path / name).read_bytes().startswith(start)
    assert main(["plan", str(build), "--rate", "1", "--noise", "0.2 mph"]) == 0
    assert b"1 Hz" in capsysbinary.readouterr().out


@pytest.mark.parametrize(
    "more",
    [["--rate", "0"], ["--rate", "nan"], ["--noise", "5 kg"], ["--change", "x"], ["-o", "a.doc"]],
)
def test_a_bad_option_is_one_line_and_status_2(
    more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    build = tmp_path / "build.toml"
    build.write_text("")
    assert main(["plan", str(build), *more]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
