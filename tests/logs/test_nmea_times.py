"""Dates, midnights and the order of time in NMEA logs."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from roadtest.logs.nmea import read_nmea
from tests.logs.nmea_logs import START, Fix, counts, drive, log, sentence


def at(*parts: int) -> dt.datetime:
    """Return a moment in UTC."""
    return dt.datetime(*parts, tzinfo=dt.UTC)  # type: ignore[misc, arg-type]


def times(fixes: list[Fix]) -> list[float]:
    """Return the times of fixes, s since 1970."""
    return [fix.time.timestamp() for fix in fixes]


@pytest.mark.parametrize(
    "midnight",
    [
        at(2026, 5, 3),
        at(2028, 2, 29),
        at(2028, 3, 1),
        at(2027, 3, 1),
        at(2027, 1, 1),
        at(2000, 3, 1),
    ],
)
@pytest.mark.parametrize("kinds", ["rmc gga", "gga rmc", "gga vtg zda", "zda gga"])
def test_dates_run_on_through_midnight(midnight: dt.datetime, kinds: str) -> None:
    fixes = list(drive(40, 2.0, start=midnight - dt.timedelta(seconds=10)))
    found = read_nmea(log(fixes, kinds), "drive.nmea")
    assert counts(found) == {}
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)


def test_sentences_without_a_date_take_it_from_those_that_have_one() -> None:
    fixes = list(drive(3000, 0.01, start=at(2026, 5, 2, 20)))  # over three midnights
    text = "".join(fix.gga() + (fix.rmc() if n % 50 == 0 else "") for n, fix in enumerate(fixes))
    found = read_nmea(text.encode(), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)


def test_one_date_at_the_end_dates_the_whole_log() -> None:
    fixes = list(drive(100, start=at(2026, 5, 2, 23, 59)))
    data = log(fixes, "gga") + fixes[-1].rmc().encode()
    np.testing.assert_allclose(read_nmea(data, "a.nmea").time_s, times(fixes), rtol=0, atol=1e-6)


def test_two_drives_days_apart_keep_their_own_dates() -> None:
    first = list(drive(50, start=at(2026, 5, 2, 10)))
    second = list(drive(50, start=at(2026, 5, 9, 9)))
    found = read_nmea(log(first + second, "gga rmc"), "drive.nmea")
    assert counts(found) == {}
    np.testing.assert_allclose(found.time_s, times(first + second), rtol=0, atol=1e-6)


def test_a_log_without_a_date_counts_from_1970() -> None:
    found = read_nmea(log(drive(40, start=at(2026, 5, 2, 23, 59, 50)), "gga"), "drive.nmea")
    assert found.time_s[0] == 86_390.0
    assert found.time_s[-1] == 86_429.0
    assert found.remarks == ("no date in the file: the day is taken as 1970-01-01",)


@pytest.mark.parametrize(("year", "expected"), [(80, 1980), (99, 1999), (0, 2000), (79, 2079)])
def test_two_digit_years(year: int, expected: int) -> None:
    body = f"GPRMC,120000.00,A,5133.82,N,00042.24,W,19.4,0.0,0103{year:02d},,,A"
    found = read_nmea(sentence(body).encode(), "drive.nmea")
    assert found.time_s.tolist() == [at(expected, 3, 1, 12).timestamp()]


def test_the_four_digit_year_of_zda_decides_the_century() -> None:
    body = "GPRMC,120000.00,A,5133.82,N,00042.24,W,19.4,0.0,010385,,,A"
    zda = "GPZDA,120000.00,01,03,2085,00,00"
    found = read_nmea((sentence(body) + sentence(zda)).encode(), "drive.nmea")
    assert found.time_s.tolist() == [at(2085, 3, 1, 12).timestamp()]


@pytest.mark.parametrize("date", ["300226", "310426", "001226", "011326", "1105", "2x0526", ""])
def test_an_impossible_date_is_no_date(date: str) -> None:
    body = f"GPRMC,120000.00,A,5133.82,N,00042.24,W,19.4,0.0,{date},,,A"
    found = read_nmea(sentence(body).encode(), "drive.nmea")
    assert found.time_s.tolist() == [43_200.0]
    assert found.remarks


def test_dates_before_the_first_fix_are_not_believed() -> None:
    cold = [
        replace(fix, status="V", quality="0") for fix in drive(20, start=at(2010, 1, 1, 8, 0, 0))
    ]
    fixes = list(drive(20, start=START + dt.timedelta(seconds=20)))
    found = read_nmea(log(cold + fixes, "gga rmc zda"), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert counts(found) == {"no fix": 20}


def test_a_date_that_is_late_at_midnight_is_mended() -> None:
    fixes = list(drive(40, start=at(2026, 5, 2, 23, 59, 40)))
    text = "".join(fix.rmc() for fix in fixes)
    late = replace(fixes[20], time=fixes[20].time - dt.timedelta(days=1)).rmc()
    back = replace(fixes[30], time=fixes[30].time - dt.timedelta(days=1)).rmc()
    found = read_nmea(
        text.replace(fixes[20].rmc(), late).replace(fixes[30].rmc(), back).encode(), "drive.nmea"
    )
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert any(
        remark.startswith("dates at odds") and remark.endswith(": 2") for remark in found.remarks
    )


def test_a_jump_by_1024_weeks_within_the_file_is_mended_and_remarked() -> None:
    fixes = list(drive(60))
    early = dt.timedelta(weeks=1024)
    wrong = [replace(fix, time=fix.time - early) for fix in fixes[:25]]
    found = read_nmea(log(wrong + fixes[25:]), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert any(
        remark.startswith("dates 1024 weeks before") and remark.endswith(": 25")
        for remark in found.remarks
    )


def test_dates_before_2000_are_remarked_and_kept() -> None:
    fixes = list(drive(10, start=at(1999, 8, 12)))
    found = read_nmea(log(fixes), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert any("1024 weeks" in remark for remark in found.remarks)


def test_a_leap_second_is_counted() -> None:
    before = list(drive(3, start=at(2016, 12, 31, 23, 59, 57)))
    leap = before[-1].rmc().replace("235959.00", "235960.00")
    leap = sentence(leap[1:].split("*")[0])
    after = list(drive(3, start=at(2017, 1, 1)))
    data = log(before, "rmc") + leap.encode() + log(after, "rmc")
    found = read_nmea(data, "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(before + after), rtol=0, atol=1e-6)
    assert counts(found) == {"leap second": 1}


def test_a_second_rounded_up_to_60_begins_the_next_minute() -> None:
    fixes = list(drive(3, start=at(2026, 5, 2, 8, 0, 59)))
    text = log(fixes, "rmc").decode().splitlines()
    text[1] = sentence(text[1][1:].split("*")[0].replace("080100.00", "080060.00"), end="")
    found = read_nmea("\n".join(text).encode(), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)


def test_exact_repeats_are_duplicates() -> None:
    fixes = list(drive(30))
    found = read_nmea(log(fixes + fixes[5:20] + fixes[29:]), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert counts(found) == {"duplicate fix": 16}


def test_a_repeat_with_fewer_decimals_is_a_duplicate() -> None:
    fixes = list(drive(10))
    again = replace(fixes[9], lat=fixes[9].lat[:-2], lon=fixes[9].lon[:-2])
    assert counts(read_nmea(log([*fixes, again], "rmc"), "a.nmea")) == {"duplicate fix": 1}


def test_the_same_time_with_another_position_stands_still() -> None:
    fixes = list(drive(30))
    stuck = [replace(fix, time=fixes[n // 3 * 3].time) for n, fix in enumerate(fixes)]
    found = read_nmea(log(stuck), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes[::3]), rtol=0, atol=1e-6)
    np.testing.assert_allclose(
        found.latitude_deg, read_nmea(log(fixes[::3]), "a.nmea").latitude_deg, rtol=0, atol=1e-12
    )
    assert counts(found) == {"time stands still": 20}


def test_a_block_out_of_order_is_put_in_order() -> None:
    fixes = list(drive(100))
    found = read_nmea(log(fixes[60:] + fixes[:60]), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert counts(found) == {}
    assert any(
        remark.startswith("fixes out of order") and remark.endswith(": 40")
        for remark in found.remarks
    )


def test_neighbours_that_changed_places_are_put_in_order() -> None:
    fixes = list(drive(20))
    swapped = fixes.copy()
    swapped[7], swapped[8] = swapped[8], swapped[7]
    found = read_nmea(log(swapped), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert counts(found) == {}
    assert any("out of order" in remark for remark in found.remarks)


@pytest.mark.parametrize("seconds", [-3600, -40, 45, 3600, 18_000])
def test_a_single_absurd_time_is_rejected(seconds: int) -> None:
    fixes = list(drive(100))
    odd = fixes.copy()
    odd[50] = replace(odd[50], time=odd[50].time + dt.timedelta(seconds=seconds))
    found = read_nmea(log(odd), "drive.nmea")
    del fixes[50]
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)
    assert counts(found) == {"time out of order": 1}


def test_a_first_fix_years_away_is_rejected() -> None:
    fixes = list(drive(50))
    odd = [replace(fixes[0], time=fixes[0].time - dt.timedelta(days=900)), *fixes[1:]]
    found = read_nmea(log(odd), "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes[1:]), rtol=0, atol=1e-6)
    assert counts(found) == {"time out of order": 1}


def test_microseconds_survive() -> None:
    fix = replace(next(iter(drive(1))), clock_decimals=6)
    fix = replace(fix, time=fix.time + dt.timedelta(microseconds=123_457))
    assert read_nmea(log([fix]), "a.nmea").time_s[0] == pytest.approx(times([fix])[0], abs=5e-7)


def test_a_date_from_before_the_first_fix_does_not_spread_to_fixes() -> None:
    cold = [
        replace(fix, status="V", quality="0") for fix in drive(20, start=at(2010, 1, 1, 8, 0, 0))
    ]
    fixes = list(drive(60, start=START + dt.timedelta(seconds=20)))
    data = log(cold) + log(fixes, "gga") + fixes[-1].rmc().encode()
    found = read_nmea(data, "drive.nmea")
    np.testing.assert_allclose(found.time_s, times(fixes), rtol=0, atol=1e-6)


def test_a_drive_of_another_day_between_two_of_one_day_keeps_its_date() -> None:
    parts = [
        list(drive(20, start=at(2026, 5, 2, 10))),
        list(drive(20, start=at(2026, 5, 3, 10, 30))),
        list(drive(20, start=at(2026, 5, 2, 11))),
    ]
    found = read_nmea(log([fix for part in parts for fix in part]), "drive.nmea")
    np.testing.assert_allclose(
        found.time_s, times(parts[0] + parts[2] + parts[1]), rtol=0, atol=1e-6
    )
    assert counts(found) == {}


def test_times_rounded_differently_are_one_epoch() -> None:
    fixes = list(drive(10, start=START + dt.timedelta(milliseconds=758)))
    text = ""
    for fix in fixes:
        rounded = replace(fix, time=fix.time + dt.timedelta(milliseconds=2))
        text += rounded.rmc() + replace(fix, clock_decimals=3).gga()
    assert read_nmea(text.encode(), "drive.nmea").fixes_read == 10
