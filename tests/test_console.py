"""What a technician reads: order, units, and that hostile text can't break it."""

from __future__ import annotations

import dataclasses
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.console import render
from roadtest.quantity import Quantity
from roadtest.results import (
    BeddingRecord,
    BeddingRow,
    BrakingResult,
    ByHand,
    CarInfo,
    ChannelResult,
    FileInfo,
    Finding,
    FindingItem,
    Gap,
    Inspection,
    LeftOut,
    Limit,
    LogInfo,
    Manoeuvre,
    PullRun,
    PullsResult,
    ReadIn,
    Remark,
    Results,
    StoryRow,
)
from roadtest.terminal import display_width
from roadtest.wording import VERDICT_WORD, short_title
from tests.example_results import EXAMPLE, LOG

BOTH: tuple[ReadIn, ...] = ("mph", "km/h")
HOSTILE = (
    "\x1b[2J\x1b]0;title\x07 line\nbreak \u202eright to left\u202c 日本語の車のラベルは"
    "とても長いので折り返す必要があります עברית Z\u0336\u0336\u0336\u0336algo "
    + "x" * 200
    + " \udcff\x00"
)


def _hostile() -> Results:
    finding = dataclasses.replace(
        EXAMPLE.findings[0], title=HOSTILE, reason=HOSTILE, basis=HOSTILE, to_settle=HOSTILE
    )
    return dataclasses.replace(
        EXAMPLE,
        car=CarInfo(HOSTILE, HOSTILE),
        files=(FileInfo(HOSTILE, "00", "ignored", HOSTILE),),
        logs=(dataclasses.replace(LOG, name=HOSTILE, rejected={HOSTILE: 2}, remarks=(HOSTILE,)),),
        channels=(ChannelResult(HOSTILE, HOSTILE, 1.0, 2.0, 3.0),),
        inspections=(Inspection(HOSTILE, "not done"),),
        findings=(finding,),
        next_steps=(HOSTILE,),
    )


def _line_with(text: str, part: str) -> str:
    return next(line for line in text.splitlines() if part in line)


@pytest.mark.parametrize("units", BOTH)
@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252"])
@pytest.mark.parametrize("width", [1, 20, 40, 60, 80, 100])
@pytest.mark.parametrize(
    "results", [EXAMPLE, Results(), _hostile()], ids=["all", "empty", "hostile"]
)
def test_no_line_is_wider_than_asked_and_every_character_fits(
    results: Results, width: int, encoding: str, units: ReadIn
) -> None:
    text = render(results, units, False, width, encoding)
    text.encode(encoding)
    assert max(display_width(line) for line in text.splitlines()) <= max(width, 20)
    assert all(char.isprintable() or char == "\n" for char in text)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(label=st.text(max_size=60), width=st.integers(20, 100), colour=st.booleans())
def test_any_label_is_harmless(label: str, width: int, colour: bool) -> None:
    results = dataclasses.replace(
        EXAMPLE,
        car=CarInfo(label),
        channels=(ChannelResult(label, label, 1.0, 2.0, 3.0),),
        findings=(dataclasses.replace(EXAMPLE.findings[0], title=label, reason=label),),
    )
    text = re.sub(r"\x1b\[[0-9;]*m", "", render(results, "mph", colour, width))
    assert max(display_width(line) for line in text.splitlines()) <= width
    assert all(char.isprintable() or char == "\n" for char in text)


def test_parts_come_in_the_order_they_matter() -> None:
    text = render(EXAMPLE, "mph", False)
    parts = [
        "FAIL",
        "NOT PROVEN",
        "PASS",
        "FINDINGS",
        "\nSPEEDOMETER",
        "THE LOG",
        "WHAT TO DO NEXT",
    ]
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def test_the_log_says_rate_noise_fixes_losses_gaps_and_what_was_ignored() -> None:
    text = " ".join(render(EXAMPLE, "mph", False).split())
    for part in (
        "10 Hz",
        "speed noise 0.1163 ± 0.0089 mph",
        "5987 of 6000 fixes used",
        "lost 10 fixes: no fix (first: line 1)",
        "lost 3 sentences: bad checksum (first: line 12)",
        "gap of 11.5 s from 2:00 to 2:12",
        "the receiver repeats its last speed in 4 places",
        "photo.jpg ignored: neither a log nor notes",
        "FOUND, BUT NOT USED stop-2 at 5:30: the log has a gap in it",
        "Log: 10 Hz, speed as the receiver gives it, 5987 of 6000 fixes used, 1 gap.",
    ):
        assert part in text


def test_the_first_lines_name_the_findings_by_verdict() -> None:
    first = " ".join(render(EXAMPLE, "mph", False).partition("FINDINGS")[0].split())
    for finding in EXAMPLE.findings:
        assert f"{VERDICT_WORD[finding.verdict]} 1: {short_title(finding.title)}" in first


def test_a_file_that_was_ignored_is_named_among_the_first_lines() -> None:
    first = render(EXAMPLE, "mph", False).partition("FINDINGS")[0]
    assert "Ignored: photo.jpg; the log, further down, says why." in first


def test_what_settles_a_finding_is_said_once() -> None:
    finding = dataclasses.replace(EXAMPLE.findings[0], to_settle="Drive on.", verdict="not proven")
    step = f"{short_title(finding.title)}: drive on."
    made = dataclasses.replace(EXAMPLE, findings=(finding,), next_steps=("Mend it.", step))
    text = render(made, "mph", False).lower()
    assert text.count("drive on.") == 1
    assert "to settle: step 2 of what to do next" in text


def test_a_slow_log_says_seconds_and_many_gaps_are_told_together() -> None:
    gaps = tuple(Gap(60.0 * k, 60.0 * k + 10.0 + k) for k in range(8))
    log = dataclasses.replace(LOG, rate_hz=0.2, gaps=gaps)
    text = " ".join(render(Results(logs=(log,)), "mph", False).split())
    assert "a fix every 5 s" in text
    assert "8 gaps, 2 min together; the longest 17 s from 7:00 to 7:17" in text


def test_a_gap_that_may_part_two_drives_is_asked_about() -> None:
    log = dataclasses.replace(LOG, speed_source="doppler", gaps=(Gap(60.0, 60.0 + 4620.0),))
    text = " ".join(render(Results(logs=(log,)), "mph", False).split())
    assert "fixes used, 1 gap (of 1 h 17 min: is it all one drive of one car?)." in text
    short = dataclasses.replace(log, gaps=(Gap(60.0, 90.0),))
    assert "one car" not in render(Results(logs=(short,)), "mph", False)


def test_uses_of_the_brakes_that_nothing_is_known_of_are_only_counted() -> None:
    rows = tuple(BeddingRow(f"stop-{k}", "stop", 60.0 * k) for k in (1, 2))
    braking = BrakingResult(bedding=BeddingRecord(2, 0, None, rows))
    text = " ".join(render(Results(braking=braking), "mph", False).split())
    assert "2 stops to rest; the log shows too little of them for speeds." in text
    assert "stop-1" not in text


def test_a_use_of_the_brakes_left_out_by_hand_is_marked() -> None:
    rows = tuple(
        BeddingRow(f"stop-{k}", "stop", 60.0 * k, Quantity(20.0, 0.1, "m/s")) for k in (1, 2)
    )
    braking = BrakingResult(bedding=BeddingRecord(2, 0, None, rows))
    by_hand = ByHand(left_out=(LeftOut("stop-2", "a dog ran out"),))
    text = render(Results(braking=braking, by_hand=by_hand), "mph", False)
    assert "stop-2 *" in text
    assert "stop-1 *" not in text
    assert "*: left out by hand" in text


def test_a_column_without_a_figure_is_not_shown() -> None:
    runs = (PullRun("pull-1", peak_acceleration=Quantity(2.5, 0.3, "m/s²")),)
    text = render(Results(pulls=PullsResult(runs=runs)), "mph", False)
    assert _line_with(text, "m/s²").split() == ["pull", "m/s²"]


@pytest.mark.parametrize(
    ("units", "parts"),
    [
        ("mph", ("0.5 ± 1.2 mph; allowed: 0 to 8.436 mph", "5.0476 ± 0.0038 mile", "55.3 ± 2.8")),
        ("km/h", ("0.8 ± 1.9 km/h; allowed: 0 to 13.58 km/h", "8.1234 ± 0.0061 km", "41.2 ± 2.1")),
    ],
)
def test_figures_are_in_the_users_units(units: ReadIn, parts: tuple[str, ...]) -> None:
    text = render(EXAMPLE, units, False)
    other = BOTH[units == "mph"]
    assert all(part in text for part in parts)
    assert f"error, {units}" in text
    assert f" {other}" not in text.replace("hold 60 mph", "").replace("Hold 60 mph", "")


def test_a_hold_without_a_reading_is_listed() -> None:
    assert _line_with(render(EXAMPLE, "mph", False), "hold-2").split()[2:4] == ["no", "reading"]


def test_a_finding_shows_limit_basis_reason_and_what_would_settle_it() -> None:
    text = " ".join(render(EXAMPLE, "mph", False).split())
    assert "? NOT PROVEN Speedometer 0.5 ± 1.2 mph; allowed: 0 to 8.436 mph" in text
    assert "probability of conforming: 79.8 %" in text
    assert "the interval of hold-1 reaches below the lower limit" in text
    assert "To settle: hold 60 mph on the dial for 20 s" in text
    assert "Basis: UN R39, 5.3" in text


def test_of_several_items_those_that_decided_are_named() -> None:
    limit = Limit(5.8, None, "m/s²")
    items = (
        FindingItem("stop-1", Quantity(6.5, 0.2, "m/s²"), limit, "pass", 1.0),
        FindingItem("stop-2", Quantity(5.0, 0.2, "m/s²"), limit, "fail", 0.0),
        FindingItem(
            "stop-3", Quantity(4.0, 0.2, "m/s²"), Limit(3.9, None, "m/s²"), "not proven", 0.84
        ),
    )
    finding = Finding("mfdd", "Deceleration", "fail", items[1].measured, limit, items=items)
    text = " ".join(render(Results(findings=(finding,)), "mph", False).split())
    assert "stop-2: 5.00 ± 0.20 m/s² (allowed: at least 5.8 m/s²) FAIL stop-3" in text
    assert (
        "stop-3: 4.00 ± 0.20 m/s² (allowed: at least 3.9 m/s²) NOT PROVEN "
        "(probability of conforming 84 %)" in text
    )
    assert "stop-1" not in text


def test_fractions_that_are_read_in_per_cent() -> None:
    slip = Finding(
        "clutch_slip", "Clutch slip", "pass", Quantity(0.004, 0.003, "1"), Limit(None, 0.02, "1")
    )
    scale = Finding("tach", "Tach", "pass", Quantity(1.002, 0.006, "1"), Limit(0.97, 1.03, "1"))
    text = render(Results(findings=(slip, scale)), "mph", False)
    assert "0.40 ± 0.30 %; allowed: at most 2 %" in text
    assert "1.0020 ± 0.0060; allowed: 0.97 to 1.03" in text


def test_figures_of_a_gearing_in_doubt_say_so() -> None:
    account = "hold for the most probable account of gearbox, axle, tach and tyre, which has 31 %"
    for chance, said in ((0.31, True), (0.97, False)):
        gearing = dataclasses.replace(EXAMPLE.gearing, stories=(StoryRow("as built", chance),))
        text = render(dataclasses.replace(EXAMPLE, gearing=gearing), "mph", False)
        assert (account in " ".join(text.split())) is said


def test_what_was_not_measured_has_no_section() -> None:
    text = render(Results(), "mph", False)
    assert "No targets are set" in text
    assert "No log was used." in text
    for heading in ("FINDINGS", "SPEEDOMETER", "GEARING", "STOPS", "TACH", "CHANNELS", "NEXT"):
        assert heading not in text


def test_a_log_without_fixes_counts_rows() -> None:
    log = LogInfo("tach.csv", "tach", 100, 99, {"not a number": 1})
    text = render(Results(logs=(log,)), "mph", False)
    assert "tach, 99 of 100 rows used" in text
    assert "lost 1 row: not a number" in text


def test_colour_only_adds_to_word_and_mark() -> None:
    plain, coloured = render(EXAMPLE, "mph", False), render(EXAMPLE, "mph", True)
    assert "\x1b" not in plain
    assert "\x1b[1;31m✗ FAIL\x1b[0m" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_ascii_output_keeps_words_and_marks() -> None:
    text = render(EXAMPLE, "mph", False, 80, "ascii")
    assert "! FAIL" in text
    assert "+ PASS" in text
    assert "6.05 +/- 0.20 m/s^2" in text


def test_manoeuvres_unused_for_one_reason_are_told_together() -> None:
    made = tuple(
        Manoeuvre(f"stop-{k}", "stop", 60.0 * k, 60.0 * k + 4.0, None, False, f"too slow: {k} mph")
        for k in (1, 2, 4)
    )
    alone = Manoeuvre("hold-1", "hold", 30.0, 33.0, None, False, "too short")
    text = " ".join(render(Results(manoeuvres=(*made, alone)), "mph", False).split())
    assert "3 stops stop-1, 2, 4: too slow (stop-1 at 1:00: 1 mph)" in text
    assert "hold-1 at 0:30: too short" in text


def test_files_ignored_for_one_reason_are_told_together() -> None:
    files = tuple(
        FileInfo(name, "", "ignored", why)
        for name, why in (("a.csv", "no log"), ("b.csv", "no log"), ("c.jpg", "a picture"))
    )
    text = " ".join(render(Results(files=files), "mph", False).split())
    assert "2 files ignored: no log: a.csv, b.csv c.jpg ignored: a picture" in text


def test_manoeuvres_in_gaps_are_told_together() -> None:
    made = tuple(
        Manoeuvre(f"stop-{k}", "stop", 60.0, 64.0, None, False, f"no usable fixes from {k} to 9")
        for k in (1, 2)
    )
    text = " ".join(render(Results(manoeuvres=made), "mph", False).split())
    assert "2 stops stop-1, 2: no usable fixes (stop-1 at 1:00: from 1 to 9)" in text


def test_what_a_rule_asks_beyond_the_drive_is_told() -> None:
    finding = Finding("mfdd", "Brakes", "pass", not_shown=("pedal force", "lining temperature"))
    text = " ".join(render(Results(findings=(finding,)), "mph", False).split())
    assert "Not shown by a drive: pedal force; lining temperature" in text


def test_remarks_come_last_of_the_figures() -> None:
    text = render(Results(remarks=(Remark("gearing", "No gears were told."),)), "mph", False)
    assert "REMARKS\n  gearing     No gears were told." in text


@pytest.mark.parametrize(
    "line",
    [
        "coast-1  60 to 18  120 ± 35  0.410 ± 0.090       none",  # f0, f2, the other way
        "62.14       0.527 ± 0.020  429 ± 18",  # drag at a speed
        "pull-1     3         30       50  6.21 ± 0.12     shown",  # flat out
        "pull-1  2.120 ± 0.050  55.3 ± 2.8   53.8 ± 2.8  48.2 ± 2.5  2310 ± 60",  # the most
        "pull-2          60  11.40 ± 0.20   11.00 ± 0.20  not shown",  # and after one foot
        "pull-2     quarter mile  18.10 ± 0.20   17.70 ± 0.20     73.00 ± 0.40",
        "from rest  0 to 60  11.40 ± 0.20  11.65 ± 0.14     2",  # best and mean
        "coolant_temperature  °C        20  0:03      109  6:52        23 s",  # time above
        "coolant_temperature  at idle       20  71.2       92  2 min",
        "coolant_temperature  at speed      64  88.5      109  6 min",
    ],
)
def test_coasting_pulls_and_channels_are_told_in_full(line: str) -> None:
    text = render(EXAMPLE, "mph", False)
    assert line in text
    assert max(len(row) for row in text.splitlines()) <= 80


def test_the_record_of_bedding_in_is_shown_with_spacing_and_energy() -> None:
    text = render(EXAMPLE, "mph", colour=False)
    assert "Uses of the brakes: 1 stop to rest, 1 snub" in text
    line = _line_with(text, "98.7 ± 2.0")
    assert line.split()[:2] == ["stop-2", "2:40"]
    assert "55" in line.split()
    assert "390 ± 10 kJ" in _line_with(text, "energy into the brakes")


def test_cautions_stand_once_after_what_to_do_next() -> None:
    careful = dataclasses.replace(EXAMPLE, cautions=("Mind the gap.",))
    text = render(careful, "mph", colour=False)
    assert text.count("Mind the gap.") == 1
    plain = text.lower()
    assert plain.index("what to do next") < plain.index("before driving hard")
    assert "before driving hard" not in render(EXAMPLE, "mph", colour=False).lower()


def test_parts_of_a_pull_that_was_not_flat_out_are_counted_not_listed() -> None:
    time = Quantity(4.0, 0.2, "s")
    runs = tuple(
        PullRun(name, time=time, flat_out=flat_out)
        for name, flat_out in (("pull-1", False), ("pull-1", False), ("pull-2", True)) * 2
    )
    text = render(Results(pulls=PullsResult(runs=runs)), "mph", False)
    assert [text.count(f"\n  {name}") for name in ("pull-1", "pull-2")] == [1, 2]
    assert "3 parts of pulls not shown flat out are not listed here." in text
