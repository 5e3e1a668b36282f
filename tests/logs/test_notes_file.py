"""Rows put into a notes.csv and taken out of it, whatever wrote the file."""

from __future__ import annotations

import pytest

from roadtest.errors import InputError
from roadtest.logs.notes import read_notes
from roadtest.logs.notes_file import NewRow, with_rows

HEAD = "time,item,value,unit,remark\n"
ROW = NewRow("left out", "stop-2", time="2026-05-02T08:00:10Z", remark="wet, and cold")
PLAIN = '2026-05-02T08:00:10Z,left out,stop-2,,"wet, and cold"'


def added(data: bytes, *rows: NewRow) -> bytes:
    after = with_rows(data, "notes.csv", (), rows or (ROW,))
    assert after.startswith(data)
    return after[len(data) :]


def test_without_a_file_there_is_a_header_first() -> None:
    assert with_rows(b"", "notes.csv", (), [ROW]) == f"{HEAD}{PLAIN}\n".encode()


@pytest.mark.parametrize(
    ("before", "expected"),
    [
        (HEAD, f"{PLAIN}\n"),
        (HEAD.replace("\n", "\r\n"), f"{PLAIN}\r\n"),
        (HEAD.replace("\n", "\r"), f"{PLAIN}\r"),
        (HEAD + ",remark,no line end,,", f"\n{PLAIN}\n"),
        ("remark,who,item,time,value\n", '"wet, and cold",,left out,2026-05-02T08:00:10Z,stop-2\n'),
        (
            "time;item;value;unit;remark\n,remark,4,5\n",
            "2026-05-02T08:00:10Z;left out;stop-2;;wet, and cold\n",
        ),
        (
            "# a comment\n\nTime\tItem\tValue\tRemark\n",
            PLAIN_TABS := "2026-05-02T08:00:10Z\tleft out\tstop-2\twet, and cold\n",
        ),
    ],
)
def test_a_row_is_written_as_the_file_is(before: str, expected: str) -> None:
    assert added(before.encode()) == expected.encode()


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
def test_letters_are_those_of_the_file(codec: str) -> None:
    data = (HEAD + ",remark,Straße,,\n").encode(codec)
    after = with_rows(data, "notes.csv", (), [NewRow("remark", "Öl")])
    assert after.startswith(data)
    assert [note.text for note in read_notes(after, "notes.csv", "mph").rows] == ["Straße", "Öl"]


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+5",
        "-brakes",
        "@x",
        '"',
        "a,b;c\td",
        "# no comment",
        "'quoted'",
        "<b>",
        "Öl €",
        "x ",
    ],
)
def test_any_text_comes_back_as_it_was_and_is_no_formula(text: str) -> None:
    for head in (HEAD, HEAD.replace(",", ";"), "remark,value,item,time\n"):
        after = with_rows(
            head.encode(), "notes.csv", (), [NewRow("left out", "stop-1", remark=text)]
        )
        (note,) = read_notes(after, "notes.csv", "mph").rows
        assert note.remark == " ".join(text.split())
        cells = after[len(head) :].decode().replace('"', "")
        assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells.split(head[4]))


def test_what_breaks_a_line_does_not_break_one() -> None:
    nasty = NewRow("left out", "stop-1", remark="a\nb\r\nc\x00d\u2028,pass")
    assert added(HEAD.encode(), nasty) == b',left out,stop-1,,"a b c d ,pass"\n'


def test_rows_are_taken_out_whole_and_the_rest_kept_byte_for_byte() -> None:
    rows = [
        b",remark,first,,\r\n",
        b'\xef\xbb\xbf,remark,"over\r\ntwo lines",,\r\n',
        b"\r\n# a comment\r\n",
        b" ,remark , last,, \r\n",
    ]
    data = HEAD.replace("\n", "\r\n").encode() + b"".join(rows)
    assert with_rows(data, "notes.csv", {3}, ()) == data.replace(rows[1], b"")
    assert with_rows(data, "notes.csv", {2, 7}, ()) == data.replace(rows[0], b"").replace(
        rows[3], b""
    )
    assert with_rows(data, "notes.csv", (), ()) == data


def test_a_file_without_a_column_for_the_reason_is_refused() -> None:
    with pytest.raises(InputError, match=r'^notes.csv, line 1: no column "remark"'):
        with_rows(b"time,item,value\n", "notes.csv", (), [ROW])
    assert added(b"time,item,value\n", NewRow("inspection", "pass")) == b",inspection,pass\n"
