"""Sentences without a time of their own: VTG, GSA and RPM."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from roadtest.logs.model import TachLog
from roadtest.logs.nmea import read_nmea
from tests.logs.nmea_logs import START, Fix, drive, log, sentence


def accelerating(count: int, rate_hz: float = 1.0) -> list[Fix]:
    """Return fixes whose speed and positions belong together, with knots to one decimal."""
    fixes, minutes = [], 33.0
    for number in range(count):
        speed_mps = 15.0 + 10.0 * np.sin(number / 8.0)
        fixes.append(
            Fix(
                time=START + dt.timedelta(seconds=number / rate_hz),
                lat=f"51{minutes:09.6f}",
                knots=f"{speed_mps * 3600 / 1852:.1f}",
                kmh=f"{speed_mps * 3.6:.3f}",
                course=f"{number % 360}.50",
            )
        )
        next_mps = 15.0 + 10.0 * np.sin((number + 1) / 8.0)
        minutes += 0.5 * (speed_mps + next_mps) / rate_hz / 1854.4
    return fixes


@pytest.mark.parametrize("kinds", ["rmc gga vtg", "vtg rmc gga", "gga vtg rmc", "gga rmc vtg gsa"])
def test_finer_speed_of_vtg_goes_to_its_own_epoch(kinds: str) -> None:
    fixes = accelerating(60)
    found = read_nmea(log(fixes, kinds), "drive.nmea")
    expected = np.array([float(fix.kmh) / 3.6 for fix in fixes])
    np.testing.assert_allclose(found.speed_mps, expected, rtol=1e-12)
    assert any("VTG" in remark for remark in found.remarks)


@pytest.mark.parametrize("kinds", ["gga vtg", "vtg gga"])
@pytest.mark.parametrize("cut", [0, 1])
def test_without_rmc_the_positions_show_where_vtg_belongs(kinds: str, cut: int) -> None:
    # A log may begin in the middle of an epoch.
    fixes = accelerating(80)
    lines = log(fixes, kinds).splitlines(keepends=True)[cut:]
    found = read_nmea(b"".join(lines), "drive.nmea")
    # Without a date the log counts from 1970.
    speed = {fix.time.timestamp() % 86_400: fix for fix in fixes}
    known = np.isfinite(found.speed_mps)
    assert np.count_nonzero(known) >= 79
    expected = [float(speed[time].kmh) / 3.6 for time in found.time_s[known]]
    np.testing.assert_allclose(found.speed_mps[known], expected, rtol=1e-12)


def test_vtg_that_is_no_finer_is_not_used() -> None:
    fixes = [replace(fix, knots=f"{float(fix.knots):.1f}00") for fix in accelerating(20)]
    found = read_nmea(log(fixes, "rmc vtg"), "drive.nmea")
    np.testing.assert_array_equal(
        found.speed_mps, [float(fix.knots) * (1852 / 3600) for fix in fixes]
    )


def test_vtg_that_disagrees_with_rmc_is_not_used() -> None:
    fixes = [replace(fix, kmh=f"{float(fix.kmh) + 3.0:.3f}") for fix in accelerating(20)]
    text = "".join(fix.rmc() + fix.vtg().replace(f"{fix.knots},N", ",N") for fix in fixes)
    text = "".join(sentence(line[1:].split("*")[0]) for line in text.splitlines())
    found = read_nmea(text.encode(), "drive.nmea")
    np.testing.assert_array_equal(
        found.speed_mps, [float(fix.knots) * (1852 / 3600) for fix in fixes]
    )
    assert any("differ" in remark for remark in found.remarks)


def test_course_of_vtg_fills_in_for_rmc() -> None:
    fixes = accelerating(10)
    text = "".join(replace(fix, course="").rmc() + fix.vtg() for fix in fixes)
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.course_deg.tolist() == [float(fix.course) for fix in fixes]


def test_gsa_every_second_is_not_spread_over_other_fixes() -> None:
    text = ""
    for number, fix in enumerate(drive(20, 5.0)):
        text += fix.rmc() + (fix.gsa() if number % 5 == 0 else "")
    found = read_nmea(text.encode(), "drive.nmea")
    assert np.flatnonzero(np.isfinite(found.hdop)).tolist() == [0, 5, 10, 15]


def test_gsa_with_more_than_twelve_satellites() -> None:
    satellites = ",".join(str(number) for number in range(1, 25))
    text = log(drive(1), "rmc").decode() + sentence(f"GPGSA,A,3,{satellites},9.2,7.2,5.7")
    assert read_nmea(text.encode(), "drive.nmea").hdop.tolist() == [7.2]


def engine(text: str) -> TachLog:
    """Return the engine speed in a log."""
    found = read_nmea(text.encode(), "drive.nmea").engine
    assert found is not None
    return found


def rpm(value: float, source: str = "E", number: int = 1, status: str = "A") -> str:
    """Return an RPM sentence."""
    return sentence(f"IIRPM,{source},{number},{value:.1f},10.5,{status}")


def test_a_log_without_engine_speed_has_none() -> None:
    assert read_nmea(log(drive(3)), "drive.nmea").engine is None


def test_one_engine_speed_an_epoch_has_the_time_of_the_epoch() -> None:
    fixes = list(drive(20, 10.0))
    found = engine("".join(fix.rmc() + rpm(1000.0 + n) for n, fix in enumerate(fixes)))
    assert found.clock == "utc"
    assert found.rows_read == 20
    np.testing.assert_allclose(
        found.time_s, [fix.time.timestamp() for fix in fixes], rtol=0, atol=1e-6
    )
    assert found.rpm is not None
    assert found.rpm.tolist() == [1000.0 + number for number in range(20)]


def test_several_in_an_epoch_are_spread_evenly() -> None:
    text = "".join(fix.rmc() + rpm(900) + fix.gga() + rpm(910) * 3 for fix in drive(10))
    found = engine(text)
    expected = START.timestamp() + np.arange(40) / 4.0
    np.testing.assert_allclose(found.time_s, expected, rtol=0, atol=1e-6)


def test_engine_speed_runs_on_through_a_gap_in_the_fixes() -> None:
    fixes = list(drive(40))
    text = ""
    for number, fix in enumerate(fixes):
        text += ("" if 10 <= number < 20 else fix.rmc()) + rpm(900) * 5
    found = engine(text)
    expected = START.timestamp() + np.arange(200) / 5.0
    np.testing.assert_allclose(found.time_s, expected, rtol=0, atol=1e-6)


def test_engine_speed_stops_where_the_log_stops() -> None:
    first, second = drive(20), drive(20, start=START + dt.timedelta(hours=1))
    text = "".join(fix.rmc() + rpm(900) * 2 for fix in [*first, *second])
    found = engine(text)
    expected = START.timestamp() + np.concatenate((np.arange(40), 7200 + np.arange(40))) / 2.0
    np.testing.assert_allclose(found.time_s, expected, rtol=0, atol=1e-6)


def test_engine_speed_before_the_first_epoch_runs_up_to_it() -> None:
    found = engine(rpm(900) * 2 + "".join(fix.rmc() + rpm(900) * 2 for fix in drive(10)))
    expected = START.timestamp() + np.arange(-2, 20) / 2.0
    np.testing.assert_allclose(found.time_s, expected, rtol=0, atol=1e-6)


def test_epochs_without_a_fix_still_tell_the_time() -> None:
    fixes = [replace(f, status="V" if 5 <= n < 15 else "A") for n, f in enumerate(drive(20))]
    found = engine("".join(fix.rmc() + rpm(900) for fix in fixes))
    np.testing.assert_allclose(
        found.time_s, [fix.time.timestamp() for fix in fixes], rtol=0, atol=1e-6
    )


def test_what_is_no_engine_speed_is_counted() -> None:
    fixes = list(drive(10))
    extra = [
        rpm(900), rpm(900, source="S"), rpm(900, status="V"), rpm(1e6), rpm(950, number=2),
        sentence("IIRPM,E,1,x,10.5,A"), sentence("IIRPM,E,1,,10.5,A"),
    ]  # fmt: skip
    found = engine("".join(fix.rmc() + rpm(900) for fix in fixes) + "".join(extra))
    counts = {reason: loss.count for reason, loss in found.rejected.items()}
    assert counts == {
        "no engine speed": 3,
        "engine speed out of range": 1,
        "another engine": 1,
        "shaft, not engine": 1,
    }
    assert found.rows_read == 10 + 7
    assert found.time_s.size == 11
    assert found.rows_read == found.time_s.size + sum(counts.values())
    assert any("2 engines" in remark for remark in found.remarks)


def test_engine_speed_in_a_repeated_block_is_not_there_twice() -> None:
    text = "".join(fix.rmc() + rpm(900) for fix in drive(10))
    found = engine(text * 2)
    assert (np.diff(found.time_s) > 0.0).all()
    assert found.rows_read == 20
    assert found.rows_read == found.time_s.size + sum(x.count for x in found.rejected.values())


def test_speeds_of_a_shaft_alone_are_remarked() -> None:
    text = "".join(fix.rmc() + rpm(900, source="S") for fix in drive(5))
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.engine is None
    assert any("shaft" in remark for remark in found.remarks)


def test_engine_speed_does_not_depend_on_the_talker_of_the_fixes() -> None:
    text = "".join(
        fix.rmc() + replace(fix, talker="GN").rmc() + rpm(900).replace("$II", "$GP")
        for fix in drive(5)
    )
    text = "".join(sentence(line[1:].split("*")[0]) for line in text.splitlines())
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.source == "GN"
    assert found.engine is not None
    assert found.engine.time_s.size == 5


def test_vtg_twice_as_fine_as_rmc_is_used() -> None:
    fixes = [replace(fix, knots=f"{float(fix.kmh) / 1.852:.2f}") for fix in accelerating(20)]
    found = read_nmea(log(fixes, "rmc vtg"), "drive.nmea")
    np.testing.assert_allclose(found.speed_mps, [float(fix.kmh) / 3.6 for fix in fixes], rtol=1e-12)


def test_engine_speed_within_a_stretch_without_a_fix_keeps_its_place() -> None:
    fixes = [replace(f, status="V" if 5 <= n < 15 else "A") for n, f in enumerate(drive(20))]
    silent = range(5, 10)
    text = "".join(fix.rmc() + ("" if n in silent else rpm(900)) for n, fix in enumerate(fixes))
    found = engine(text)
    expected = [fix.time.timestamp() for n, fix in enumerate(fixes) if n not in silent]
    np.testing.assert_allclose(found.time_s, expected, rtol=0, atol=1e-6)
