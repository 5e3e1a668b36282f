"""ISO 8601 times read in bulk, against the standard library's own reader."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.logs.csv_cells import WIDEST_CELL, Cells
from roadtest.logs.timestamps import NO_ZONE, UNREADABLE, ZONED, iso_seconds

STEADY = settings(derandomize=True, deadline=None, max_examples=200)


def cells_of(*texts: str) -> Cells:
    raw = [text.encode() for text in texts]
    ends = np.cumsum([len(part) for part in raw], dtype=np.int64)
    starts = ends - np.array([len(part) for part in raw], dtype=np.int64)
    buffer = np.frombuffer(b"".join(raw) + bytes(WIDEST_CELL), dtype=np.uint8)
    return Cells(buffer, starts, ends)


def read(text: str) -> tuple[float, int]:
    seconds, codes = iso_seconds(cells_of(text))
    return float(seconds[0]), int(codes[0])


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-02T08:14:10Z",
        "2026-05-02T08:14:10z",
        "2026-05-02t08:14:10Z",
        "2026-05-02 08:14:10Z",
        "2026-05-02T08:14:10.000Z",
        "2026-05-02T08:14:10,0Z",
        "2026-05-02T09:14:10+01:00",
        "2026-05-02T09:14:10+0100",
        "2026-05-02T09:14:10+01",
        "2026-05-02 09:14:10 +01:00",
        "2026-05-02T04:44:10-03:30",
        "2026-05-02T08:14:10.000000000Z",
        "2026-05-02T08:14:10+00:00",
        "2026-05-02T08:14:10-00:00",
    ],
)
def test_every_way_of_writing_one_moment_gives_the_same_seconds(text: str) -> None:
    assert read(text) == (datetime(2026, 5, 2, 8, 14, 10, tzinfo=UTC).timestamp(), ZONED)


def test_a_time_without_zone_counts_on_its_own_wall_clock() -> None:
    assert read("1970-01-02T00:00:01.5") == (86401.5, NO_ZONE)
    assert read("1970-01-01 00:01") == (60.0, NO_ZONE)
    assert read("1970-01-01T00:01+01:00") == (60.0 - 3600.0, ZONED)


def test_a_leap_second_is_the_first_second_after_it() -> None:
    assert read("2016-12-31T23:59:60Z") == read("2017-01-01T00:00:00Z")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2026-05-02",
        "09:14:10",
        "12.5",
        "2026-02-29T00:00:00Z",
        "2026-13-01T00:00:00Z",
        "2026-00-01T00:00:00Z",
        "2026-01-00T00:00:00Z",
        "0000-01-01T00:00:00Z",
        "2026-05-02T24:00:00Z",
        "2026-05-02T08:60:00Z",
        "2026-05-02T08:14:61Z",
        "2026-05-02T08:14:1Z",
        "2026-05-02T08:14:10.Z",
        "2026-05-02T08:14:10ZZ",
        "2026-05-02T08:14:10+15:00",
        "2026-05-02T08:14:10+01:60",
        "2026-05-02T08:14:10+01:",
        "2026-05-02T08:14:10+1",
        "2026-05-02T08:14:10+01:000",
        "2026-05-02T08:14:10 junk",
        "2026-05-02T08:14:10\x00Z",
        "2026-05-02X08:14:10Z",
        "2026/05/02T08:14:10Z",
        "-026-05-02T08:14:10Z",
        "２０２６-05-02T08:14:10Z",
        "2026-05-02T08:14:10.1234567890123Z",
        "2026-05-02T08:14:10Z" + " " * 50 + "x",
    ],
)
def test_what_is_no_time_is_unreadable(text: str) -> None:
    seconds, code = read(text)
    assert np.isnan(seconds)
    assert code == UNREADABLE


def test_leap_years_follow_the_calendar() -> None:
    assert read("2024-02-29T00:00:00Z")[1] == ZONED
    assert read("2000-02-29T00:00:00Z")[1] == ZONED
    assert read("1900-02-29T00:00:00Z")[1] == UNREADABLE


@STEADY
@given(
    st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30)),  # noqa: DTZ001
    st.one_of(st.none(), st.integers(-14 * 60, 14 * 60)),
    st.sampled_from("T "),
)
def test_any_date_reads_as_the_standard_library_reads_it(
    moment: datetime, offset_min: int | None, between: str
) -> None:
    zone = UTC if offset_min is None else timezone(timedelta(minutes=offset_min))
    text = moment.isoformat(sep=between)
    if offset_min is not None:
        text = moment.replace(tzinfo=zone).isoformat(sep=between)
    expected = (moment.replace(tzinfo=zone) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds()
    seconds, code = read(text)
    assert code == (NO_ZONE if offset_min is None else ZONED)
    # Ten thousand years of seconds leave a float 2e-5 s.
    assert seconds == pytest.approx(expected, abs=4e-5, rel=0)


@STEADY
@given(st.integers(0, 10**9 - 1), st.integers(1, 9))
def test_a_fraction_is_read_to_its_last_digit(nanoseconds: int, digits: int) -> None:
    fraction = f"{nanoseconds:09d}"[:digits]
    seconds, _ = read(f"1970-01-01T00:00:00.{fraction}Z")
    assert seconds == float(f"0.{fraction}")


@STEADY
@given(st.lists(st.text(max_size=50), max_size=20))
def test_no_text_breaks_the_reader_and_neighbours_do_not_matter(texts: list[str]) -> None:
    texts = [text.encode("utf-8", "replace").decode() for text in texts]
    seconds, codes = iso_seconds(cells_of("2026-05-02T08:14:10Z", *texts))
    assert codes[0] == ZONED
    for k, text in enumerate(texts, start=1):
        np.testing.assert_equal((float(seconds[k]), int(codes[k])), read(text))
    assert (np.isnan(seconds) == (codes == UNREADABLE)).all()
