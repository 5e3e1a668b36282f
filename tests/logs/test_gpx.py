"""Reading GPX: each behaviour by a small file, damage, and real recordings."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.logs import gpx_text
from roadtest.logs.gpx import looks_like_gpx, read_gpx
from roadtest.logs.model import GpsLog, Loss

RECORDINGS = Path(
    os.environ.get("ROADTEST_RECORDINGS")
    or Path(__file__).resolve().parents[2].parent / "shared" / "data"
)
T0 = datetime(2026, 5, 2, 8, tzinfo=UTC).timestamp()


def point(
    second: float = 0.0,
    lat: str | float = 52.0,
    lon: str | float = -1.0,
    time: str | None = None,
    inside: str = "",
) -> str:
    """Return one track point; `time` instead of the one `second` stands for."""
    if time is None:
        stamp = datetime.fromtimestamp(T0 + second, UTC).isoformat().replace("+00:00", "Z")
        time = f"<time>{stamp}</time>"
    return f'<trkpt lat="{lat}" lon="{lon}">{time}{inside}</trkpt>\n'


def moving(n: int, first: int = 0, inside: str = "") -> str:
    """Return n points, 1 s and 11.1267 m apart, going north."""
    return "".join(point(i, lat=52.0 + i * 1e-4, inside=inside) for i in range(first, first + n))


def gpx(points: str, version: str = "1.1", head: str = '<?xml version="1.0"?>\n') -> str:
    return (
        f'{head}<gpx version="{version}" creator="invented" '
        f'xmlns="http://www.topografix.com/GPX/{version[0]}/{version[2]}">\n'
        f"<trk><trkseg>\n{points}</trkseg></trk></gpx>"
    )


def read(text: str, codec: str = "utf-8") -> GpsLog:
    log = read_gpx(text.encode(codec), "a.gpx")
    assert_sound(log)
    return log


def assert_sound(log: GpsLog) -> None:
    n = len(log.time_s)
    assert log.fixes_read == n + sum(loss.count for loss in log.rejected.values())
    assert all(loss.count > 0 for loss in log.rejected.values())
    for column in (
        log.latitude_deg, log.longitude_deg, log.altitude_m, log.speed_mps, log.course_deg,
        log.hdop, log.u_position_m, log.segment,
    ):  # fmt: skip
        assert column.shape == (n,)
    assert n > 0
    assert np.all(np.diff(log.time_s) > 0.0)
    assert np.all(np.abs(log.latitude_deg) <= 90.0)
    assert np.all(np.abs(log.longitude_deg) <= 180.0)
    assert not np.any(np.isinf([log.altitude_m, log.speed_mps, log.course_deg, log.hdop]))


def remark(log: GpsLog, words: str) -> bool:
    return any(words in text for text in log.remarks)


# --- what a point says ---


def test_a_plain_track() -> None:
    log = read(gpx(point(0.0, 52.25, -1.5, inside="<ele>101.5</ele><hdop>0.9</hdop>") + point(1.0)))
    assert log.kind == "gpx"
    assert log.name == "a.gpx"
    assert log.source == "invented"
    assert log.time_s.tolist() == [T0, T0 + 1.0]
    assert (log.latitude_deg[0], log.longitude_deg[0]) == (52.25, -1.5)
    assert (log.altitude_m[0], log.hdop[0]) == (101.5, 0.9)
    assert np.isnan([log.altitude_m[1], log.hdop[1], log.speed_mps[0], log.course_deg[0]]).all()
    assert np.isnan(log.u_position_m).all()
    assert (log.fixes_read, log.rejected, log.remarks) == (2, {}, ())


EXTENSION = "<extensions>{}</extensions>"


@pytest.mark.parametrize(
    ("version", "inside"),
    [
        ("1.0", "<course>90.5</course><speed>12.25</speed>"),
        ("1.1", "<course>90.5</course><speed>12.25</speed>"),  # not allowed, but written
        ("1.1", EXTENSION.format("<speed>12.25</speed><course>90.5</course>")),
        ("1.1", EXTENSION.format('<x:speed xmlns:x="u">12.25</x:speed><y:course>90.5</y:course>')),
        (
            "1.1",
            EXTENSION.format("<a><b><q:speed>12.25</q:speed><q:course>90.5</q:course></b></a>"),
        ),
        ("1.1", '<x:speed xmlns:x="u"> 12.25\n</x:speed><x:course xmlns:x="u">90.5</x:course>'),
    ],
)
def test_speed_and_course_wherever_they_stand(version: str, inside: str) -> None:
    log = read(gpx(point(inside=inside), version))
    assert (log.speed_mps[0], log.course_deg[0]) == (12.25, 90.5)


def test_a_foreign_element_does_not_pass_for_a_field() -> None:
    inside = '<x:ele xmlns:x="u">7</x:ele><link><speed>3</speed></link>'
    log = read(gpx(point(inside=inside)))
    assert np.isnan(log.altitude_m[0])
    assert np.isnan(log.speed_mps[0])


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ("2026-05-02T08:00:00Z", 0.0),
        ("2026-05-02T08:00:00.25Z", 0.25),
        ("2026-05-02T08:00:00,250Z", 0.25),
        ("2026-05-02T08:00:00.123456789Z", 0.123456),
        ("2026-05-02T09:00:00+01:00", 0.0),
        ("2026-05-02T02:29:59.5-05:30", -0.5),
        ("2026-05-02T09:00:00+0100", 0.0),
        ("2026-05-02T09:00:00+01", 0.0),
        (" 2026-05-02 08:00:00 Z\n", 0.0),
        ("2026-05-02T07:59:60Z", 0.0),
        ("2026-05-02T07:59:60.5Z", 0.5),
    ],
)
def test_forms_of_time(written: str, seconds: float) -> None:
    log = read(gpx(point(time=f"<time>{written}</time>")))
    assert log.time_s[0] - T0 == pytest.approx(seconds, abs=2e-6)
    assert remark(log, "leap second") == (":60" in written)


def test_the_leap_second_of_2016_is_the_first_second_after_it() -> None:
    stamps = ["2016-12-31T23:59:59Z", "2016-12-31T23:59:60Z", "2017-01-01T00:00:01Z"]
    log = read(gpx("".join(point(time=f"<time>{stamp}</time>") for stamp in stamps)))
    assert np.diff(log.time_s).tolist() == [1.0, 1.0]


def test_a_time_without_a_zone_is_taken_as_utc_and_told() -> None:
    log = read(gpx(point(time="<time>2026-05-02T08:00:00</time>") + point(1.0)))
    assert log.time_s[0] == T0
    assert remark(log, "1 × a time without a zone, taken as UTC, first on line 4")


def test_comments_and_cdata_in_numbers() -> None:
    inside = "<ele>10<!-- metres -->1.5</ele><hdop><![CDATA[0.9]]></hdop>"
    log = read(gpx(point(inside=inside)))
    assert (log.altitude_m[0], log.hdop[0]) == (101.5, 0.9)


def test_a_bad_field_is_left_out_and_told_but_the_point_stays() -> None:
    bad = "<ele>high</ele><hdop>nan</hdop><speed>1e999</speed><course>400</course>"
    log = read(gpx(point(inside=bad, lat=51.0) + point(1.0, inside="<ele>5</ele>")))
    assert log.rejected == {}
    assert np.isnan([log.altitude_m[0], log.hdop[0], log.speed_mps[0], log.course_deg[0]]).all()
    assert log.altitude_m[1] == 5.0
    for what in ("ele", "hdop", "speed", "course"):
        assert remark(log, f"1 × {what} that could not be read or is out of range, first on line 4")


def test_minus_one_and_empty_say_nothing() -> None:
    log = read(gpx(point(inside="<ele/><speed>-1</speed><course>-1.0</course>"), "1.0"))
    assert np.isnan([log.speed_mps[0], log.course_deg[0], log.altitude_m[0]]).all()
    assert log.remarks == ()


# --- points that can't be used ---


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        (point(lat="nan"), "bad position"),
        (point(lat="inf"), "bad position"),
        (point(lat="52,5"), "bad position"),
        (point(lat="5_2"), "bad position"),
        (point(lat=""), "bad position"),
        (point(lat="1" * 70), "bad position"),
        (point(lat="٥٢"), "bad position"),
        (point().replace('lon="-1.0"', ""), "bad position"),
        (point(lat="undefined", lon="undefined"), "bad position"),
        (point(lat=95.0), "position out of range"),
        (point(lon=-180.5), "position out of range"),
        (point(lat="1e200"), "position out of range"),
        (point(lat=0.0, lon="0.000"), "no fix"),
        (point(inside="<fix>none</fix>"), "no fix"),
        (point(time=""), "no time"),
        (point(time="<time/>"), "no time"),
        (point(time="<time>yesterday</time>"), "unreadable time"),
        (point(time="<time>2026-02-30T08:00:00Z</time>"), "unreadable time"),
        (point(time="<time>2026-05-02T25:00:00Z</time>"), "unreadable time"),
        (point(time="<time>2026-05-02T08:00:60Z</time>"), "unreadable time"),
        (point(time="<time>2026-05-02T08:00:00+99:99</time>"), "unreadable time"),
        (point(time="<time>1970-01-01T00:00:00Z</time>"), "time before 1980 or after 2100"),
        (point(time="<time>9999-12-31T23:59:59Z</time>"), "time before 1980 or after 2100"),
        (point(1.0, lat=52.0001), "duplicate fix"),
        (point(1.0, lat=51.0), "time stands still"),
    ],
)
def test_a_bad_point_is_counted_and_the_rest_used(bad: str, reason: str) -> None:
    log = read(gpx(moving(3) + bad + moving(3, first=3)))
    assert log.rejected == {reason: Loss(1, "line 7")}
    assert log.fixes_read == 7
    assert len(log.time_s) == 6


def test_of_two_fixes_at_one_time_the_first_in_the_file_stays() -> None:
    log = read(gpx(point(0.0, lat=51.0) + point(1.0) + point(0.0, lat=50.0)))
    assert log.latitude_deg.tolist() == [51.0, 52.0]
    assert log.rejected == {"time stands still": Loss(1, "line 6")}


def test_blocks_out_of_order_are_sorted_and_told() -> None:
    log = read(gpx(moving(3, first=10) + moving(3)))
    assert (log.time_s - T0).tolist() == [0.0, 1.0, 2.0, 10.0, 11.0, 12.0]
    assert np.all(np.diff(log.latitude_deg) > 0.0)
    assert remark(log, "times step back 1 ×, first on line 7; sorted by time")


def test_segments_and_tracks_are_numbered_without_the_empty_ones() -> None:
    breaks = "</trkseg><trkseg></trkseg><trkseg/><trkseg>"
    tracks = "</trkseg></trk><trk/><trk><name>two</name><trkseg>"
    log = read(gpx(moving(2) + breaks + moving(1, first=2) + tracks + moving(2, first=3)))
    assert log.segment.tolist() == [0, 0, 1, 2, 2]


# --- files without a usable track ---


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty"),
        (" \n\0", "the file is empty"),
        ("<gpx/>", "no track points"),
        ("<gpx><trk><trkseg/></trk></gpx>", "no track points"),
        ('<gpx><wpt lat="1" lon="2"/></gpx>', "routes or waypoints only (1 points), no track"),
        ('<gpx><rte><rtept lat="1" lon="2"/></rte></gpx>', "routes or waypoints only"),
        ("<kml><trkpt/></kml>", "line 1: the root element is <kml>; expected <gpx>"),
        ("not XML at all", "no track points"),
        (gpx(point(time="") * 3), "none of the 3 track points has a time"),
        (gpx(point(lat=95) + point(time="")), "(1 position out of range, 1 no time)"),
        (gpx(point(time="<time>2026-02-30T00:00:00Z</time>")), "(1 unreadable time)"),
    ],
)
def test_files_without_a_track_are_refused_in_one_line(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read_gpx(text.encode(), "a.gpx")
    assert words in str(caught.value)
    assert str(caught.value).startswith("a.gpx")


# --- how the text is written ---


def prefixed(text: str) -> str:
    for word in ("gpx", "trk", "trkseg", "trkpt", "time", "ele", "extensions"):
        text = text.replace(f"<{word}", f"<g:{word}").replace(f"</{word}", f"</g:{word}")
        text = text.replace("<g:g:", "<g:")
    return text.replace("xmlns=", "xmlns:g=")


def test_a_namespace_prefix_is_read_through() -> None:
    inside = "<ele>7</ele><extensions><q:speed>5</q:speed></extensions>"
    log = read(prefixed(gpx(moving(3, inside=inside))))
    assert (len(log.time_s), log.altitude_m[0], log.speed_mps[0]) == (3, 7.0, 5.0)


@pytest.mark.parametrize(
    ("codec", "declared"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8"),
        ("latin-1", "ISO-8859-1"),
        ("cp1252", "windows-1252"),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("utf-32", "UTF-32"),
        ("utf-8", "UTF-16"),  # converted since
        ("utf-8", "zlib"),
        ("utf-8", "unicode_escape"),
        ("utf-8", "no-such-code"),
    ],
)
def test_encodings(codec: str, declared: str) -> None:
    head = f'<?xml version="1.0" encoding="{declared}"?>\n'
    log = read(gpx(moving(3), head=head).replace("invented", "Gerät"), codec)
    assert (len(log.time_s), log.source) == (3, "Gerät")


def test_a_stray_byte_costs_no_point() -> None:
    data = gpx(moving(3)).replace("invented", "Ger?t").encode().replace(b"?t", b"\xe4t")
    log = read_gpx(data, "a.gpx")
    assert (len(log.time_s), log.source) == (3, "Ger\ufffdt")
    assert remark(log, "not utf-8; they were replaced")


def test_blanks_before_the_declaration_and_zeros_after_the_end() -> None:
    log = read("\n\n" + gpx(moving(2) + point(lat=99)) + "\n" + "\0" * 4096)
    assert len(log.time_s) == 2
    assert log.rejected == {"position out of range": Loss(1, "line 8")}  # counted in the file
    assert log.remarks == ()


# --- damage ---


def test_a_file_cut_inside_a_point_keeps_the_whole_ones() -> None:
    text = gpx(moving(5))
    cut = text[: text.rindex("<time>") + 10]
    log = read(cut)
    assert (log.fixes_read, len(log.time_s)) == (5, 4)
    assert log.rejected == {"truncated file": Loss(1, "line 8")}
    assert remark(log, "cut off on line 8")


def test_a_file_cut_between_points_loses_none() -> None:
    text = gpx(moving(5))
    log = read(text[: text.rindex("</trkseg>")])
    assert (log.fixes_read, len(log.time_s), log.rejected) == (5, 5, {})
    assert remark(log, "cut off")


def test_every_cut_keeps_every_whole_point() -> None:
    text = gpx(moving(4, inside="<extensions><speed>11.1</speed></extensions>"))
    for end in range(text.index("</trkpt>") + 8, len(text)):
        log = read(text[:end])
        assert len(log.time_s) == text[:end].count("</trkpt>")
        assert log.fixes_read == text[:end].count("<trkpt")
        assert len(log.remarks) == 1
        assert remark(log, "cut off")


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text.replace('lat="52.0002"', 'lat="52.0002'),
        lambda text: text.replace('lat="52.0002"', 'lat="52.0002" lat="1"'),
        lambda text: text.replace("08:00:02Z</time>", "08:00:02Z</tome>"),
        lambda text: text.replace("08:00:02Z<", "08:00:02&nbsp;Z<"),
        lambda text: text.replace("08:00:02Z<", "08:00:02\x01Z<"),
        lambda text: text.replace('<trkpt lat="52.0002"', '<trkxt lat="52.0002"'),
        lambda text: text.replace("08:00:02Z</time></trkpt>", "08:00:02Z</time>"),
        lambda text: text.replace("08:00:02Z</time></trkpt>", "08:00:02Z</time></"),
        lambda text: text.replace("08:00:02Z</time></trkpt>", "08:00:02Z</time><!-- </trkpt>"),
    ],
)
def test_damage_in_one_point_costs_that_point(damage: Callable[[str], str]) -> None:
    log = read(damage(gpx(moving(6))))
    assert (log.time_s - T0).tolist() == [0.0, 1.0, 3.0, 4.0, 5.0]
    assert log.fixes_read == 6
    assert log.rejected["damaged XML"].count == 1
    assert log.segment.tolist() == [0, 0, 1, 1, 1]  # the track is broken there


def test_damage_outside_the_points_costs_none() -> None:
    text = gpx(moving(3)).replace("<trk>", "<trk><name>here & there</name>")
    log = read(text)
    assert (len(log.time_s), log.rejected) == (3, {})
    assert remark(log, "1 × damaged XML between the track points, first on line 3")


def test_files_strung_together_are_read_on() -> None:
    log = read(gpx(moving(3)) + "\n" + gpx(moving(3, first=3)))
    assert len(log.time_s) == 6
    assert log.segment.tolist() == [0, 0, 0, 1, 1, 1]


def test_a_lost_head_costs_only_what_it_held() -> None:
    text = gpx(moving(5))
    log = read(text[text.index("lon=") :])
    assert (log.time_s - T0).tolist() == [1.0, 2.0, 3.0, 4.0]


# --- XML made to do harm ---

BOMBS = {
    "laughs": '<!DOCTYPE gpx [<!ENTITY a "ha">'
    + "".join(
        f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefghi", "bcdefghij", strict=True)
    )
    + "]>",
    "quadratic": f'<!DOCTYPE gpx [<!ENTITY j "{"x" * 50_000}">]>',
    "external": '<!DOCTYPE gpx [<!ENTITY j SYSTEM "file:///etc/hostname">]>',
    "parameter": '<!DOCTYPE gpx [<!ENTITY % p SYSTEM "file:///etc/hostname"> %p;]>',
    "external subset": '<!DOCTYPE gpx SYSTEM "file:///etc/hostname">',
    "plain": "<!DOCTYPE gpx>",
}
BOMBS["after a comment"] = "<!-- <trkpt > " + "x" * 70_000 + " -->" + BOMBS["laughs"]


@pytest.mark.parametrize("codec", ["utf-8", "utf-16", "utf-16-be", "utf-32"])
@pytest.mark.parametrize("kind", BOMBS)
def test_a_dtd_is_refused_before_it_is_expanded(kind: str, codec: str) -> None:
    text = gpx(point(inside="<ele>&j;</ele>" + "&j;" * 1000), head=BOMBS[kind])
    with pytest.raises(InputError, match="DTD or entity, which is not taken"):
        read_gpx(text.encode(codec), "a.gpx")


def test_a_bomb_takes_neither_time_nor_memory() -> None:
    """In a process of its own, whose peak memory is known."""
    code = (
        "import sys, time, resource\n"
        "from roadtest.errors import InputError\n"
        "from roadtest.logs.gpx import read_gpx\n"
        "peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "before, start, data = peak(), time.process_time(), sys.stdin.buffer.read()\n"
        "try:\n    read_gpx(data, 'a.gpx')\n"
        "except InputError:\n    print(peak() - before, time.process_time() - start)\n"
    )
    for bomb in BOMBS.values():
        text = gpx(point(inside="<ele>&j;</ele>" + "&j;" * 1000), head=bomb)
        done = subprocess.run(
            [sys.executable, "-c", code], input=text.encode(), capture_output=True, check=True
        )
        kibibytes, seconds = map(float, done.stdout.split())
        assert kibibytes < 8192
        assert seconds < 0.5


def test_a_doctype_inside_the_body_is_mere_damage() -> None:
    log = read(gpx(moving(2) + "<!DOCTYPE gpx>" + moving(2, first=2)))
    assert len(log.time_s) == 4


def test_a_file_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gpx_text, "MAX_GPX_BYTES", 2**20)
    with pytest.raises(InputError, match="a GPX file of 2 MiB; expected at most 1 MiB"):
        read_gpx(b"x" * 2**21, "a.gpx")


@pytest.mark.parametrize(
    "text",
    [
        "<gpx>" + "<trk/>" * 200_000 + "</gpx>",
        "<gpx>" + "<a>" * 500_000,
        gpx('<trkpt lat="' + "1" * 10_000_000 + '" lon="1"/>'),
        gpx("<trkpt " * 500_000),
        gpx((point() + "<!-- ") * 30_000),
        gpx('<trkpt lat="5 lon="1">\n' * 300_000),
        gpx('<trkpt lat="5" lon="1">\n' * 300_000),
        "<" * 3_000_000,
    ],
    ids=["tracks", "deep", "long number", "no end", "comments", "quotes", "nested", "brackets"],
)
def test_nonsense_in_bulk_does_not_hang(text: str) -> None:
    start = time.process_time()
    try:
        read(text)
    except InputError as error:
        assert len(str(error)) < 300
    assert time.process_time() - start < 5.0


GOOD = gpx(
    moving(6, inside="<ele>10</ele><hdop>1</hdop><extensions><x:speed>11</x:speed></extensions>")
    + "</trkseg><trkseg>"
    + moving(4, first=8)
).encode()


def _read_or_refuse(data: bytes) -> GpsLog | None:
    try:
        log = read_gpx(data, "a.gpx")
    except InputError as error:
        assert "\n" not in str(error)
        return None
    assert_sound(log)
    return log


@settings(derandomize=True, deadline=None, max_examples=400)
@given(st.data())
def test_bytes_flipped_deleted_inserted_or_cut_raise_nothing_else(data: st.DataObject) -> None:
    text = bytearray(GOOD)
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, max(len(text) - 1, 0)))
        match data.draw(st.sampled_from(["flip", "delete", "insert", "cut", "copy"])):
            case "flip" if text:
                text[at] ^= data.draw(st.integers(1, 255))
            case "delete":
                del text[at : at + data.draw(st.integers(1, 80))]
            case "insert":
                text[at:at] = data.draw(st.binary(min_size=1, max_size=20))
            case "cut":
                del text[max(at, 200) :]
            case _:
                text[at:at] = text[at : at + 200]
    _read_or_refuse(bytes(text))


PIECES = st.sampled_from(
    [
        "<trk>", "</trk>", "<trkseg>", "</trkseg>", "<gpx>", "</gpx>", "<trkpt>", "</trkpt>",
        '<trkpt lat="1" lon="2">', '<g:trkpt lat="1" lon="2"/>', "<time>", "</time>", "<!--",
        "-->", "<![CDATA[", "]]>", "<extensions>", "</extensions>", "<speed>1e5</speed>", "&",
        "&amp;", "&#0;", "&#x10FFFF;", "<?xml version='1.0' encoding='utf-16'?>", "<?p", "?>",
        "<!DOCTYPE gpx>", "\0", "\ufeff", "nan", point(3.5), point(1e9), point(time=""), "<", ">",
        '"', "<time>2026-05-02T08:00:60Z</time>", "<ele>-1e308</ele>",
    ]
)  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=400)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), PIECES), max_size=12), st.booleans())
def test_structured_damage_raises_nothing_else(damage: list[tuple[int, str]], bare: bool) -> None:
    if bare:  # nothing but pieces
        text = "<gpx>" + "".join(piece for _, piece in damage)
    else:
        text = GOOD.decode()
        for at, piece in damage:
            text = text[:at] + piece + text[at:]
    _read_or_refuse(text.encode())


@settings(derandomize=True, deadline=None, max_examples=150)
@given(st.integers(0, len(GOOD) - 1), st.integers(1, 255))
def test_one_flipped_byte_costs_at_most_two_points(at: int, mask: int) -> None:
    text = bytearray(GOOD)
    text[at] ^= mask
    log = _read_or_refuse(bytes(text))
    if log is None:  # the head made it something else: another encoding, root or a DTD
        assert at < GOOD.index(b"<trk>")
    else:
        assert len(log.time_s) >= 8


@settings(derandomize=True, deadline=None, max_examples=100)
@given(st.binary(max_size=300))
def test_any_bytes_at_all_raise_nothing_else(data: bytes) -> None:
    _read_or_refuse(data)
    looks_like_gpx(data)


# --- the unit of speed ---


def speeds(factor: float, n: int = 120, interval_s: float = 1.0) -> GpsLog:
    step = 12.0 * interval_s / 111_267.0
    points = "".join(
        point(i * interval_s, lat=f"{52.0 + i * step:.7f}", inside=f"<speed>{12 * factor}</speed>")
        for i in range(n)
    )
    return read(gpx(points, "1.0"))


@pytest.mark.parametrize(
    ("factor", "unit"), [(3.6, "km/h"), (2.2369, "mph"), (1.9438, "kn"), (6.0, "6 times")]
)
def test_speeds_in_another_unit_are_not_used(factor: float, unit: str) -> None:
    log = speeds(factor)
    assert np.isnan(log.speed_mps).all()
    assert remark(log, unit)
    assert remark(log, "not used")


@pytest.mark.parametrize("factor", [1.0, 0.9, 1.15])
def test_speeds_near_those_of_the_positions_are_used(factor: float) -> None:
    log = speeds(factor)
    assert np.all(log.speed_mps == 12 * factor)
    assert log.remarks == ()


def test_too_few_steps_to_judge_the_unit() -> None:
    assert np.isfinite(speeds(3.6, n=40).speed_mps).all()
    assert np.isfinite(speeds(3.6, interval_s=10.0).speed_mps).all()


def test_positions_rounded_to_metres_do_not_spoil_the_unit() -> None:
    """Steps of 11 m at 2 m/s or more: most are zero, a few far too long."""
    way = np.cumsum(np.full(400, 4.0))
    points = "".join(
        point(i, lat=f"{52.0 + x / 111_267.0:.4f}", inside="<speed>4.0</speed>")
        for i, x in enumerate(way)
    )
    assert np.isfinite(read(gpx(points, "1.0")).speed_mps).all()


# --- the outside world ---


def test_agrees_with_the_library_on_a_good_file() -> None:
    import gpxpy

    text = gpx(moving(50, inside="<ele>10.5</ele><speed>11.25</speed>"), "1.0")
    log = read(text)
    points = gpxpy.parse(text).tracks[0].segments[0].points
    assert log.latitude_deg.tolist() == [p.latitude for p in points]
    assert log.speed_mps.tolist() == [p.speed for p in points]
    assert log.time_s.tolist() == [p.time.timestamp() for p in points if p.time]


def _recordings() -> list[Path]:
    return sorted(RECORDINGS.rglob("*.gpx"))


@pytest.mark.skipif(not _recordings(), reason="the real recordings are not here")
@pytest.mark.parametrize("path", _recordings(), ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_real_recording_is_read_or_refused_in_one_line(path: Path) -> None:
    data = path.read_bytes()
    assert looks_like_gpx(data[:4096])
    log = _read_or_refuse(data)
    if path.name == "gps.gpx":  # those of the drives are whole
        assert log is not None
        assert log.rejected == {}
        assert np.isfinite(log.speed_mps).all()
