"""Files written whole or not at all."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from roadtest.output import OutputError, make_folder, write_all


def test_files_are_written_as_utf8_and_nothing_else_is_left(tmp_path: Path) -> None:
    write_all({tmp_path / "a.json": "m/s²\n", tmp_path / "b.csv": "1\n"})
    assert (tmp_path / "a.json").read_bytes() == "m/s²\n".encode()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.json", "b.csv"]


def test_an_old_file_is_replaced_and_keeps_nothing_of_its_own(tmp_path: Path) -> None:
    target = tmp_path / "a.json"
    target.write_text("a longer text from an earlier run")
    write_all({target: "new"})
    assert target.read_text() == "new"


def test_the_umask_decides_who_may_read(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        write_all({tmp_path / "a": "x"})
    finally:
        os.umask(old)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_one_that_cannot_be_written_leaves_all_as_they_were(tmp_path: Path) -> None:
    old = tmp_path / "a.json"
    old.write_text("old")
    (tmp_path / "b.csv").mkdir()
    with pytest.raises(OutputError, match=r"b\.csv: can't be written: it is a folder"):
        write_all({old: "new", tmp_path / "b.csv": "x"})
    assert old.read_text() == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.json", "b.csv"]


def test_a_stop_half_way_leaves_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_all({tmp_path / "a.json": "x"})
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"a\.json: can't be written: no space left on device$"):
        write_all({tmp_path / "a.json": "x"})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no such file or directory"):
        write_all({tmp_path / "none" / "a.json": "x"})
    with pytest.raises(OutputError, match="no such file or directory"):
        make_folder(tmp_path / "none" / "deeper")


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_all({tmp_path / "link": "new"})
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_a_pipe_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[str] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_text()), daemon=True)
    reader.start()
    write_all({pipe: "through"})
    reader.join(5)
    assert got == ["through"]
    assert pipe.is_fifo()


def test_a_link_that_leads_to_itself_gives_way_to_the_file(tmp_path: Path) -> None:
    ring, other = tmp_path / "ring.json", tmp_path / "other.json"
    ring.symlink_to(other)
    other.symlink_to(ring)
    write_all({ring: "{}"})
    assert ring.read_text() == "{}"
