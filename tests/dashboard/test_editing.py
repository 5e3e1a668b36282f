"""A drive at work while somebody enters things by hand: undo, and saving into its folder."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path

import pytest

import dashboard.work
from dashboard.intake import InFolder, taken_from
from dashboard.saving import NotesInFolder
from dashboard.sessions import Sessions
from dashboard.work import Brought, Work
from roadtest import edits
from roadtest.check import Checked
from roadtest.edits import Edits
from roadtest.errors import InputError
from roadtest.logs.source import read_source, source_of
from roadtest.output import OutputError
from tests.dashboard.conftest import work_of

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
SAMPLE = SAMPLES / "before-axle-change"


def out(work: Work, name: str, why: str = "wet") -> bool:
    def change(checked: Checked, before: Edits) -> Edits:
        return before.put(("left out", name), edits.left_out(checked, name, why))

    return work.edit(change)


def move(work: Work, text: str) -> bool:
    return work.edit(lambda _, e: e.put(("target", "mfdd"), edits.target("mfdd", text, "why")))


def folder_work(folder: Path) -> Work:
    """Return the sample drive at work in a folder of its own."""
    if not folder.exists():
        shutil.copytree(SAMPLE, folder)
    work = Work(folder.name)
    work.run(InFolder(folder))
    assert not work.fault
    return work


def least(work: Work) -> float | None:
    (finding,) = (f for f in work.checked.results.findings if f.id == "mfdd")
    assert finding.limit is not None
    return finding.limit.low


def test_undo_and_redo_go_step_by_step(fresh_work: Work) -> None:
    plain = fresh_work.checked
    assert not (fresh_work.undo() or fresh_work.redo() or fresh_work.unsaved)
    move(fresh_work, "9 m/s^2")
    move(fresh_work, "4 m/s^2")
    assert (least(fresh_work), fresh_work.entered) == (pytest.approx(4.0), 1)
    assert fresh_work.undo()
    assert least(fresh_work) == pytest.approx(9.0)
    assert fresh_work.undo()
    assert fresh_work.checked is plain and not fresh_work.can_undo and not fresh_work.unsaved
    assert fresh_work.redo()
    assert least(fresh_work) == pytest.approx(9.0)
    move(fresh_work, "3 m/s^2")
    assert not fresh_work.can_redo


def test_what_changes_nothing_is_no_step(fresh_work: Work) -> None:
    version = fresh_work.version
    assert not fresh_work.edit(lambda _, before: before.put(("left out", "stop-3"), None))
    with pytest.raises(InputError):
        out(fresh_work, "stop-99")
    assert (fresh_work.version, fresh_work.can_undo) == (version, False)
    move(fresh_work, "9 m/s^2")
    assert not move(fresh_work, "9 m/s^2")


def test_steps_kept_are_bounded(fresh_work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dashboard.work, "MOST_UNDONE", 3)
    for number in range(5):
        move(fresh_work, f"{number + 1} m/s^2")
    assert sum(1 for _ in iter(fresh_work.undo, False)) == 3
    assert least(fresh_work) == pytest.approx(2.0)


def test_a_restart_loses_nothing_that_was_saved(tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    work = folder_work(folder)
    others = {f.name: f.read_bytes() for f in folder.iterdir() if f.name != "notes.csv"}
    before = (folder / "notes.csv").read_bytes()
    move(work, "9 m/s^2")
    assert work.unsaved and (folder / "notes.csv").read_bytes() == before
    assert work.save() == "notes.csv" and not work.unsaved
    assert (folder / "notes.csv").read_bytes().startswith(before)
    assert {f.name: f.read_bytes() for f in folder.iterdir() if f.name != "notes.csv"} == others
    again = folder_work(folder)
    assert again.checked.results == work.checked.results
    assert ("target", "mfdd") in again.rows and not again.unsaved
    again.edit(lambda _, entered: entered.put(("target", "mfdd"), None))
    again.save()
    assert (folder / "notes.csv").read_bytes() == before
    work.undo()
    with pytest.raises(InputError, match="changed on disk since it was read here"):
        work.save()


def test_what_somebody_else_wrote_meanwhile_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.csv"
    fresh = NotesInFolder(tmp_path, None)
    path.write_bytes(b"time,item,value\n")
    with pytest.raises(InputError, match="left alone"):
        fresh.write(b"ours")
    assert path.read_bytes() == b"time,item,value\n"
    known = NotesInFolder(tmp_path, read_source(path))
    assert known.write(b"ours\n") == "notes.csv"
    assert known.write(b"") == "notes.csv"  # all taken back: the header alone
    assert path.read_bytes() == b"time,item,value,unit,remark\n"
    path.unlink()
    with pytest.raises(InputError, match="left alone"):
        known.write(b"ours")
    assert list(tmp_path.iterdir()) == []


def test_a_compressed_file_stays_one_and_a_link_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "drive").mkdir()
    path = tmp_path / "drive" / "notes.csv.gz"
    path.write_bytes(edits.as_stored("notes.csv.gz", b"time,item,value\n"))
    NotesInFolder(path.parent, read_source(path)).write(b"ours\n")
    assert read_source(path).data == b"ours\n"
    outside = tmp_path / "gps.nmea"
    outside.write_bytes(b"$GPRMC")
    (tmp_path / "drive" / "notes.csv").symlink_to(outside)
    with pytest.raises(InputError, match="it is a link"):
        NotesInFolder(path.parent, None).write(b"ours\n")
    assert outside.read_bytes() == b"$GPRMC"


def test_a_folder_that_cannot_be_written_to_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"notes\.csv: can't be written"):
        NotesInFolder(tmp_path / "gone", None).write(b"ours\n")


def test_dropped_files_have_no_folder_to_save_into(fresh_work: Work) -> None:
    move(fresh_work, "9 m/s^2")
    with pytest.raises(InputError, match="it has no folder here"):
        fresh_work.save()
    assert b',target,"mfdd = ""9 m/s^2""",,why\n' in fresh_work.notes()


def test_edits_at_the_same_time_are_all_there_and_in_one_drive_only(
    brought: Brought, fresh_work: Work
) -> None:
    sessions = Sessions()
    sessions.keep("me", fresh_work)
    other = work_of(brought)
    sessions.keep("you", other)

    def inspect(what: str) -> None:
        row = edits.inspection(what, "pass")
        fresh_work.edit(lambda _, before: before.put(("inspection", what), row))

    threads = [threading.Thread(target=inspect, args=(f"thing {k}",)) for k in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seen = {i.what for i in fresh_work.checked.results.inspections}
    assert {f"thing {k}" for k in range(8)} <= seen
    assert not other.entered and other.checked is brought.checked
    assert sessions.find("you", fresh_work.id) is None


def test_the_reports_shop_and_logo_come_with_the_files() -> None:
    files = [read_source(f) for f in SAMPLE.iterdir() if f.name != "build.toml"]
    text = (SAMPLE / "build.toml").read_text(encoding="utf-8")
    text += '\n[shop]\nname = "A workshop"\nlogo = "logo.svg"\n'
    picture = (
        b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9v9z"/></svg>'
    )
    taken = taken_from((*files, source_of("logo.svg", picture)), text)
    assert taken.logo is not None and taken.logo.data == picture
    without = taken_from(tuple(files), text)
    assert without.logo is None
    assert "logo.svg was not dropped" in without.remarks[0]
