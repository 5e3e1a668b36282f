"""The table reader: encodings, delimiters, quotation marks and every kind of damage."""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.logs import csv_table
from roadtest.logs.csv_cells import EMPTY, NOT_A_NUMBER, NOT_FINITE, NUMBER
from roadtest.logs.csv_records import LONGEST_LINE
from roadtest.logs.csv_table import (
    Table,
    layout_remarks,
    other_columns,
    read_table,
    refuse_damaged,
    refuse_shifted,
)
from roadtest.logs.rejects import Rejects

STEADY = settings(derandomize=True, deadline=None, max_examples=200)


def table_of(text: str | bytes) -> Table:
    return read_table(text.encode() if isinstance(text, str) else text, "t.csv", '"a" and "b"')


def rows_of(table: Table) -> list[list[str]]:
    grid = [table.cells(column) for column in table.columns]
    return [[cells.text(row) for cells in grid] for row in range(len(table))]


def numbers_of(table: Table, name: str) -> list[float]:
    column = table.find(name)
    assert column is not None
    return [float(value) for value in table.numbers(column)[0]]


def rejects_of(table: Table, *names: str) -> tuple[Rejects, list[str]]:
    rejects = Rejects(table.records.line)
    refuse_damaged(table, rejects)
    columns = [column for column in table.columns if column.name in names]
    return rejects, refuse_shifted(table, columns, columns, rejects)


# Encodings and line ends


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends_change_nothing(codec: str, ending: str) -> None:
    text = ending.join(["Öl [°C],b", "1,ä", "2,€", ""])
    table = table_of(text.encode(codec))
    assert (table.columns[0].name, table.columns[0].unit) == ("öl", "°C")
    assert rows_of(table) == [["1", "ä"], ["2", "€"]]
    assert table.records.line.tolist() == [2, 3]


def test_latin_1_is_read_with_a_remark() -> None:
    table = table_of("a [°C],b\n1,ö\n".encode("latin-1"))
    assert table.columns[0].unit == "°C"
    assert rows_of(table) == [["1", "ö"]]
    assert any("Latin-1" in remark for remark in table.remarks)


def test_utf_16_is_remarked_on_and_plain_text_is_not() -> None:
    assert any("UTF-16" in remark for remark in table_of("a,b\n1,2\n".encode("utf-16")).remarks)
    assert table_of("a,b\n1,2\n").remarks == ()


def test_a_file_cut_inside_a_letter_is_still_utf_8() -> None:
    table = table_of("a,b\nö,2\n3,ö".encode()[:-1])
    assert rows_of(table) == [["ö", "2"], ["3", ""]]
    assert any("inside a character" in remark for remark in table.remarks)


# The header


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_header_tells_the_delimiter(delimiter: str) -> None:
    table = table_of(f"a{delimiter}b\n1{delimiter}2\n")
    assert table.delimiter == delimiter
    assert rows_of(table) == [["1", "2"]]


def test_a_header_of_one_column_has_no_delimiter() -> None:
    table = table_of("pulse_time_s\n0,125\n0.25\n")
    assert table.delimiter == ""
    assert numbers_of(table, "pulse_time_s") == [0.125, 0.25]


def test_headings_are_trimmed_folded_and_give_units() -> None:
    table = table_of(' Time ,"Oil  Pressure [bar]",X[ m/s ],[V]\n1,2,3,4\n')
    assert [(c.name, c.unit) for c in table.columns] == [
        ("time", ""),
        ("oil pressure", "bar"),
        ("x", "m/s"),
        ("", "V"),
    ]


def test_a_unit_may_stand_in_round_brackets() -> None:
    table = table_of("time,coolant (degC),oil (rear),rpm (x1000)\n1,2,3,4\n")
    assert [(c.name, c.unit) for c in table.columns] == [
        ("time", ""),
        ("coolant", "degC"),
        ("oil (rear)", ""),
        ("rpm (x1000)", ""),
    ]


def test_comments_and_blank_lines_are_skipped_and_lines_still_counted() -> None:
    table = table_of("# logger 7\n\n  \nsep=,\na,b\n# half way\n1,2\n\n ,\n  # end\n3,4\n")
    assert table.header_line == 5
    assert rows_of(table) == [["1", "2"], ["3", "4"]]
    assert table.records.line.tolist() == [7, 11]


def test_columns_of_one_name_are_told_apart() -> None:
    table = table_of("a,b,A\n1,2,3\n")
    assert numbers_of(table, "a") == [1.0]
    assert [column.place for column in table.repeated] == [2]
    assert other_columns(table, table.columns[:2]) == ("a (column 3)",)
    assert any('more than one column "a"' in remark for remark in layout_remarks(table, []))


def test_a_column_without_a_name_is_named_by_its_place() -> None:
    table = table_of("a,,b\n1,2,3\n")
    assert other_columns(table, [table.columns[0]]) == ("column 2, which has no name", "b")


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "the file is empty"),
        (b"\n \n# a,b\n", "nothing but blank lines and comments"),
        (b"1,2\n3,4\n", 'the first line is "1,2", which names no columns'),
        (b"2026-05-02T08:14:10Z,900\n", "which names no columns"),
        (b",;,\n1,2\n", "which names no columns"),
        (b"\x00\x00\x00\x00\n", "NUL bytes where the header should be"),
        (b"a," * 1000 + b"b\n", "1001 columns"),
        (b"a," * LONGEST_LINE, f"a line of {2 * LONGEST_LINE} bytes where the header should be"),
    ],
)
def test_without_a_header_the_message_tells_what_was_found(data: bytes, found: str) -> None:
    with pytest.raises(InputError) as caught:
        table_of(data)
    assert found in caught.value.found
    assert caught.value.expected.startswith('a header line with "a" and "b"')
    assert len(str(caught.value)) < 250


# Quotation marks


def test_quoted_fields_may_hold_delimiters_marks_and_line_breaks() -> None:
    table = table_of('a,b,c\n"1","x, ""y""","p\nq"\n2, "z" ,""\n')
    assert rows_of(table) == [["1", 'x, "y"', "p\nq"], ["2", "z", ""]]
    assert table.records.line.tolist() == [2, 4]


def test_a_stray_quotation_mark_is_a_letter_and_costs_no_other_row() -> None:
    table = table_of('a,b\n1,5" rim\n2,6\n3,"7\n4,8\n5,9"\n6,13", 14"\n7,1\n')
    rows = rows_of(table)
    assert [row[0] for row in rows] == ["1", "2", "3", "4", "5", "6", "7"]
    assert rows[0] == ["1", '5" rim']
    assert table.records.fields.tolist() == [2, 2, 2, 2, 2, 3, 2]


def test_stray_quotation_marks_in_short_rows_join_nothing() -> None:
    rows = rows_of(table_of('a,b,c,d\n1,5" rim\n2,6" rim\n3,"7\n4,x\n5,y" z\n'))
    assert [row[0] for row in rows] == ["1", "2", "3", "4", "5"]


def test_a_comment_may_hold_a_quotation_mark() -> None:
    assert rows_of(table_of('a,b\n# 5" wheel\n1,"x"\n')) == [["1", "x"]]


FIELD = st.text(st.sampled_from('ab1 ,;"'), max_size=8).map(str.strip)
LONG_FIELD = st.lists(FIELD.filter(lambda text: text.count(",") < 3), max_size=4).map("\n".join)


@st.composite
def csv_rows(draw: st.DrawFn) -> list[list[str]]:
    rows = draw(st.lists(st.lists(FIELD, min_size=4, max_size=4), max_size=8))
    for row in rows:
        row[draw(st.integers(0, 3))] = draw(LONG_FIELD)
    return rows


@STEADY
@given(csv_rows())
def test_what_the_csv_module_writes_is_read_back(rows: list[list[str]]) -> None:
    """One field a row may run over several lines, none of which looks like a row."""
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL).writerows(rows)
    table = table_of("a,b,c,d\r\n" + out.getvalue())
    assert rows_of(table) == [[field.strip(" ") for field in row] for row in rows]


# Rows too short, too long, damaged


def test_short_rows_are_used_where_the_needed_cells_are_there() -> None:
    table = table_of("a,b,c\n1,2\n3\n4,5,6\n")
    rejects, remarks = rejects_of(table, "a", "b")
    assert rejects.good.tolist() == [True, False, True]
    assert rejects.losses()["short row"].count == 1
    assert rejects.losses()["short row"].first == "line 3"
    assert remarks == [
        "1 row with fewer fields than the header has columns still used, first line 2"
    ]


def test_long_rows_are_used_unless_a_decimal_comma_may_have_moved_their_cells() -> None:
    table = table_of("a,b,c\n1.5,2,x,y\n1.5,2,x,\n1,5,2,x\n1.5,2,5,x\n7,8,9,,\n")
    rejects, remarks = rejects_of(table, "a", "b")
    assert rejects.good.tolist() == [True, True, False, False, True]
    assert (rejects.losses()["long row"].count, rejects.losses()["long row"].first) == (2, "line 4")
    assert remarks == [
        "3 rows with more fields than the header has columns still used, first line 2"
    ]


def test_a_long_row_between_semicolons_has_moved_nothing() -> None:
    rejects, _ = rejects_of(table_of("a;b\n1;2;3\n"), "a", "b")
    assert rejects.good.all()


def test_rows_with_nul_bytes_and_enormous_lines_are_counted() -> None:
    table = table_of(b"a,b\n1,2\n3,\x004\n" + b"9" * (LONGEST_LINE + 1) + b",1\n5,6\n\x00\x00\x00")
    rejects, _ = rejects_of(table, "a", "b")
    assert rejects.good.tolist() == [True, False, False, True, False]
    assert rejects.losses()["NUL bytes"].count == 2
    assert rejects.losses()["line too long"].first == "line 4"


def test_a_last_line_that_breaks_off_is_counted() -> None:
    whole = "a,b\n" + "".join(f"{k},{1000 + k}\n" for k in range(12))
    for cut, kept in ((whole, 12), (whole[:-1], 12), (whole[:-2], 11), (whole[:-6], 11)):
        table = table_of(cut)
        rejects, _ = rejects_of(table, "a", "b")
        assert (len(table), int(rejects.good.sum())) == (12, kept)
        assert ("truncated last line" in rejects.losses()) == (kept < 12)


def test_in_a_short_file_a_last_line_without_end_is_believed() -> None:
    rejects, _ = rejects_of(table_of("a,b\n1,1000\n2,9"), "a", "b")
    assert rejects.good.all()


def test_a_row_is_refused_for_the_first_reason_only() -> None:
    rejects = Rejects(np.array([2, 3, 7]))
    rejects.mark(np.array([False, True, False]), "one")
    rejects.mark(np.array([False, True, True]), "other")
    assert {r: (loss.count, loss.first) for r, loss in rejects.losses().items()} == {
        "one": (1, "line 3"),
        "other": (1, "line 7"),
    }


# Numbers


@pytest.mark.parametrize(
    ("text", "code", "value"),
    [
        ("12", NUMBER, 12.0),
        ("-0.5", NUMBER, -0.5),
        ("+.5", NUMBER, 0.5),
        ("5.", NUMBER, 5.0),
        ("1e3", NUMBER, 1000.0),
        ("1.5E-3", NUMBER, 0.0015),
        (" 7 ", NUMBER, 7.0),
        ('" 7 "', NUMBER, 7.0),
        ("1" * 30, NUMBER, float("1" * 30)),
        ("", EMPTY, np.nan),
        ("nan", NOT_FINITE, np.nan),
        ("-Infinity", NOT_FINITE, np.nan),
        ("1e999", NOT_FINITE, np.nan),
        (".", NOT_A_NUMBER, np.nan),
        ("1.2.3", NOT_A_NUMBER, np.nan),
        ("1_000", NOT_A_NUMBER, np.nan),
        ("0x10", NOT_A_NUMBER, np.nan),
        ("1e", NOT_A_NUMBER, np.nan),
        ("--5", NOT_A_NUMBER, np.nan),
        ("5 0", NOT_A_NUMBER, np.nan),
        ("１２", NOT_A_NUMBER, np.nan),
        ("1" * 70, NOT_A_NUMBER, np.nan),
    ],
)
def test_what_counts_as_a_number(text: str, code: int, value: float) -> None:
    table = table_of(f"a,b\n{text},x\n9,9\n")
    values, codes = table.numbers(table.columns[0])
    assert codes.tolist() == [code, NUMBER]
    np.testing.assert_equal(values, [value, 9.0])


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_commas_are_read_where_commas_part_nothing(delimiter: str) -> None:
    table = table_of(f"a{delimiter}b\n1,5{delimiter}2.5\n1.234,5{delimiter}3\n")
    assert numbers_of(table, "a")[0] == 1.5
    assert np.isnan(numbers_of(table, "a")[1])
    assert "numbers are written with a decimal comma" in layout_remarks(table, table.columns)
    assert layout_remarks(table, [table.columns[1]]) == []


def test_a_quoted_decimal_comma_between_commas_is_no_number() -> None:
    assert np.isnan(numbers_of(table_of('a,b\n"1,5",2\n'), "a")[0])


NUMERIC = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?", re.ASCII)


@STEADY
@given(st.lists(st.text(st.sampled_from("0123456789.+-eE_x"), min_size=1, max_size=12), min_size=1))
def test_numbers_are_those_of_the_grammar_and_worth_what_python_says(texts: list[str]) -> None:
    table = table_of("a,b\n" + "".join(f"{text},1\n" for text in texts))
    values, codes = table.numbers(table.columns[0])
    for text, value, code in zip(texts, values, codes, strict=True):
        if NUMERIC.fullmatch(text) and np.isfinite(float(text)):
            assert (value, code) == (float(text), NUMBER)
        else:
            assert np.isnan(value)
            assert code == (NOT_FINITE if NUMERIC.fullmatch(text) else NOT_A_NUMBER)


# Any bytes


@STEADY
@given(st.binary(max_size=300))
def test_any_bytes_give_a_table_or_one_clear_line(data: bytes) -> None:
    try:
        table = table_of(data)
    except InputError as error:
        assert "\n" not in str(error)
        return
    assert all(len(row) == len(table.columns) for row in rows_of(table))
    assert (np.diff(table.records.line) > 0).all()
    assert (table.records.line > table.header_line).all()


@STEADY
@given(st.text(st.sampled_from('ab1,;\t"\n\r #.\x00'), max_size=80))
def test_rows_never_overlap_and_hold_every_letter_once(text: str) -> None:
    try:
        table = table_of("name,b\n" + text)
    except InputError:
        return
    records = table.records
    assert (records.start[1:] > records.end[:-1]).all()
    assert (records.fields >= 1).all()


@pytest.mark.parametrize("piece", [b"\n", b",", b'"\n', b"1,2\n"])
def test_a_file_of_nothing_but_marks_is_refused_before_it_takes_all_memory(
    piece: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(csv_table, "_MOST_MARKS", 1000)
    with pytest.raises(InputError, match=r"[12][0-9]{3} line ends, delimiters and .* at most 1000"):
        read_table(b"time,rpm\n" + piece * 1100, "tach.csv", "rpm")


def test_a_file_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(csv_table, "_MOST_BYTES", 2**20)
    with pytest.raises(InputError, match="a CSV file of 2 MiB; expected at most 1 MiB"):
        read_table(b"time,rpm\n" + b"1" * 2**21, "tach.csv", "rpm")
