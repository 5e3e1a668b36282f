"""Reading the bytes of a file and telling its kind."""

import gzip
import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.logs import source as source_module
from roadtest.logs.source import Source, kind_of, read_source

GPX = b'<?xml version="1.0"?><gpx version="1.1"><trk/></gpx>'
NMEA = b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\r\n" * 5


def source(name: str, data: bytes) -> Source:
    return Source(name, data, "")


def written(folder: Path, data: bytes, name: str = "log.gz") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def test_a_plain_file_comes_as_it_stands(tmp_path: Path) -> None:
    read = read_source(written(tmp_path, GPX, "a.gpx"))
    assert read == Source("a.gpx", GPX, hashlib.sha256(GPX).hexdigest(), size=len(GPX))


def test_gzip_is_told_by_content_and_the_hash_is_that_of_the_disk(tmp_path: Path) -> None:
    packed = gzip.compress(GPX)
    read = read_source(written(tmp_path, packed, "a.gpx"))
    assert read == Source("a.gpx", GPX, hashlib.sha256(packed).hexdigest(), size=len(packed))


def test_gzip_of_several_members_and_padding(tmp_path: Path) -> None:
    packed = gzip.compress(b"one ") + gzip.compress(b"two") + bytes(512)
    read = read_source(written(tmp_path, packed))
    assert (read.data, read.remarks) == (b"one two", ())


def test_more_than_one_slice_of_gzip_comes_whole(tmp_path: Path) -> None:
    data = os.urandom(300_000)
    packed = gzip.compress(data[:200_000]) + gzip.compress(data[200_000:])
    assert read_source(written(tmp_path, packed)).data == data


def test_gzip_cut_off_gives_what_there_is(tmp_path: Path) -> None:
    data = bytes(range(256)) * 400
    read = read_source(written(tmp_path, gzip.compress(data, 1)[:-300]))
    assert 0 < len(read.data) < len(data)
    assert data.startswith(read.data)
    assert read.remarks == (f"the gzip file is cut off; its first {len(read.data)} bytes are used",)


def test_gzip_damaged_gives_what_comes_before(tmp_path: Path) -> None:
    data = "".join(f"{i * 7919 % 10007}," for i in range(20_000)).encode()
    packed = bytearray(gzip.compress(data))
    packed[len(packed) // 2] ^= 0xFF
    packed[len(packed) // 2 + 1] ^= 0xFF
    read = read_source(written(tmp_path, bytes(packed)))
    assert len(read.data) > len(data) // 4
    assert data[: len(data) // 4] == read.data[: len(data) // 4]
    assert "damaged" in read.remarks[0]


def test_a_wrong_check_sum_loses_nothing_but_is_told(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(GPX))
    packed[-6] ^= 1
    read = read_source(written(tmp_path, bytes(packed)))
    assert read.data == GPX
    assert "damaged" in read.remarks[0]


def test_bytes_after_the_gzip_are_told(tmp_path: Path) -> None:
    read = read_source(written(tmp_path, gzip.compress(GPX) + b"more"))
    assert read.data == GPX
    assert "followed by other bytes" in read.remarks[0]


@pytest.mark.parametrize("data", [b"\x1f\x8b\x08", b"\x1f\x8b\x08\0\0\0\0\0\0\3\xff\xff\xff\xff"])
def test_gzip_that_gives_nothing_is_refused(tmp_path: Path, data: bytes) -> None:
    with pytest.raises(InputError, match=r"log\.gz: a gzip file that is (cut off|damaged)"):
        read_source(written(tmp_path, data))


def test_a_gzip_bomb_is_refused_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(source_module, "MAX_FILE_BYTES", 2**20)
    path = written(tmp_path, gzip.compress(bytes(2**24)))
    with pytest.raises(InputError, match="more than 1 MiB when expanded; expected at most 1 MiB"):
        read_source(path)
    # Just at the bound is still taken.
    assert len(read_source(written(tmp_path, gzip.compress(bytes(2**20)))).data) == 2**20


def test_a_file_too_large_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "large.log"
    with path.open("wb") as file:
        file.truncate(source_module.MAX_FILE_BYTES + 1)
    with pytest.raises(InputError, match="more than 256 MiB"):
        read_source(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_source(tmp_path / "absent.gpx")
    with pytest.raises(InputError, match="it is a folder"):
        read_source(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="neither a file nor a folder"):
        read_source(tmp_path / "pipe")


@settings(derandomize=True, deadline=None, max_examples=150)
@given(st.data())
def test_damaged_gzip_never_raises_anything_else(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    packed = bytearray(gzip.compress(GPX * 20) + gzip.compress(NMEA))
    for _ in range(data.draw(st.integers(1, 4))):
        packed[data.draw(st.integers(3, len(packed) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(3, len(packed)))
    path = written(tmp_path_factory.getbasetemp(), bytes(packed[:cut]))
    try:
        read_source(path)
    except InputError as error:
        assert "\n" not in str(error)


@pytest.mark.parametrize(
    ("name", "data", "kind"),
    [
        ("build.toml", b"units = 'mph'", "build"),
        ("BUILD.TOML", b"units = 'mph'", "build"),
        ("notes.csv", b"time,item", "notes"),
        ("Notes.CSV.gz", b"time,item", "notes"),
        ("tach.csv", b"elapsed_s,rpm", "tach"),
        ("Tach_2.csv.gz", b"elapsed_s,rpm", "tach"),
        ("channels.csv", b"elapsed_s,a [V]", "channels"),
        ("channels-oil.csv", b"elapsed_s,a [V]", "channels"),
        ("track.gpx", GPX, "gpx"),
        ("track.txt", GPX, "gpx"),
        ("track.gpx", "\ufeff".encode() + GPX, "gpx"),
        ("track.gpx", GPX.decode().encode("utf-16"), "gpx"),
        ("track.gpx", GPX.decode().encode("utf-16-be"), "gpx"),
        ("track.gpx", GPX.decode().encode("utf-32"), "gpx"),
        ("track.gpx", b"\n\n" + GPX, "gpx"),
        ("track.gpx", b"<!-- <kml> --><g:gpx xmlns:g='u'>", "gpx"),
        ("track.gpx", b'="52" lon="1"><ele>1</ele></trkpt>\n<trkpt lat="1" lon="2">', "gpx"),
        (
            "track.gpx",
            b'<!DOCTYPE gpx [<!ENTITY a "b">]><gpx>',
            "gpx",
        ),  # to be refused, not ignored
    ],
)
def test_kinds(name: str, data: bytes, kind: str) -> None:
    assert kind_of(source(name, data)) == (kind, None)


@pytest.mark.parametrize("name", ["gps.nmea", "drive.log", "readme.txt", "data.csv", "x.gpx"])
def test_nmea_is_told_by_content(name: str) -> None:
    pytest.importorskip("roadtest.logs.nmea")
    assert kind_of(source(name, NMEA)) == ("nmea", None)


@pytest.mark.parametrize(
    ("name", "data", "why"),
    [
        ("gps.nmea", b"", "empty"),
        ("tach.csv", b"\r\n \0", "empty"),
        (".track.gpx", GPX, "hidden"),
        ("photo.jpg", b"\xff\xd8\xff\xe0 JFIF", "picture"),
        ("photo.gpx", b"\x89PNG\r\n\x1a\n", "picture"),
        ("sheet.pdf", b"%PDF-1.7", "PDF"),
        ("logs.zip", b"PK\x03\x04 and so on", "zip"),
        ("gps.ubx", b"\xb5\x62\x01\x07 and so on", "binary"),
        ("oil.csv", b"time,oil\n", "neither notes.csv, tach*.csv nor channels*.csv"),
        ("notes2.csv", b"time,item\n", "neither notes.csv"),
        ("notes.csv.txt", b"time,item\n", "named like notes, but not called notes.csv"),
        ("tach.txt", b"time,rpm\n", "named like tach, but not called tach.csv"),
        ("other.toml", b"a = 1\n", "not named build.toml"),
        ("track.gpx", b"<kml><Placemark/></kml>", "whatever its name says"),
        ("todo.txt", b"buy brake pads\n", "neither GPX nor NMEA"),
        ("page.html", b"<html><body>a gpx file</body></html>", "neither GPX nor NMEA"),
    ],
)
def test_what_is_ignored_says_why(name: str, data: bytes, why: str) -> None:
    if not data.strip(b"\0 \r\n") or name.startswith("."):
        pass  # needs no reader
    else:
        pytest.importorskip("roadtest.logs.nmea")
    kind, reason = kind_of(source(name, data))
    assert kind == "ignored"
    assert reason is not None
    assert why in reason


def test_telling_a_kind_does_not_load_the_gpx_reader() -> None:
    code = (
        "import sys; from roadtest.logs.source import Source, kind_of;"
        "assert kind_of(Source('a.gpx', b'<gpx>', '')) == ('gpx', None);"
        "sys.exit('roadtest.logs.gpx' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
