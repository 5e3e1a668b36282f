"""notes.csv: every item, unit and way of writing the time, and what is said of a bad row."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError, InputErrors
from roadtest.logs.model import Note, Notes
from roadtest.logs.note_values import Units
from roadtest.logs.notes import read_notes
from roadtest.quantity import COVERAGE_FACTOR_95

STEADY = settings(derandomize=True, deadline=None, max_examples=200)
HEADER = "time,item,value,unit,remark\n"
MILE_M = 1609.344


def read(rows: str, units: Units = "mph", header: str = HEADER) -> Notes:
    return read_notes((header + rows).encode(), "notes.csv", units)


def test_a_reading_without_a_unit_is_in_that_of_the_dial() -> None:
    data = (HEADER + "9:20,indicated speed,80,,\n9:20,odometer,10,,\n").encode()
    speed, way = read_notes(data, "notes.csv", "mph", "km/h").rows
    assert (speed.value, way.value) == (pytest.approx(80.0 / 3.6), pytest.approx(10.0 * MILE_M))


def one(row: str, units: Units = "mph") -> Note:
    (note,) = read(row + "\n", units).rows
    return note


def faults(rows: str, header: str = HEADER) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        read(rows, header=header)
    lines = str(caught.value).split("\n")
    assert len(lines) == len(caught.value.faults)
    return lines


def test_the_documented_example_is_read_as_it_says() -> None:
    notes = read(
        "2026-05-02T09:14:10+01:00,indicated speed,40,mph,\n"
        "09:20,odometer,41214.3,mile,at the lay-by\n"
        ",inspection,pass,,no fluid leaks after the drive\n"
    )
    start_s = datetime(2026, 5, 2, 8, 14, 10, tzinfo=UTC).timestamp()
    assert notes.rows == (
        Note(2, "indicated speed", "utc", start_s, 40 * MILE_M / 3600, "40", MILE_M / 3600, ""),
        Note(
            3, "odometer", "face", 33600.0, 41214.3 * MILE_M, "41214.3", 160.9344, "at the lay-by"
        ),
        Note(4, "inspection", None, None, None, "pass", None, "no fluid leaks after the drive"),
    )
    assert notes.rejected == {}


# Times


@pytest.mark.parametrize(
    ("text", "clock", "seconds"),
    [
        ("", None, None),
        ("09:20", "face", 33600.0),
        ("9:20", "face", 33600.0),
        ("00:00:00", "face", 0.0),
        ("23:59:59.5", "face", 86399.5),
        ("1970-01-01T00:01:00Z", "utc", 60.0),
        ("1970-01-01 00:01", "local", 60.0),
        ("1970-01-01T01:01:00+0100", "utc", 60.0),
    ],
)
def test_times_are_iso_or_a_clock_face_or_missing(
    text: str, clock: str | None, seconds: float | None
) -> None:
    note = one(f"{text},gear,3")
    assert (note.clock, note.time_s) == (clock, seconds)


@pytest.mark.parametrize(
    "text", ["24:00", "9:60", "9:20:60", "9.20", "9:2", "9:20 pm", "2026-05-02", "noon", "12"]
)
def test_a_time_that_is_none_is_told(text: str) -> None:
    (line,) = faults(f"{text},gear,3\n")
    assert line.startswith(f'notes.csv, line 2: time "{text}"; expected ISO 8601')
    assert 'clock time of 24 hours such as "14:05:10"' in line


@pytest.mark.parametrize(
    ("remark", "half_width_s"),
    [
        ("", 5.0),
        ("by the lay-by", 5.0),
        ("±2 s", 2.0),
        ("roughly +/- 2 s or so", 2.0),
        ("+-1.5 sec", 1.5),
        ("± 0.5 min", 30.0),
        ("±2 mph", 5.0),
        ("±2", 5.0),
        ("±0 s", 5.0),
        ("±2 stops", 5.0),
    ],
)
def test_a_remark_may_say_how_good_the_time_is(remark: str, half_width_s: float) -> None:
    # ± is half of a 95 % interval; 1.959964 is the 97.5 % point of the normal distribution.
    assert one(f"9:20,gear,3,,{remark}").u_time_s == pytest.approx(
        half_width_s / 1.959964, rel=1e-4
    )


def test_times_written_to_the_minute_are_remarked_on() -> None:
    notes = read("9:20:00,gear,3\n9:21,gear,3\n9:22,gear,3,,±30 s\n1970-01-01T09:20+01:00,gear,3\n")
    (remark,) = notes.remarks
    assert remark.startswith(
        "times written to the minute and taken as good to ±5 s: 2, first line 3"
    )


# Values


@pytest.mark.parametrize(
    ("units", "cells", "si", "resolution"),
    [
        ("mph", "indicated speed,40,", 17.8816, 0.44704),
        ("km/h", "indicated speed,40,", 40 / 3.6, 1 / 3.6),
        ("km/h", "indicated speed,40,mph", 17.8816, 0.44704),
        ("mph", "indicated speed,40 km/h,", 40 / 3.6, 1 / 3.6),
        ("mph", "indicated speed,40.5,mph", 40.5 * 0.44704, 0.044704),
        ("mph", "Indicated  SPEED,40.0,MPH", 17.8816, 0.044704),
        ("mph", "odometer,41214.3,", 41214.3 * MILE_M, 160.9344),
        ("km/h", "odometer,66327,", 66327e3, 1000.0),
        ("km/h", "odometer,41214.30,miles", 41214.3 * MILE_M, 16.09344),
        ("mph", "tach,3000,", 3000.0, 1.0),
        ("mph", "tach,3000.5,rpm", 3000.5, 0.1),
        ("mph", "tach,0,r/min", 0.0, 1.0),
    ],
)
def test_readings_come_in_si_with_the_step_they_are_written_in(
    units: Units, cells: str, si: float, resolution: float
) -> None:
    note = one(f"9:20,{cells}", units)
    assert note.value == pytest.approx(si, rel=1e-12)
    assert note.resolution == pytest.approx(resolution, rel=1e-12)
    assert note.text == cells.split(",")[1]


@pytest.mark.parametrize(
    ("text", "gear"), [("1", 1), ("8", 8), ("N", 0), ("Neutral", 0), ("r", -1), ("Reverse", -1)]
)
def test_gears_are_numbers_neutral_or_reverse(text: str, gear: int) -> None:
    note = one(f"9:20,gear,{text}")
    assert (note.value, note.text, note.resolution) == (gear, text, None)


@pytest.mark.parametrize("text", ["pass", "FAIL", "Not  done"])
def test_an_inspection_is_passed_failed_or_not_done(text: str) -> None:
    note = one(f",inspection,{text},,brake pipes")
    assert (note.text, note.value) == (" ".join(text.lower().split()), None)


def test_remarks_keep_their_commas_quoted_or_not() -> None:
    notes = read(
        '9:20,remark,"noise, left",,\n'
        "9:21,remark,noise, left\n"
        "9:22,odometer,5.0,mile,by the mill, north side, uphill\n"
        '9:23,remark,"two\nlines",,\n'
        "9:24,remark,,,only here\n"
    )
    assert [(n.text, n.remark) for n in notes.rows] == [
        ("noise, left", ""),
        ("noise, left", ""),
        ("5.0", "by the mill, north side, uphill"),
        ("two\nlines", ""),
        ("", "only here"),
    ]
    assert [n.line for n in notes.rows] == [2, 3, 4, 5, 7]


def test_a_remark_that_says_nothing_is_counted() -> None:
    notes = read("9:20,remark,,,\n9:21,gear,3\n")
    assert [note.item for note in notes.rows] == ["gear"]
    loss = notes.rejected["remark with no text"]
    assert (loss.count, loss.first) == (1, "line 2")


def test_an_inspection_of_nothing_in_particular_is_remarked_on() -> None:
    assert "an inspection that doesn't say what was looked at, line 2" in (
        read(",inspection,pass,,\n").remarks
    )


# Files


def test_columns_come_in_any_order_and_unit_and_remark_may_be_missing() -> None:
    notes = read("40,9:20,indicated speed,Q\n", "km/h", header="Value,TIME,Item,initials\n")
    assert notes.rows[0].value == pytest.approx(40 / 3.6)
    assert "columns not used: initials" in notes.remarks


def test_a_semicolon_file_may_have_decimal_commas() -> None:
    notes = read_notes(
        b"time;item;value;unit;remark\n9:20:00;odometer;66327,4;km;by a lake, north\n", "n", "mph"
    )
    (note,) = notes.rows
    assert note.value == pytest.approx(66327.4e3)
    assert note.resolution == pytest.approx(100.0)
    assert (note.text, note.remark) == ("66327,4", "by a lake, north")
    assert notes.remarks == ("numbers are written with a decimal comma",)


def test_a_file_from_a_spreadsheet_is_read() -> None:
    text = HEADER + "9:20:00,indicated speed,40,mph,±1 s\n,,,,\n"
    for codec in ("utf-8-sig", "utf-16", "latin-1"):
        data = text.replace("\n", "\r\n").encode(codec)
        (note,) = read_notes(data, "n", "mph").rows
        assert note.u_time_s == pytest.approx(1 / COVERAGE_FACTOR_95)


def test_a_file_with_a_header_only_has_no_notes() -> None:
    assert read("").rows == ()


@pytest.mark.parametrize(
    "header", ["time,item,unit\n", "item,value\n", "when,what,value\n", "9:20,gear,3\n", ""]
)
def test_a_header_without_the_columns_is_an_error(header: str) -> None:
    with pytest.raises(InputError) as caught:
        read("", header=header)
    assert "time,item,value,unit,remark" in caught.value.expected


def test_a_unit_in_the_heading_of_value_is_not_overlooked() -> None:
    with pytest.raises(InputError, match="in the column unit"):
        read("9:20,odometer,4\n", header="time,item,value [km]\n")


# Rows that can't be understood


@pytest.mark.parametrize(
    ("row", "found", "expected"),
    [
        ("9:20,odometre,4,mile", 'unknown item "odometre"', '"odometer" perhaps'),
        ("9:20,indicated_speed,40", 'unknown item "indicated_speed"', '"indicated speed" perhaps'),
        ("9:20,Speed,40", 'unknown item "Speed"', '"indicated speed" perhaps'),
        ("9:20,rpm,3000", 'unknown item "rpm"', '"tach" perhaps'),
        ("9:20,xyzzy,40", 'unknown item "xyzzy"', 'one of "indicated speed", "odometer", "tach"'),
        ("9:20,,40", "no item", "one of"),
        ("9:20", "no item", "one of"),
        ("9:20,odometer,,mile", "odometer without a value", "a number"),
        ("9:20,odometer,4,mph", 'odometer in "mph"', "a unit of length: mile or km"),
        ("9:20,indicated speed,4,km", 'indicated speed in "km"', "mph or km/h"),
        ("9:20,tach,4,mph", 'tach in "mph"', "a unit of engine speed: rpm"),
        ("9:20,indicated speed,4,mhp", 'indicated speed in "mhp"', "mph or km/h"),
        ("9:20,indicated speed,40 mph,mph", 'indicated speed "40 mph"', "its unit in the column"),
        ("9:20,indicated speed,forty", 'indicated speed "forty"', "a number"),
        ("9:20,indicated speed,1e2", 'indicated speed "1e2"', "a number"),
        ("9:20,indicated speed,nan", 'indicated speed "nan"', "a number"),
        ("9:20,indicated speed,-5", '"-5" mph', "what a dial can show"),
        ("9:20,indicated speed,4000", '"4000" mph', "what a dial can show"),
        ("9:20,tach,31000", '"31000" rpm', "what a dial can show"),
        ("9:20,tach,29", '"29" rpm', "revolutions a minute, such as 2900"),
        ("9:20,gear,9", 'gear "9"', "1 to 8, N for neutral or R for reverse"),
        ("9:20,gear,3.5", 'gear "3.5"', "1 to 8"),
        ("9:20,gear,3,mph", '"mph" as the unit of a gear', "no unit"),
        (",inspection,ok,,pipes", 'inspection "ok"', '"pass", "fail" or "not done"'),
        (",inspection,pass,pipes", '"pipes" as the unit of an inspection', "words belong under"),
        ("9:20,odometer,41214,3,mile,", '"41214,3", a decimal comma', '"41214.3"'),
        ("9:20,odometer,41214,3", '"41214,3", a decimal comma', '"41214.3"'),
        ('9:20,indicated speed,"40,5",mph', 'indicated speed "40,5"', "a decimal point"),
        ("9:20,gear,\x003", "NUL bytes", "text"),
        ("9:20,gear,3" + "," * 300, "too long to be a note", "columns"),
    ],
)
def test_a_bad_row_is_told_with_its_line_what_was_found_and_expected(
    row: str, found: str, expected: str
) -> None:
    (line,) = faults(f"# crew: two\n9:19,gear,2\n{row}\n9:21,gear,4\n")
    place, _, rest = line.partition(": ")
    assert place == "notes.csv, line 4"
    told, _, wanted = rest.partition("; expected ")
    assert found in told
    assert expected in wanted


def test_all_bad_rows_are_told_at_once() -> None:
    lines = faults("9:20,odo,4\n9:21,gear,3\n9:61,gear,3\n9:22,gear,x\n")
    assert [line.split(": ")[0] for line in lines] == [
        "notes.csv, line 2",
        "notes.csv, line 4",
        "notes.csv, line 5",
    ]


def test_a_comma_in_the_wrong_place_is_told_where_remark_is_not_the_last_column() -> None:
    (line,) = faults("9:20,gear,x,3,b\n", header="time,item,remark,value\n")
    assert "5 fields; expected 4" in line


def test_without_a_unit_column_a_decimal_comma_is_still_told() -> None:
    (line,) = faults("9:20,odometer,41214,3\n", header="time,item,value\n")
    assert "a decimal comma" in line


@STEADY
@given(st.binary(max_size=200), st.sampled_from(["", HEADER, "time;item;value\n"]))
def test_any_bytes_give_notes_or_clear_lines(data: bytes, header: str) -> None:
    try:
        notes = read_notes(header.encode() + data, "notes.csv", "mph")
    except (InputError, InputErrors) as error:
        faults = error.faults if isinstance(error, InputErrors) else (error,)
        assert len(str(error).split("\n")) == len(faults)
        return
    assert all((note.clock is None) == (note.time_s is None) for note in notes.rows)


CELLS = st.sampled_from(
    [
        "9:20",
        "",
        "gear",
        "odometer",
        "tach",
        "remark",
        "inspection",
        "pass",
        "3",
        "3.5",
        "mile",
        '"',
    ]
)


@STEADY
@given(st.lists(st.lists(CELLS, min_size=1, max_size=7), max_size=5))
def test_no_row_is_lost_in_silence(rows: list[list[str]]) -> None:
    text = "".join(",".join(row) + "\n" for row in rows if '"' not in row)
    written = {k for k, line in enumerate(text.split("\n"), start=2) if line.strip(",")}
    try:
        notes = read(text)
    except InputErrors as error:
        assert {int(fault.place.split()[1]) for fault in error.faults} <= written
        return
    lost = sum(loss.count for loss in notes.rejected.values())
    assert len(notes.rows) + lost == len(written)
    assert all(note.u_time_s > 0.0 for note in notes.rows)


# What is left out or moved by hand


def test_what_is_left_out_has_its_reason() -> None:
    note = one("2026-05-02T08:01:00Z,left out,stop-2,,a dog ran out")
    assert (note.item, note.text, note.remark) == ("left out", "stop-2", "a dog ran out")
    assert one(",left out,stop-2,,why").time_s is None
    assert one("08:01,left out,,,why").text == ""


def test_a_target_is_a_line_of_the_build_sheet() -> None:
    note = one(',target,"mfdd = ""5.0 m/s^2""",,drum brakes')
    assert (note.item, note.text, note.remark) == ("target", 'mfdd = "5.0 m/s^2"', "drum brakes")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (",left out,stop-2,,", "left out without a reason; expected the reason, under remark"),
        (",left out,,,why", "left out, but not what; expected a time inside the manoeuvre"),
        (',target,"mfdd = ""5 m/s^2""",,', "target without a reason"),
        (",target,,,why", "a target without a value; expected one target as in the build sheet"),
        (',target,"mfdd = ""5 kg""",,why', 'target mfdd: "5 kg" is a mass; expected an accel'),
        (",target,mfd = 3,,why", 'target mfd: unknown key, did you mean "mfdd"?'),
        (",target,mfdd,,why", "target end of file: not TOML"),
        (',target,"fade=""75 %""\nmfdd=""5 m/s^2""",,why', "2 targets in one row"),
        (",target,drift = {},,why", "target drift: "),
        (",target,standing = [],,why", "0 targets in one row"),
    ],
)
def test_what_cannot_be_left_out_or_moved_is_one_clear_line(row: str, said: str) -> None:
    (line,) = faults(row + "\n")
    assert line.startswith(f"notes.csv, line 2: {said}")


def test_an_apostrophe_that_keeps_a_formula_from_running_is_no_part_of_the_text() -> None:
    assert one(",left out,stop-2,,'=1+1").remark == "=1+1"
    assert one(",remark,'tis wet,,'quoted'").remark == "'quoted'"
