"""A drive folder as one value: what is used, what is ignored and why, what stops it all."""

from __future__ import annotations

import gzip
import hashlib
import os
from pathlib import Path

import pytest

from roadtest.drive import read_drive
from roadtest.errors import InputError, InputErrors, NoBuildSheetError
from tests.simulation.writers import sentence

SAMPLES = Path(__file__).resolve().parents[1] / "sample_logs"
SHEET = 'units = "mph"\n'


def nmea(start_s: int = 0, seconds: int = 40, east: float = 0.0) -> bytes:
    """Return an NMEA log, once a second, of a car that goes east at 20 knots."""
    lines = []
    for k in range(start_s, start_s + seconds):
        clock = f"{8 + k // 3600:02}{k // 60 % 60:02}{k % 60:02}.00"
        minutes = 20.0 + 0.008 * k + east
        body = f"GPRMC,{clock},A,5000.0000,N,{minutes // 60:03.0f}{minutes % 60:07.4f},E,20.0,90.0"
        lines.append(sentence(f"{body},020526,,,A"))
    return "\r\n".join([*lines, ""]).encode()


def folder_with(path: Path, **files: bytes | str) -> Path:
    """Make a drive folder; a double underscore in a name is a full stop."""
    folder = path / "drive"
    folder.mkdir()
    for name, content in files.items():
        data = content.encode() if isinstance(content, str) else content
        (folder / name.replace("__", ".")).write_bytes(data)
    return folder


def ignored(folder: Path) -> dict[str, str | None]:
    files = read_drive(folder).files
    return {file.name: file.why_ignored for file in files if file.kind == "ignored"}


def test_every_file_is_listed_with_its_hash_and_size(tmp_path: Path) -> None:
    log, packed = nmea(), gzip.compress(b"time,rpm\n2026-05-02T08:00:01Z,900\n")
    folder = folder_with(
        tmp_path, build__toml=SHEET, gps__log=log, tach__csv__gz=packed, list__txt="milk"
    )
    listed = {file.name: file for file in read_drive(folder).files}
    assert {name: file.kind for name, file in listed.items()} == {
        "build.toml": "build",
        "gps.log": "nmea",
        "tach.csv.gz": "tach",
        "list.txt": "ignored",
    }
    assert listed["tach.csv.gz"].sha256 == hashlib.sha256(packed).hexdigest()
    assert listed["tach.csv.gz"].size == len(packed)
    assert listed["list.txt"].why_ignored == "neither GPX nor NMEA"


def test_a_broken_log_beside_a_good_one_is_ignored_with_its_reason(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml=SHEET,
        gps__nmea=nmea(),
        bad__gpx="<gpx version='1.1'><trk></trk></gpx>",
        tach__csv="time,speed\n2026-05-02T08:00:01Z,30\n",
        worse__nmea__gz=gzip.compress(nmea(), mtime=0)[:20],
    )
    drive = read_drive(folder)
    assert drive.gps.name == "gps.nmea"
    assert drive.tach == ()
    why = ignored(folder)
    assert why["bad.gpx"] == "no track points; expected a GPX track with times"
    assert (why["tach.csv"] or "").startswith('line 1: the columns "time", "speed"; expected')
    assert (why["worse.nmea.gz"] or "").startswith("a gzip file that is cut off")
    assert [said.partition(":")[0] for said in drive.refused] == ["bad.gpx", "tach.csv, line 1"]


def test_channels_of_another_day_are_ignored_and_told(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml=SHEET,
        gps__nmea=nmea(),
        channels__csv="time,oil [bar]\n2026-05-09T08:00:01Z,3\n2026-05-09T08:00:02Z,3\n",
    )
    drive = read_drive(folder)
    assert drive.channels == ()
    why = ignored(folder)["channels.csv"] or ""
    assert "all lie outside the drive" in why
    assert drive.refused == (f"channels.csv: {why}",)


def test_a_gzip_cut_off_is_used_and_says_so(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml=SHEET,
        gps__nmea__gz=gzip.compress(nmea(0, 2000))[:-40],
    )
    drive = read_drive(folder)
    assert drive.gps.time_s.size > 1000
    assert any("the gzip file is cut off" in remark for remark in drive.gps.remarks)


def test_without_a_build_sheet_the_least_is_told(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, gps__nmea=nmea())
    with pytest.raises(InputError) as told:
        read_drive(folder)
    assert str(told.value) == (
        "drive: there is no build.toml in it; expected one (the least is the line "
        'units = "mph"), or one from elsewhere with --build FILE'
    )


@pytest.mark.parametrize("text", ["", "# nothing yet\n"])
def test_an_empty_build_sheet_is_enough(tmp_path: Path, text: str) -> None:
    drive = read_drive(folder_with(tmp_path, build__toml=text, gps__nmea=nmea()))
    assert drive.sheet.car.label == "unnamed car"


def test_a_build_sheet_from_elsewhere_takes_the_place_of_the_folders_own(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, build__toml="this is broken", gps__nmea=nmea())
    other = tmp_path / "other.toml"
    other.write_text('units = "km/h"\n')
    drive = read_drive(folder, other)
    assert drive.sheet.units == "km/h"
    kinds = {file.name: (file.kind, file.why_ignored) for file in drive.files}
    assert kinds["other.toml"] == ("build", None)
    assert kinds["build.toml"] == ("ignored", "another build sheet was given with --build")


def test_a_faulty_build_sheet_is_told_before_any_log_is_read(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, a__nmea=nmea(), build__toml='units = "furlongs"\n')
    with pytest.raises(InputErrors, match=r"build\.toml"):
        read_drive(folder)


def test_two_build_sheets_are_one_too_many(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml=SHEET,
        build__toml__gz=gzip.compress(b'units = "km/h"\n'),
        gps__nmea=nmea(),
    )
    with pytest.raises(InputError, match="one build sheet a drive"):
        read_drive(folder)


def test_without_a_usable_gps_log_each_reason_is_told(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml=SHEET,
        a__gpx="<gpx version='1.1'><trk></trk></gpx>",
        b__nmea=sentence("GPRMC,,V,,,,,,,,,,N") + "\r\n",
    )
    with pytest.raises(InputErrors) as told:
        read_drive(folder)
    assert [line.partition(":")[0] for line in str(told.value).splitlines()] == ["a.gpx", "b.nmea"]


def test_without_any_gps_log_the_files_there_are_named(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, build__toml=SHEET, list__txt="milk")
    with pytest.raises(InputErrors) as told:
        read_drive(folder)
    assert str(told.value) == (
        "drive: no GPS log among list.txt (neither GPX nor NMEA); "
        "expected a GPS log (GPX or NMEA) of the drive in the folder"
    )


def test_notes_that_cannot_be_understood_are_to_be_mended(tmp_path: Path) -> None:
    notes = "time,item,value,unit,remark\n25:71,odometer,1,mile,\n,speed,x,,\n"
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea=nmea(), notes__csv=notes)
    with pytest.raises(InputErrors) as told:
        read_drive(folder)
    assert len(str(told.value).splitlines()) == 2


def test_links_and_folders_and_copies(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea=nmea(), copy__nmea=nmea())
    elsewhere = tmp_path / "tach.csv"
    elsewhere.write_text("time,rpm\n2026-05-02T08:00:01Z,900\n")
    (folder / "tach.csv").symlink_to(elsewhere)
    (folder / "gone.nmea").symlink_to(tmp_path / "nowhere")
    (folder / "photos").mkdir()
    (folder / "more").symlink_to(tmp_path)
    drive = read_drive(folder)
    assert len(drive.tach) == 1
    assert len(drive.receivers) == 1
    assert ignored(folder) == {
        "gone.nmea": "a link that leads nowhere",
        "gps.nmea": "the same content as copy.nmea",
        "more": "a folder; only the files beside it are read",
        "photos": "a folder; only the files beside it are read",
    }


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea=nmea())
    os.mkfifo(folder / "pipe.nmea")
    assert ignored(folder) == {"pipe.nmea": "neither a file nor a folder"}


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_named(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea=nmea())
    (folder / "gps.nmea").chmod(0)
    with pytest.raises(InputError, match=r"gps\.nmea: you may not read it"):
        read_drive(folder)


def test_refused_access_is_told_whoever_asks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea=nmea())
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path).name != "gps.nmea")
    with pytest.raises(InputError, match=r"gps\.nmea: you may not read it"):
        read_drive(folder)


def test_a_file_too_large_is_ignored_and_still_has_its_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    film = b"film" * 1000
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea=nmea(0, 20), film__mp4=film)
    monkeypatch.setattr("roadtest.logs.source.MAX_FILE_BYTES", 3000)
    (film_info,) = (file for file in read_drive(folder).files if file.kind == "ignored")
    assert film_info.sha256 == hashlib.sha256(film).hexdigest()
    assert (film_info.size, "MiB" in (film_info.why_ignored or "")) == (4000, True)


def test_split_logs_are_one_receiver_and_a_second_one_is_kept_beside(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml=SHEET,
        a1__nmea=nmea(0, 40),
        a2__nmea=nmea(41, 40),
        b__nmea=nmea(5, 30, east=0.001),
    )
    first, second = read_drive(folder).receivers
    assert [part.name for part in first.parts] == ["a1.nmea", "a2.nmea"]
    assert second.log.name == "b.nmea"


def test_engine_speed_inside_the_gps_log_joins_the_tachs(tmp_path: Path) -> None:
    lines = []
    for k in range(30):
        clock = f"0800{k:02}.00"
        lines.append(sentence(f"GPRMC,{clock},A,5000.0000,N,00020.{k:04},E,20.0,90.0,020526,,,A"))
        lines.append(sentence("IIRPM,E,1,2400.0,10.5,A"))
    folder = folder_with(tmp_path, build__toml=SHEET, gps__nmea="\r\n".join([*lines, ""]))
    (engine,) = read_drive(folder).tach
    assert engine.rpm is not None
    assert set(engine.rpm) == {2400.0}


def test_times_without_a_zone_are_the_build_sheets(tmp_path: Path) -> None:
    folder = folder_with(
        tmp_path,
        build__toml='utc_offset = "+01:00"\n',
        gps__nmea=nmea(),
        tach__csv="time,rpm\n2026-05-02T09:00:05,900\n",
        channels__csv="time,oil [bar]\n2026-05-02T09:00:05,4\n",
        notes__csv="time,item,value,unit,remark\n09:00:05,odometer,10,mile,\n",
    )
    drive = read_drive(folder)
    five_s_in = drive.gps.time_s[0] + 5.0
    assert drive.notes is not None
    assert drive.tach[0].time_s[0] == drive.channels[0].time_s[0] == five_s_in
    assert drive.notes.rows[0].time_s == five_s_in


def test_the_messy_sample_is_one_receiver_in_three_files() -> None:
    drive = read_drive(SAMPLES / "messy-log")
    assert [len(receiver.parts) for receiver in drive.receivers] == [3]
    assert drive.gps.rejected["bad checksum"].first == "gps-001.nmea.gz, line 227"
    assert drive.notes is not None
    last = [note.time_s for note in drive.notes.rows if note.time_s is not None][-1]
    assert drive.gps.time_s[0] < last < drive.gps.time_s[-1]  # past midnight


def test_no_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a folder that can be read"):
        read_drive(tmp_path / "none")


@pytest.mark.parametrize("name", ["build.toml.txt", "Build.txt", "build"])
def test_a_build_sheet_under_another_name_is_named(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text('units = "mph"\n')
    with pytest.raises(NoBuildSheetError, match=f"only {name}; expected .* called build.toml"):
        read_drive(tmp_path)
