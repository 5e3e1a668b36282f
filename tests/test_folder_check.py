"""A folder of drives: all checked, none twice, and none stopping the others."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from roadtest import cli
from roadtest.errors import InputError
from roadtest.results import from_json
from roadtest.shop.below import drives_below, without_sheet
from roadtest.shop.checking import check_all, cores
from roadtest.shop.index import INDEX, Index
from roadtest.shop.lines import checked_text
from roadtest.shop.outcome import Outcome, content_key
from tests.shop_folders import (  # noqa: F401 - a fixture
    CountingCheck,
    counting,
    make_drive,
    no_progress,
    threads,
)

_ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    make_drive(tmp_path / "one" / "first", "good")
    make_drive(tmp_path / "one" / "second", "bad", "2026-06-01T08:00:00Z")
    make_drive(tmp_path / "two" / "deep" / "third", "doubtful")
    make_drive(tmp_path / "two" / "fourth", "broken")
    return tmp_path


def test_drives_are_found_at_any_depth_but_not_in_each_other(shop: Path) -> None:
    make_drive(shop / "one" / "first" / "inside", "good")
    make_drive(shop / ".hidden" / "drive", "good")
    (shop / "loop").symlink_to(shop)
    (shop / "again").symlink_to(shop / "one" / "first")
    names = [drive.relative_to(shop).as_posix() for drive in drives_below(shop)]
    assert names == ["one/first", "one/second", "two/deep/third", "two/fourth"]
    assert drives_below(shop / "one" / "first") == []


def test_a_log_without_a_build_sheet_is_told(shop: Path) -> None:
    for name in ("five/gps.NMEA.gz", "five/.old/gps.gpx", "one/first/raw/gps.gpx", "notes/a.txt"):
        (shop / name).parent.mkdir(parents=True, exist_ok=True)
        (shop / name).write_bytes(b"")
    assert [one.relative_to(shop).as_posix() for one in without_sheet(shop)] == ["five"]
    text = checked_text({}, sheetless=["five"])
    assert "Passed by: five holds a GPS log, but no build.toml." in text


def test_one_broken_drive_does_not_stop_the_rest(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    found = check_all(shop, threads, no_progress)
    assert [one.overall for one in found.values()] == ["pass", "fail", "not proven", "broken"]
    assert found["two/fourth"].first == "gps.nmea, line 1: no numbers; expected a sentence"
    bad = found["one/second"]
    assert (bad.failed, bad.not_proven, bad.passed, bad.first) == (1, 1, 1, "Target fail 1")
    assert from_json(bad.results).car.chassis == "C one"


def test_what_has_not_changed_is_not_checked_again(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    first = check_all(shop, threads, no_progress)
    counting.checked.clear()
    assert check_all(shop, threads, no_progress) == first
    assert counting.checked == []
    (shop / "one" / "second" / "notes.csv").write_text("time,item,value,unit,remark\n")
    check_all(shop, threads, no_progress)
    assert counting.checked == ["second"]


def test_a_name_that_is_no_text_is_kept_all_the_same(
    tmp_path: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    name = os.fsdecode(b"wei\xdf\n\x1b[31m")  # Latin-1, a line break and a colour
    make_drive(tmp_path / name, "good")
    for _ in range(2):
        found = check_all(tmp_path, threads, no_progress)
        assert [one.overall for one in found.values()] == ["pass"]
    assert counting.checked == [name]
    assert list(found) == ["wei\\udcdf\n\x1b[31m"]
    lines = checked_text(found).splitlines()
    assert len(lines) == len(checked_text({"plain": found.popitem()[1]}).splitlines())
    assert all(line.isprintable() for line in lines)


def test_the_software_is_part_of_the_key(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drive = shop / "one" / "first"
    key = content_key(drive)
    assert content_key(drive) == key
    monkeypatch.setattr("roadtest.shop.outcome._software", lambda: "another version")
    assert content_key(drive) != key


def test_a_drive_that_is_moved_or_gone_leaves_the_index(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    check_all(shop, threads, no_progress)
    (shop / "one" / "first").rename(shop / "elsewhere")
    check_all(shop, threads, no_progress)
    with Index(shop) as index:
        assert list(index.outcomes()) == ["elsewhere", "one/second", "two/deep/third", "two/fourth"]


def test_the_index_is_rebuilt_from_the_drives(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    first = check_all(shop, threads, no_progress)
    for file in shop.glob(f"{INDEX}*"):
        file.unlink()
    assert check_all(shop, threads, no_progress) == first


def test_a_fault_of_ours_costs_one_drive_and_is_not_kept(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    make_drive(shop / "fifth", "fault")
    found = check_all(shop, threads, no_progress)
    assert found["fifth"].first == "fifth: a fault in roadtest itself (RuntimeError: ours)"
    assert found["one/first"].overall == "pass"
    counting.checked.clear()
    check_all(shop, threads, no_progress)
    assert counting.checked == ["fifth"]


def test_a_process_that_dies_takes_only_its_own_drive_along(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    class Dying(ThreadPoolExecutor):
        """Fails as a pool of processes does when one of them dies: all that was in it is lost."""

        def __init__(self, together: int) -> None:
            super().__init__(1)
            self.together = together

        def submit(self, task: Any, /, *given: Any, **named: Any) -> Future[Any]:
            if self.together > 1 or given[0].endswith("second"):
                future: Future[Any] = Future()
                future.set_exception(BrokenProcessPool("died"))
                return future
            return super().submit(task, *given, **named)

    @contextmanager
    def dying(drives: int) -> Iterator[Executor]:
        with Dying(drives) as executor:
            yield executor

    found = check_all(shop, dying, no_progress)
    assert found["one/second"].first == "one/second: the process that checked it died"
    assert [one.overall for one in found.values()] == ["pass", "broken", "not proven", "broken"]


def test_two_runs_at_once_end_alike(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
) -> None:
    with ThreadPoolExecutor(2) as runs:
        both = [runs.submit(check_all, shop, threads, no_progress) for _ in range(2)]
        first, second = (run.result() for run in both)
    assert first == second
    with Index(shop) as index:
        assert index.outcomes() == first


def test_a_kill_in_the_middle_of_writing_loses_only_what_was_being_written(
    tmp_path: Path,
) -> None:
    code = f"""
import os, signal
from pathlib import Path
from roadtest.shop.index import Index
from roadtest.shop.outcome import Outcome
with Index(Path({str(tmp_path)!r})) as index:
    index.put("a", Outcome("k", "pass"))
    index._base.execute("DELETE FROM drives")
    os.kill(os.getpid(), signal.SIGKILL)
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=_ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    with Index(tmp_path) as index:
        assert index.outcomes() == {"a": Outcome("k", "pass")}


def test_another_database_is_left_alone_and_a_damaged_index_is_named(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / INDEX)
    with other:
        other.execute("CREATE TABLE drives (mine)")
    other.close()
    with pytest.raises(InputError, match="not an index of drives"), Index(tmp_path):
        pass
    again = sqlite3.connect(tmp_path / INDEX)
    assert again.execute("SELECT count(*) FROM drives").fetchone() == (0,)
    again.close()
    (tmp_path / INDEX).write_bytes(b"not a database at all, and long enough to be seen as none" * 9)
    with pytest.raises(InputError, match="damaged index"), Index(tmp_path):
        pass


def test_processes_of_their_own_give_the_same(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "build.toml").write_text('units = "mph"\n')
    found = check_all(tmp_path, cores, no_progress)
    assert [one.overall for one in found.values()] == ["broken", "broken"]
    assert found["a"].first.startswith("a: no GPS log")


def test_workers_of_a_run_that_is_killed_end_too(tmp_path: Path) -> None:
    code = """
import os, signal, time
from roadtest.shop.checking import cores
if __name__ == "__main__":
    with cores(2) as executor:
        print(executor.submit(os.getpid).result(), flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
"""
    script = tmp_path / "run.py"
    script.write_text(code)
    done = subprocess.run(
        [sys.executable, str(script)], cwd=_ROOT, check=False, stdout=subprocess.PIPE, timeout=120
    )  # a worker that lived on would hold the pipe open
    assert done.returncode == -signal.SIGKILL
    worker = Path("/proc") / done.stdout.decode().strip()
    until = time.monotonic() + 20.0  # what holds no pipe any more may still be ending
    while worker.exists() and " Z " not in (worker / "stat").read_text():
        assert time.monotonic() < until
        time.sleep(0.05)


def test_a_cluster_gives_the_same(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="the optional part is not installed")
    from roadtest.shop.cluster import cluster_at

    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "build.toml").write_text('units = "mph"\n')
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        found = check_all(tmp_path, cluster_at(cluster.scheduler_address), no_progress)
    assert found["a"].first.startswith("a: no GPS log")


def test_no_scheduler_is_one_line(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the optional part is not installed")
    from roadtest.shop.cluster import cluster_at

    with (
        pytest.raises(InputError, match="expected the address of a Dask scheduler"),
        cluster_at("nonsense://")(1),
    ):
        pass


def test_the_command_prints_a_line_a_drive_and_exits_with_the_worst(
    shop: Path,
    counting: CountingCheck,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("roadtest.shop.checking.cores", threads)
    assert cli.main(["check", str(shop)]) == cli.UNUSABLE
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 1 + 4 + 1
    assert "FAIL" in lines[2]
    assert "2026-06-01" in lines[2]
    assert lines[2].endswith("Target fail 1")
    assert lines[-1] == "4 drives: 1 fail, 1 not proven, 1 pass, 1 can't be used."
    assert cli.main(["check", str(shop / "one")]) == cli.FAILED
    assert cli.main(["check", str(shop / "two" / "deep")]) == cli.NOT_PROVEN


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--json", "x.json"], "it holds several drives"),
        (["--csv", "x"], "it holds several drives"),
    ],
)
def test_what_is_for_one_drive_is_refused(
    shop: Path, given: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["check", str(shop), *given]) == cli.UNUSABLE
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("command", ["report", "compare"])
def test_a_folder_of_drives_given_for_one_is_named_with_a_drive_in_it(
    shop: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main([command, str(shop)]) == cli.UNUSABLE
    error = capsys.readouterr().err
    assert "it holds drives and is none itself; expected one of them, such as" in error
    assert len(error.splitlines()) == 1


def test_a_line_fits_a_plain_terminal() -> None:
    text = checked_text({"ä/b": Outcome("", "broken", first="é – nothing")}, "ascii")
    assert text.isascii()
    assert len(text.splitlines()) == 3


def test_on_a_terminal_what_does_not_fit_goes_under_its_drive() -> None:
    one = Outcome(
        key="",
        overall="fail",
        car="A car with a long name",
        chassis="C 1",
        start_utc="2026-05-02T08:00:00Z",
        first="Brakes, all",
    )
    found = {"before-the-axle-was-changed": one}
    wide, narrow = checked_text(found).splitlines(), checked_text(found, width=80).splitlines()
    assert "  fail  open  pass  date" in narrow[0]  # its columns are kept
    assert max(map(len, wide)) > 80 >= max(map(len, narrow))
    assert narrow[2] == "    A car with a long name (C 1): Brakes, all"
    assert checked_text(found, width=200).splitlines() == wide
