"""Published NMEA 0183 sentences and rules, value by value.

Rules and field order: the gpsd project's public NMEA page (repository ntpsec/gpsd,
www/NMEA.adoc). Sentences: the test suites of Knio/pynmea2 (test/test_types.py), adrianmo/go-nmea
(*_test.go) and kosma/minmea (tests.c); all values are exact conversions of what is written.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest

from roadtest.errors import InputError
from roadtest.logs.nmea import read_nmea
from tests.logs.nmea_logs import sentence

pytestmark = pytest.mark.source(
    "test suites of the repositories Knio/pynmea2, adrianmo/go-nmea and kosma/minmea",
    "read in a stored copy",
)

KNOT_MPS = 1852 / 3600


def utc_s(*parts: int) -> float:
    """Return a date and time as s since 1970 UTC."""
    return dt.datetime(*parts, tzinfo=dt.UTC).timestamp()  # type: ignore[misc, arg-type]


@pytest.mark.parametrize(
    ("line", "time_s", "latitude_deg", "longitude_deg", "knots", "course_deg"),
    [
        (
            "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
            utc_s(1994, 11, 19, 22, 54, 46), 49 + 16.45 / 60, -(123 + 11.12 / 60), 0.5, 54.7,
        ),
        (
            "$GNRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*6E",
            utc_s(1994, 6, 13, 22, 5, 16), 51 + 33.82 / 60, -42.24 / 60, 173.8, 231.8,
        ),
        (
            "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
            utc_s(2017, 1, 10, 0, 10, 31), 44 + 4.13993 / 60, -(121 + 18.86023 / 60), 0.146,
            math.nan,
        ),
    ],
)  # fmt: skip
def test_rmc(
    line: str,
    time_s: float,
    latitude_deg: float,
    longitude_deg: float,
    knots: float,
    course_deg: float,
) -> None:
    log = read_nmea(line.encode() + b"\r\n", "published.nmea")
    assert log.time_s.tolist() == [time_s]
    assert log.latitude_deg.tolist() == [latitude_deg]
    assert log.longitude_deg.tolist() == [longitude_deg]
    assert log.speed_mps.tolist() == [knots * KNOT_MPS]
    np.testing.assert_array_equal(log.course_deg, [course_deg])


@pytest.mark.source(
    "the public NMEA page of the repository ntpsec/gpsd, www/NMEA.adoc",
    "read in a stored copy",
)
def test_rmc_values_as_printed_in_the_reference() -> None:
    log = read_nmea(
        b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\r\n", "published.nmea"
    )
    assert log.latitude_deg[0] == pytest.approx(49.2741667, abs=5e-8)
    assert log.longitude_deg[0] == pytest.approx(-123.1853333, abs=5e-8)
    assert log.speed_mps[0] == pytest.approx(0.25722, abs=5e-6)


@pytest.mark.parametrize(
    ("line", "clock_s", "latitude_deg", "longitude_deg", "hdop", "altitude_m"),
    [
        (
            "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
            18 * 3600 + 43 * 60 + 53.07, -(19 + 29.045 / 60), 24 + 10.506 / 60, 2.6, 100.0,
        ),
        (
            "$GNGGA,203415.000,6325.6138,N,01021.4290,E,1,8,2.42,72.5,M,41.5,M,,*7C",
            20 * 3600 + 34 * 60 + 15.0, 63 + 25.6138 / 60, 10 + 21.4290 / 60, 2.42, 72.5,
        ),
        (
            "$GNGNS,014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,*70",
            1 * 3600 + 40 * 60 + 35.0, -(43 + 32.69262 / 60), 172 + 35.48549 / 60, 0.9, 25.63,
        ),
        (
            "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
            22 * 3600 + 54 * 60 + 44.0, 49 + 16.45 / 60, -(123 + 11.12 / 60), math.nan, math.nan,
        ),
    ],
)  # fmt: skip
def test_sentences_without_a_date(
    line: str,
    clock_s: float,
    latitude_deg: float,
    longitude_deg: float,
    hdop: float,
    altitude_m: float,
) -> None:
    log = read_nmea(line.encode() + b"\r\n", "published.nmea")
    assert log.time_s.tolist() == [clock_s]
    assert log.latitude_deg.tolist() == [latitude_deg]
    assert log.longitude_deg.tolist() == [longitude_deg]
    np.testing.assert_array_equal(log.hdop, [hdop])
    np.testing.assert_array_equal(log.altitude_m, [altitude_m])
    assert np.isnan(log.speed_mps).all()
    assert any("1970-01-01" in remark for remark in log.remarks)


def test_no_fix() -> None:
    with pytest.raises(InputError, match="1 sentence read, the receiver never had a fix"):
        read_nmea(b"$GPRMC,,V,,,,,,,,,,N*53\r\n", "published.nmea")


def test_bad_status_letter_is_no_fix() -> None:
    line = b"$GNRMC,220516,D,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*6B\r\n"
    with pytest.raises(InputError, match="never had a fix"):
        read_nmea(line, "published.nmea")


@pytest.mark.parametrize(
    ("line", "speed_mps", "course_deg"),
    [
        # 2.550 knots are 4.7226 km/h: the fields need not agree, and km/h is written finer.
        ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", 4.724 / 3.6, 220.86),
        # The form before version 2.3, without a mode.
        ("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48", 10.2 / 3.6, 54.7),
    ],
)
def test_vtg_gives_speed_and_course_to_the_fix_before_it(
    line: str, speed_mps: float, course_deg: float
) -> None:
    fix = "$GNGGA,203415.000,6325.6138,N,01021.4290,E,1,8,2.42,72.5,M,41.5,M,,*7C"
    log = read_nmea(f"{fix}\r\n{line}\r\n".encode(), "published.nmea")
    assert log.speed_mps.tolist() == [pytest.approx(speed_mps, rel=1e-15)]
    assert log.course_deg.tolist() == [course_deg]


def test_vtg_of_four_bare_numbers() -> None:
    # The form before version 3.01: 'field 2 is not T' (gpsd project's public NMEA page).
    fix = "$GNGGA,203415.000,6325.6138,N,01021.4290,E,1,8,2.42,72.5,M,41.5,M,,*7C\r\n"
    log = read_nmea((fix + sentence("GPVTG,054.7,034.4,005.5,010.2")).encode(), "published.nmea")
    assert log.speed_mps.tolist() == [pytest.approx(10.2 / 3.6, rel=1e-15)]
    assert log.course_deg.tolist() == [54.7]


@pytest.mark.parametrize(
    ("line", "hdop"),
    [
        ("$GPGSA,A,3,22,19,18,27,14,03,,,,,,,3.1,2.0,2.4*36", 2.0),
        ("$GNGSA,A,3,13,12,22,19,08,21,,,,,,,1.05,0.64,0.83,4*0B", 0.64),
    ],
)
def test_gsa_gives_hdop_where_no_other_sentence_does(line: str, hdop: float) -> None:
    fix = "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68"
    log = read_nmea(f"{fix}\r\n{line}\r\n".encode(), "published.nmea")
    assert log.hdop.tolist() == [hdop]


def test_gst_gives_the_standard_uncertainty_per_axis() -> None:
    fix = sentence("GPGGA,172814.0,3723.46587704,N,12202.26957864,W,2,6,1.2,18.893,M,-25.669,M,,")
    line = "$GPGST,172814.0,0.006,0.023,0.020,273.6,0.023,0.020,0.031*6A"
    log = read_nmea(f"{fix}{line}\r\n".encode(), "published.nmea")
    expected = math.sqrt((0.023**2 + 0.020**2) / 2)
    assert log.u_position_m.tolist() == [pytest.approx(expected, rel=1e-14)]


def test_zda_gives_the_date_in_utc_whatever_its_zone() -> None:
    fix = sentence("GPGGA,160012.71,3723.46587704,N,12202.26957864,W,2,6,1.2,18.893,M,-25.6,M,,")
    log = read_nmea(f"{fix}$GPZDA,160012.71,11,03,2004,-1,00*7D\r\n".encode(), "published.nmea")
    assert log.time_s.tolist() == [pytest.approx(utc_s(2004, 3, 11, 16, 0, 12) + 0.71, abs=1e-6)]


def test_a_sentence_published_with_a_wrong_checksum_is_counted() -> None:
    fix = "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68"
    wrong = "$GLGSV,3,3,09,88,07,028*51"  # the right one is 7D
    log = read_nmea(f"{fix}\r\n{wrong}\r\n".encode(), "published.nmea")
    assert log.rejected["bad checksum"].count == 1
    assert log.rejected["bad checksum"].first == "line 2"
    right = read_nmea(f"{fix}\r\n{wrong[:-2]}7D\r\n".encode(), "published.nmea")
    assert right.rejected == {}


@pytest.mark.source(
    "the public NMEA page of the repository ntpsec/gpsd, www/NMEA.adoc",
    "read in a stored copy",
)
def test_checksum_is_the_xor_of_what_stands_between_dollar_and_star() -> None:
    fix = b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\r\n"
    for at in range(1, len(fix) - 5):
        changed = bytearray(fix)
        changed[at] ^= 0x01
        with pytest.raises(InputError):
            read_nmea(bytes(changed), "published.nmea")


def test_lower_case_checksum_digits_count() -> None:
    line = b"$GNRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*6e\r\n"
    assert read_nmea(line, "published.nmea").time_s.size == 1
