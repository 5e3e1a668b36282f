"""What the NMEA reader makes of whole logs: values, merging, sentences lost."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pynmea2  # type: ignore[import-untyped]
import pytest

from roadtest.errors import InputError
from roadtest.logs.nmea import looks_like_nmea, read_nmea
from tests.logs.nmea_logs import START, Fix, counts, drive, log, sentence

KNOT_MPS = 1852 / 3600


def test_values_are_those_of_another_parser() -> None:
    data = log(drive(200, 10.0), "rmc gga vtg gsa gst zda")
    found = read_nmea(data, "drive.nmea")
    messages = [pynmea2.parse(line, check=True) for line in data.decode().splitlines()]
    rmc = [message for message in messages if message.sentence_type == "RMC"]
    gga = [message for message in messages if message.sentence_type == "GGA"]
    assert counts(found) == {}
    np.testing.assert_array_equal(found.time_s, [message.datetime.timestamp() for message in rmc])
    np.testing.assert_array_equal(found.latitude_deg, [message.latitude for message in rmc])
    np.testing.assert_array_equal(found.longitude_deg, [message.longitude for message in rmc])
    np.testing.assert_array_equal(
        found.speed_mps, [message.spd_over_grnd * KNOT_MPS for message in rmc]
    )
    np.testing.assert_array_equal(found.course_deg, [message.true_course for message in rmc])
    np.testing.assert_array_equal(found.altitude_m, [message.altitude for message in gga])
    np.testing.assert_array_equal(found.hdop, [float(message.horizontal_dil) for message in gga])
    np.testing.assert_allclose(found.u_position_m, np.sqrt((0.3**2 + 0.4**2) / 2), rtol=1e-15)
    assert found.source == "GP"
    assert found.fixes_read == 200
    assert not found.segment.any()


@pytest.mark.parametrize("kinds", ["rmc", "gga vtg", "gns vtg", "gll vtg", "vtg gga rmc gsa"])
def test_any_mixture_of_sentences_gives_all_fixes(kinds: str) -> None:
    fixes = list(drive(30))
    found = read_nmea(log(fixes, kinds), "drive.nmea")
    assert counts(found) == {}
    np.testing.assert_allclose(
        found.speed_mps, [float(fix.kmh) / 3.6 for fix in fixes], rtol=0, atol=3e-4
    )


def northward(knots: float, count: int = 900, rate_hz: float = 10.0) -> bytes:
    """Return a log at a true 20 m/s whose receiver writes `knots`, its positions to 0.2 m."""
    minutes = [30.0 + 20.0 * k / rate_hz / 1852.0 for k in range(count)]
    times = [START + dt.timedelta(seconds=k / rate_hz) for k in range(count)]
    return log(
        Fix(at, lat=f"51{minute:07.4f}", knots=f"{knots:.2f}")
        for at, minute in zip(times, minutes, strict=True)
    )


@pytest.mark.parametrize(
    ("per_mps", "said"),
    [
        (3.6, "1.85 times what its positions show: they seem to be in km/h, not kn"),
        (1.0, "0.51 times what its positions show: they seem to be in m/s, not kn"),
        (3600.0 / 1609.344, "1.15 times what its positions show: they seem to be in mph, not kn"),
        (0.0, "0 times what its positions show and are not used"),
    ],
)
def test_speeds_that_are_no_knots_are_told_and_not_used(per_mps: float, said: str) -> None:
    found = read_nmea(northward(20.0 * per_mps), "drive.nmea")
    assert np.isnan(found.speed_mps).all()
    assert any(f"the log's speeds are {said}" in remark for remark in found.remarks)


def test_speeds_in_knots_are_used_though_positions_are_coarse() -> None:
    found = read_nmea(northward(20.0 * 3600.0 / 1852.0), "drive.nmea")
    assert np.isfinite(found.speed_mps).all()
    assert not any("the log's speeds" in remark for remark in found.remarks)


@pytest.mark.parametrize("line_end", [b"\r\n", b"\n", b"\r", b"\r\r\n", b"\n\n"])
def test_line_ends_of_all_systems(line_end: bytes) -> None:
    data = log(drive(20))
    found = read_nmea(data.replace(b"\r\n", line_end), "drive.nmea")
    np.testing.assert_array_equal(found.time_s, read_nmea(data, "drive.nmea").time_s)
    assert found.rejected == {}


@pytest.mark.parametrize("talker", ["GP", "GN", "GL", "GA", "BD", "QZ", "II"])
def test_any_talker(talker: str) -> None:
    found = read_nmea(log(drive(3, talker=talker)), "drive.nmea")
    assert found.source == talker
    assert found.time_s.size == 3


def test_logger_text_in_front_of_sentences_does_not_matter() -> None:
    lines = log(drive(20)).splitlines(keepends=True)
    data = b"".join(b"2026-05-02 10:00:01.123, <- " + line for line in lines)
    assert read_nmea(data, "drive.nmea").time_s.size == 20
    assert looks_like_nmea(data)


def test_binary_between_and_in_front_of_sentences_does_not_matter() -> None:
    rng = np.random.default_rng(5)
    parts = [
        rng.integers(0, 256, 60, dtype=np.uint8).tobytes().replace(b"$", b"") + line
        for line in log(drive(40)).splitlines(keepends=True)
    ]
    data = b"".join(parts)
    found = read_nmea(data, "drive.nmea")
    assert found.time_s.size == 40
    assert counts(found) == {}
    assert looks_like_nmea(data)


def test_binary_behind_the_checksum_without_a_line_end_does_not_matter() -> None:
    data = log(drive(40)).replace(b"\r\n", b"\xb5\x62\x01\x07\x5c\x00\x07$")
    assert read_nmea(data, "drive.nmea").time_s.size == 40


def test_wrong_checksums_are_counted_with_the_first_line() -> None:
    lines = log(drive(10)).splitlines(keepends=True)
    for number in (6, 9):
        lines[number] = lines[number].replace(b".", b",", 1)
    found = read_nmea(b"".join(lines), "drive.nmea")
    assert found.rejected["bad checksum"].count == 2
    assert found.rejected["bad checksum"].first == "line 7"
    assert found.time_s.size == 10  # the other sentence of the epoch still gives the fix
    assert counts(found) == {"bad checksum": 2}


def test_sentences_without_checksum_among_others_are_not_used() -> None:
    lines = log(drive(20), "rmc").splitlines(keepends=True)
    lines[4] = lines[4].split(b"*")[0] + b"\r\n"
    found = read_nmea(b"".join(lines), "drive.nmea")
    assert found.time_s.size == 19
    assert found.rejected["no checksum"].first == "line 5"


def test_a_log_without_any_checksum_is_used_with_a_remark() -> None:
    data = b"".join(line.split(b"*")[0] + b"\r\n" for line in log(drive(20)).splitlines())
    found = read_nmea(data, "drive.nmea")
    assert found.time_s.size == 20
    assert any("no checksums" in remark for remark in found.remarks)
    assert looks_like_nmea(data)


def test_sentences_split_over_two_lines_are_joined() -> None:
    lines = log(drive(60)).splitlines(keepends=True)
    for number in range(0, 120, 2):
        at = 1 + number // 2 % (len(lines[number]) - 3)  # from behind `$` to within the checksum
        lines[number] = lines[number][:at] + b"\r\n" + lines[number][at:]
    found = read_nmea(b"".join(lines), "drive.nmea")
    assert found.speed_mps.size == 60
    assert np.isfinite(found.speed_mps).all()  # all RMC are there
    assert counts(found) == {}
    assert any(
        remark.startswith("sentences split") and remark.endswith(": 60") for remark in found.remarks
    )


def test_lines_count_on_behind_a_joined_sentence() -> None:
    lines = log(drive(10), "rmc").splitlines(keepends=True)
    lines[1] = lines[1][:30] + b"\n" + lines[1][30:]
    lines[7] = lines[7].replace(b",A", b",B", 1)
    assert read_nmea(b"".join(lines), "a.nmea").rejected["bad checksum"].first == "line 9"


def test_a_split_sentence_that_is_wrong_when_joined_is_not_used() -> None:
    lines = log(drive(10), "rmc").splitlines(keepends=True)
    lines[3] = lines[3][:30] + b"\r\n" + lines[3][31:]
    found = read_nmea(b"".join(lines), "drive.nmea")
    assert found.time_s.size == 9
    assert sum(counts(found).values()) == 1


@pytest.mark.parametrize("cut", [3, 20, 50, 70])
def test_a_cut_off_last_sentence_is_counted(cut: int) -> None:
    data = log(drive(10), "rmc")
    last = data.rindex(b"$")
    found = read_nmea(data[: last + cut], "drive.nmea")
    assert found.time_s.size == 9
    assert counts(found) == {"cut off sentence": 1}
    assert found.rejected["cut off sentence"].first == "line 10"


def test_a_whole_last_sentence_without_line_end_counts() -> None:
    assert read_nmea(log(drive(10)).rstrip(), "drive.nmea").fixes_read == 10


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"status": "V", "quality": "0"}, "no fix"),
        ({"status": "V"}, "no fix"),
        ({"quality": "0"}, "no fix"),
        ({"lat": "", "lon": ""}, "no fix"),
        ({"lat": "0000.0000", "lon": "00000.0000"}, "no fix"),
        ({"quality": "6"}, "estimated position"),
        ({"quality": "7"}, "manual position"),
        ({"quality": "8"}, "simulated position"),
        ({"lat": "51x3.82"}, "unreadable position"),
        ({"lat": "-513.82"}, "unreadable position"),
        ({"lat": "9100.00"}, "position out of range"),
        ({"lon": "18000.01"}, "position out of range"),
        ({"lat": "5160.01"}, "position out of range"),
    ],
)
def test_epochs_that_are_no_fix_are_counted_by_reason(change: dict[str, Any], reason: str) -> None:
    fixes = list(drive(10))
    fixes[4] = replace(fixes[4], **change)
    found = read_nmea(log(fixes), "drive.nmea")
    assert counts(found) == {reason: 1}
    assert found.fixes_read == 10
    assert found.rejected[reason].first == "line 9"


@pytest.mark.parametrize(
    ("mode", "reason"),
    [
        ("N", "no fix"),
        ("E", "estimated position"),
        ("M", "manual position"),
        ("S", "simulated position"),
    ],
)
def test_mode_letters_of_rmc(mode: str, reason: str) -> None:
    text = log(drive(5), "rmc").decode().splitlines()
    text[2] = sentence(text[2][1:].split("*")[0][:-1] + mode, end="")
    found = read_nmea("\n".join(text).encode(), "drive.nmea")
    assert counts(found) == {reason: 1}


@pytest.mark.parametrize("mode", ["A", "D", "F", "P", "R", ""])
def test_mode_letters_of_rmc_that_are_fixes(mode: str) -> None:
    text = log(drive(5), "rmc").decode().splitlines()
    text[2] = sentence(text[2][1:].split("*")[0][:-1] + mode, end="")
    assert read_nmea("\n".join(text).encode(), "drive.nmea").time_s.size == 5


@pytest.mark.parametrize(
    ("mode", "reason"),
    [("AN", ""), ("NNDN", ""), ("NN", "no fix"), ("EE", "estimated position"), ("", "no fix")],
)
def test_mode_letters_of_gns(mode: str, reason: str) -> None:
    first, second = drive(2)
    text = second.gns()[1:].split("*")[0].replace(",AA,", f",{mode},")
    found = read_nmea((first.gns() + sentence(text)).encode(), "drive.nmea")
    assert counts(found) == ({reason: 1} if reason else {})


def test_no_fix_is_nan_and_never_zero() -> None:
    fixes = [replace(fix, altitude="", hdop="", course="", knots="") for fix in drive(5)]
    found = read_nmea(log(fixes), "drive.nmea")
    for column in (found.altitude_m, found.hdop, found.course_deg, found.speed_mps):
        assert np.isnan(column).all()
    assert np.isnan(found.u_position_m).all()


@pytest.mark.parametrize("hdop", ["99.99", "99.0", "0.0", "x"])
def test_hdop_that_says_nothing_is_nan(hdop: str) -> None:
    assert np.isnan(read_nmea(log(drive(3, hdop=hdop)), "drive.nmea").hdop).all()


def test_fields_that_are_no_numbers_are_remarked() -> None:
    fixes = list(drive(5))
    fixes[2] = replace(fixes[2], knots="1x.4")
    found = read_nmea(log(fixes, "rmc"), "drive.nmea")
    assert np.flatnonzero(np.isnan(found.speed_mps)).tolist() == [2]
    assert any("without the number" in remark for remark in found.remarks)


def test_position_comes_from_the_sentence_with_more_decimals() -> None:
    fixes = list(drive(10))
    text = "".join(
        fix.gga() + replace(fix, lat=fix.lat[:-2], lon=fix.lon[:-2]).rmc() for fix in fixes
    )
    found = read_nmea(text.encode(), "drive.nmea")
    full = read_nmea(log(fixes, "rmc"), "drive.nmea")
    np.testing.assert_array_equal(found.latitude_deg, full.latitude_deg)
    np.testing.assert_array_equal(found.longitude_deg, full.longitude_deg)
    np.testing.assert_array_equal(found.speed_mps, full.speed_mps)


def test_mixed_rates_keep_all_fixes() -> None:
    text = ""
    for number, fix in enumerate(drive(50, 5.0)):
        text += fix.gga() + (fix.rmc() + fix.gsa() if number % 5 == 0 else "")
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.time_s.size == 50
    np.testing.assert_allclose(np.diff(found.time_s), 0.2, rtol=0, atol=1e-6)
    assert np.flatnonzero(np.isfinite(found.speed_mps)).tolist() == list(range(0, 50, 5))


def test_times_written_with_two_and_three_decimals_are_one_epoch() -> None:
    fixes = list(drive(10, 4.0))
    text = "".join(fix.rmc() + replace(fix, clock_decimals=3).gga() for fix in fixes)
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.fixes_read == 10
    assert np.isfinite(found.altitude_m).all()


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"clock": ""}, "no time"),
        ({"clock": "2x0516.00"}, "unreadable time"),
        ({"clock": "240000.00"}, "unreadable time"),
        ({"clock": "126000.00"}, "unreadable time"),
        ({"clock": "120061.00"}, "unreadable time"),
    ],
)
def test_sentences_without_a_readable_time_are_counted(change: dict[str, str], reason: str) -> None:
    text = log(drive(5), "rmc").decode().splitlines()
    fields = text[2][1:].split("*")[0].split(",")
    fields[1] = change["clock"]
    text[2] = sentence(",".join(fields), end="")
    found = read_nmea("\n".join(text).encode(), "drive.nmea")
    assert counts(found) == {reason: 1}
    assert found.rejected[reason].first == "line 3"


def test_the_second_talker_for_the_same_times_is_not_mixed_in() -> None:
    gps = [replace(fix, talker="GP", lon="00042.99999") for fix in drive(20)]
    every = list(drive(20, talker="GN"))
    text = "".join(a.rmc() + b.rmc() + a.gga() + b.gga() for a, b in zip(gps, every, strict=True))
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.source == "GN"
    assert counts(found) == {"other talker": 20}
    assert (found.longitude_deg != -(42.99999 / 60)).all()
    assert any("GP not used" in remark for remark in found.remarks)


def test_the_talker_with_far_more_fixes_wins_over_gn() -> None:
    gps = list(drive(20, talker="GP"))
    every = [replace(fix, talker="GN", status="A" if n < 3 else "V") for n, fix in enumerate(gps)]
    text = "".join(a.rmc() + b.rmc() for a, b in zip(gps, every, strict=True))
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.source == "GP"
    assert found.time_s.size == 20


def test_two_receivers_by_turns_are_not_mixed() -> None:
    one = list(drive(20))
    two = [replace(fix, talker="GL", lon="00043.00000") for fix in drive(19)]
    two = [replace(fix, time=fix.time + (one[1].time - one[0].time) / 2) for fix in two]
    pairs = zip(one, [*two, None], strict=True)
    text = "".join(a.rmc() + (b.rmc() if b else "") for a, b in pairs)
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.source == "GP"
    assert counts(found) == {"other talker": 19}


def test_talkers_that_share_the_work_or_follow_each_other_stay_together() -> None:
    fixes = list(drive(20))
    shared = "".join(fix.gga() + replace(fix, talker="GN").rmc() for fix in fixes)
    found = read_nmea(shared.encode(), "drive.nmea")
    assert counts(found) == {}
    assert np.isfinite(found.altitude_m).all()
    assert np.isfinite(found.speed_mps).all()
    later = [replace(fix, talker="GN") if n >= 10 else fix for n, fix in enumerate(fixes)]
    found = read_nmea(log(later, "rmc"), "drive.nmea")
    assert found.time_s.size == 20
    assert set(found.source.split("+")) == {"GP", "GN"}


@pytest.mark.parametrize("count", [1, 2])
def test_a_log_of_few_fixes_is_a_log(count: int) -> None:
    assert read_nmea(log(drive(count)), "drive.nmea").time_s.size == count


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "no NMEA sentences"),
        (b"time,rpm\n1,2\n", "no NMEA sentences"),
        (sentence("GPGSV,1,1,00").encode() * 3, "3 sentences read, none of them RMC, GGA"),
        (log(drive(30, status="V", quality="0")), "60 sentences read, the receiver never had"),
        (log(drive(30)).replace(b"A*", b"B*").replace(b",,*", b",.*"), "bad checksum: 60"),
    ],
)
def test_a_log_without_a_fix_says_what_it_holds(data: bytes, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read_nmea(data, "drive.nmea")
    assert str(caught.value).startswith("drive.nmea: " + message) or message in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("head", "answer"),
    [
        (log(drive(3)), True),
        (b"\x00\xff" * 3000 + log(drive(1), "rmc"), True),
        (sentence("GPTXT,01,01,02,receiver start").encode(), True),
        (b"$GPRMC,080000.00,A,5133.82,N,00042.24,W,19.4,0.0,020526,,,A\n", True),
        (b"", False),
        (b"time,rpm\n2026-05-02T08:00:00Z,900\n", False),
        (b'<?xml version="1.0"?><gpx version="1.1"></gpx>', False),
        (b"price in $ABCDE, or *42\n", False),
        (b"a note about $GPRMC, which holds the speed\n", False),
        (np.random.default_rng(1).integers(0, 256, 65_536, dtype=np.uint8).tobytes(), False),
    ],
)
def test_the_kind_is_told_by_content(head: bytes, answer: bool) -> None:
    assert looks_like_nmea(head) is answer


def test_arrays_are_of_one_length_and_the_data_untouched() -> None:
    data = log(drive(50), "rmc gga vtg gsa gst")
    copy = bytes(bytearray(data))
    found = read_nmea(data, "drive.nmea")
    columns = [value for value in vars(found).values() if isinstance(value, np.ndarray)]
    assert {column.shape for column in columns} == {(50,)}
    assert data == copy


def test_pieces_of_a_large_file_meet_without_loss() -> None:
    # A few MB, so that several pieces are read; a part has its sentences split.
    fixes = list(drive(16_000, 10.0))
    lines = log(fixes, "rmc gga").splitlines(keepends=True)
    lines[5_000:9_000] = [line[:40] + b"\r\n" + line[40:] for line in lines[5_000:9_000]]
    found = read_nmea(b"".join(lines), "drive.nmea")
    assert found.time_s.size == 16_000
    assert counts(found) == {}
    np.testing.assert_allclose(np.diff(found.time_s), 0.1, rtol=0, atol=1e-6)


def test_a_default_fix_reads_as_written() -> None:
    found = read_nmea(log([Fix(next(iter(drive(1))).time)]), "drive.nmea")
    assert found.latitude_deg.tolist() == [51 + 33.82 / 60]
    assert found.speed_mps.tolist() == [19.438 * KNOT_MPS]


def test_an_early_gll_without_status_does_not_undo_a_fix() -> None:
    text = ""
    for fix in drive(5):
        text += fix.rmc() + sentence(f"GPGLL,{fix.lat},N,{fix.lon},W,{fix.clock}")
    assert counts(read_nmea(text.encode(), "drive.nmea")) == {}


def test_other_talkers_vtg_and_gsa_are_left_out_with_their_fixes() -> None:
    text = ""
    for fix in drive(10, talker="GN", knots=""):
        other = replace(fix, talker="GP", kmh="99.000")
        text += fix.rmc() + other.rmc() + other.vtg() + other.gsa()
    found = read_nmea(text.encode(), "drive.nmea")
    assert found.source == "GN"
    assert np.isnan(found.speed_mps).all()
    assert np.isnan(found.hdop).all()


@pytest.mark.parametrize("lat", ["9200.00", "5x33.82", ""])
def test_one_good_position_in_an_epoch_is_enough(lat: str) -> None:
    text = "".join(fix.gga() + replace(fix, lat=lat).rmc() for fix in drive(5))
    found = read_nmea(text.encode(), "drive.nmea")
    assert counts(found) == {}
    text = "".join(fix.rmc() + replace(fix, lat=lat).gga() for fix in drive(5))
    assert counts(read_nmea(text.encode(), "drive.nmea")) == {}


def test_an_endless_sentence_is_noise_even_with_a_right_checksum() -> None:
    body = log(drive(1), "rmc").decode()[1:].split("*")[0]
    assert read_nmea(sentence(body + "," * 500).encode(), "drive.nmea").time_s.size == 1
    with pytest.raises(InputError):
        read_nmea(sentence(body + "," * 2000).encode(), "drive.nmea")


def test_position_of_rmc_is_taken_where_decimals_are_level() -> None:
    fix = next(iter(drive(1)))
    other = replace(fix, lat="5133.90000")
    for text in (fix.rmc() + other.gga(), other.gga() + fix.rmc()):
        found = read_nmea(text.encode(), "drive.nmea")
        assert found.latitude_deg.tolist() == [51 + 33.82 / 60]
