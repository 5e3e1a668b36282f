"""Text on a terminal: what is taken out, how wide it is, where lines break."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.terminal import Page, clean, display_width, fit, wrap


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("\x1b[31mred\x1b[0m", "red"),
        ("\x1b]0;new title\x07after", "after"),
        ("\x1b]8;;http://x.invalid\x1b\\link\x1b]8;;\x1b\\", "link"),
        ("\x9b2Jcleared", "cleared"),
        ("a\x1b", "a"),
        ("a\x00b\x07c\x7fd", "abcd"),
        ("one\r\ntwo\tthree\x0bfour\u2028five", "one  two three four five"),
        ("pay\u202etxt.exe\u202c", "paytxt.exe"),
        ("\u2066isolated\u2069 \u200emark\u200f\u061c", "isolated mark"),
        (
            "soft\u00adhyphen zero\u200bwidth join\u200der bom\ufeff",
            "softhyphen zerowidth joiner bom",
        ),
        ("e\u0301", "é"),
        ("a" + "\u0336" * 50, "a" + "\u0336" * 2),
        ("half \udcff private \ue000", "half \ufffd private \ufffd"),
        ("❤\ufe0f", "❤"),
        ("עברית", "עברית"),
    ],
)
def test_what_steers_a_terminal_is_taken_out(text: str, left: str) -> None:
    assert clean(text) == left


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.text())
def test_cleaned_text_is_one_line_of_visible_characters(text: str) -> None:
    safe = clean(text)
    assert len(safe.splitlines()) <= 1
    assert not {unicodedata.category(c) for c in safe} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    safe.encode("utf-8")


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("abc", 3),
        ("±²°", 3),
        ("日本", 4),
        ("e\u0323", 1),
        ("ｱ", 1),
        ("Ａ", 2),
        ("한", 2),
        ("🚗", 2),
    ],
)
def test_width_in_columns(text: str, columns: int) -> None:
    assert display_width(text) == columns


@pytest.mark.parametrize(
    ("text", "encoding", "fitted"),
    [
        ("±²°×→✗✓–“é”", "utf-8", "±²°×→✗✓–“é”"),
        ("6.0 ± 0.2 m/s²", "ascii", "6.0 +/- 0.2 m/s^2"),
        ("✗ ✓ → × ° – “é” ñ", "ascii", '! + -> x deg - "e" n'),
        ("日本 \ufffd", "ascii", "?? ?"),
        ("✗ 5 ± 2 °C, 日", "cp1252", "! 5 ± 2 °C, ?"),
        ("q\u0336", "ascii", "q"),
        ("ﬁt ½", "ascii", "fit 1/2"),
    ],
)
def test_what_an_encoding_cannot_hold_is_written_plainer(
    text: str, encoding: str, fitted: str
) -> None:
    assert fit(text, encoding) == fitted


@settings(derandomize=True, deadline=None, max_examples=300)
@given(text=st.text(), encoding=st.sampled_from(["ascii", "cp1252", "cp437", "koi8-r", "utf-8"]))
def test_fitted_text_can_always_be_encoded(text: str, encoding: str) -> None:
    fit(clean(text), encoding).encode(encoding)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(text=st.text("ab 日\u0336"), width=st.integers(4, 20))
def test_wrapping_keeps_every_character_and_the_width(text: str, width: int) -> None:
    words = " ".join(text.split())
    lines = wrap(words, width)
    assert all(display_width(line) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == words.replace(" ", "")


def test_a_value_and_its_interval_stay_on_one_line() -> None:
    page = Page(24)
    page.paragraph("the distance: 58.31 ± 0.40 m")
    assert page.text() == "the distance:\n58.31 ± 0.40 m\n"


def test_labels_hang_and_too_long_ones_take_their_own_line() -> None:
    page = Page(30)
    page.paragraph("words that go on and on for a while", label="short", indent=10)
    page.paragraph("text", label="a-label-longer-than-that", indent=10)
    assert page.text().splitlines() == [
        "short     words that go on and",
        "          on for a while",
        "a-label-longer-than-that",
        "          text",
    ]


def test_tables_align_by_columns_not_characters() -> None:
    page = Page(40)
    page.table(["name", "max"], [["日本", "1.5"], ["e\u0323tc", "10.25"]])
    assert page.text().splitlines() == ["  name    max", "  日本    1.5", "  ẹtc   10.25"]


def test_a_table_too_wide_becomes_a_list() -> None:
    page = Page(20)
    page.table(["channel", "lowest", "highest"], [["coolant", "20", "109"]])
    assert page.text().splitlines() == ["  channel: coolant", "    lowest: 20", "    highest: 109"]


def test_a_mark_without_a_head_leads_its_row_of_such_a_list() -> None:
    page = Page(20)
    page.table(["", "figure", "difference"], [["*", "axle", "-0.4"], ["", "step", "+0.1"]])
    assert page.text().splitlines() == [
        *("  * figure: axle", "    difference: -0.4"),
        *("  figure: step", "    difference: +0.1"),
    ]


def test_colour_is_on_the_label_only_and_takes_no_columns() -> None:
    page = Page(40, colour=True)
    page.paragraph("Speedometer", label="✗ FAIL", indent=10, paint="31")
    assert page.text() == "\x1b[31m✗ FAIL\x1b[0m    Speedometer\n"
