"""The folder's drives: what is known of them, found again, kept, and compared."""

from __future__ import annotations

import json
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dashboard.comparing import Compared, chosen, compared_body
from dashboard.folder_view import PAGE, compare_bar, drive_list, folder_view, nothing_to_check
from dashboard.shelf import NOT_CHECKED, Shelf
from dashboard.work import Work
from roadtest.errors import InputError
from roadtest.results import CarInfo
from roadtest.shop.index import INDEX, Index
from roadtest.shop.outcome import Outcome, content_key
from tests.dashboard.test_page import plain

SHEET = 'units = "mph"\n'


def drive_at(folder: Path, name: str, text: str = SHEET) -> Path:
    made = folder / name
    made.mkdir(parents=True)
    (made / "build.toml").write_text(text, encoding="utf-8")
    return made


def said(shelf: Shelf, search: str = "", pages: int = 1) -> str:
    shown = drive_list(shelf, shelf.find(search), pages, [])
    return json.dumps(plain(shown), ensure_ascii=False)


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Three drives, two of them in the index."""
    known = {
        "green/first": Outcome("k", "fail", "Green car", "DEMO 1", "2026-05-02T08:00:00Z", 3, 1, 2),
        "green/again": Outcome("k", "pass", "Green car", "DEMO 1", "2026-05-09T08:00:00Z", 6, 0, 0),
    }
    for name in ("green/first", "green/again", "red"):
        drive_at(tmp_path, name)
    with Index(tmp_path) as index:
        for name, outcome in known.items():
            key = content_key(tmp_path / name)
            index.put(name, replace(outcome, key=key))
    return tmp_path


def test_drives_stand_under_their_cars_the_latest_first(shop: Path) -> None:
    entries = Shelf(shop).entries()
    assert [one.name for one in entries] == ["green / again", "green / first", "red"]
    assert [one.verdict for one in entries] == ["pass", "fail", NOT_CHECKED]
    assert entries[0].car == "Green car (DEMO 1)" and entries[0].date == "2026-05-09"


@pytest.mark.parametrize(
    ("search", "found"),
    [
        ("GREEN first", ["green / first"]),
        ("demo 1", ["green / again", "green / first"]),
        ("2026-05-09", ["green / again"]),
        ("fail", ["green / first"]),
        ("not checked", ["red"]),
        ("blue", []),
    ],
)
def test_a_drive_is_found_by_name_car_chassis_date_and_verdict(
    shop: Path, search: str, found: list[str]
) -> None:
    assert [one.name for one in Shelf(shop).find(search)] == found


def test_the_list_tells_verdicts_by_word_and_mark_and_what_changed_since(shop: Path) -> None:
    text = said(Shelf(shop))
    assert "✗ 1 fail, ? 2 not proven, ✓ 3 pass" in text and '"FAIL"' in text
    assert "NOT CHECKED YET" in text
    assert "changed since" not in text
    (shop / "green" / "first" / "notes.csv").write_text("time,item,value,unit,remark\n")
    assert said(Shelf(shop)).count("changed since") == 1


def test_a_name_of_a_folder_is_no_path_out_of_it(shop: Path) -> None:
    for name in ("../red", str(shop / "red"), "green", ""):
        with pytest.raises(InputError, match="not there any more"):
            chosen(Shelf(shop), [name])


def test_a_thousand_drives_are_listed_and_searched_at_once(tmp_path: Path) -> None:
    with Index(tmp_path) as index:
        for k in range(1000):
            drive_at(tmp_path, f"d{k:04}")
            car = f"Car number-{k % 100}x"
            done = Outcome("k", "pass", car, "", "2026-05-02T08:00:00Z", 1, results="x" * 10_000)
            index.put(f"d{k:04}", done)
    shelf = Shelf(tmp_path)
    began = time.perf_counter()
    shelf.entries()
    listed = time.perf_counter()
    text = said(shelf, "number-42x pass")
    ended = time.perf_counter()
    print(f"1,000 drives: listed in {listed - began:.3f} s, searched in {ended - listed:.3f} s")  # noqa: T201
    assert '"10 drives of 1 car"' in text
    assert said(shelf).count('{\\"picked') == PAGE
    assert said(shelf, pages=2).count('{\\"picked') == 2 * PAGE
    assert ended - began < 10.0  # not a figure to keep: a walk for every drive would take minutes


def test_what_a_check_gave_is_kept_and_used_again(shop: Path, checked_work: Work) -> None:
    shelf = Shelf(shop)
    (entry,) = chosen(shelf, ["red"])
    results = replace(checked_work.checked.results, car=CarInfo("Red car"))
    shelf.learn(entry, shelf.key(entry), results, "")
    (entry,) = chosen(shelf, ["red"])
    assert entry.verdict == "fail" and entry.car == "Red car"
    assert shelf.results(entry, lambda stage, done: None) == results
    shelf.learn(entry, shelf.key(entry), None, "gps.nmea: an empty file\nmore")
    (entry,) = chosen(shelf, ["red"])
    assert entry.verdict == "broken" and entry.known is not None
    assert entry.known.first == "gps.nmea: an empty file"


def test_files_that_change_under_a_check_are_not_kept(shop: Path, checked_work: Work) -> None:
    shelf = Shelf(shop)
    (entry,) = chosen(shelf, ["red"])
    before = shelf.key(entry)
    (entry.folder / "notes.csv").write_text("time,item,value,unit,remark\n")
    shelf.learn(entry, before, checked_work.checked.results, "")
    assert chosen(shelf, ["red"])[0].verdict == NOT_CHECKED


def test_a_damaged_index_does_not_hide_the_drives(shop: Path) -> None:
    for file in shop.glob(f"{INDEX}*"):
        file.unlink()
    (shop / INDEX).write_bytes(b"not a database at all" * 100)
    shelf = Shelf(shop)
    assert [one.name for one in shelf.entries()] == ["red", "green / first", "green / again"]
    assert "NOT CHECKED YET" in said(shelf)


def test_all_drives_can_be_checked_beside_what_else_goes_on(shop: Path) -> None:
    shelf = Shelf(shop, executors=lambda drives: ThreadPoolExecutor(1))
    shelf.check_the_rest()
    ends = time.monotonic() + 60.0
    while shelf.checking:
        assert time.monotonic() < ends
        time.sleep(0.02)
    assert chosen(shelf, ["red"])[0].verdict == "broken"  # it has no log


def test_a_check_is_offered_only_where_there_is_something_to_check(shop: Path) -> None:
    shelf = Shelf(shop)
    assert not nothing_to_check(shelf, shelf.find(""))
    (red,) = chosen(shelf, ["red"])
    shelf.learn(red, shelf.key(red), None, "no log")
    assert nothing_to_check(shelf, shelf.find(""))
    (shop / "red" / "notes.csv").write_text("time,item,value,unit,remark\n")
    assert not nothing_to_check(shelf, shelf.find(""))
    shelf.checking = "going on"
    assert nothing_to_check(shelf, shelf.find(""))
    assert nothing_to_check(Shelf(shop / "red"), [])


def test_hostile_names_are_words(tmp_path: Path) -> None:
    drive_at(tmp_path, "<img src=x onerror=alert(1)>")
    shown = plain(folder_view(Shelf(tmp_path)))
    assert "<img src=x onerror=alert(1)>" in json.dumps(shown)  # as text of a component
    assert not any("dangerously" in key for key in json.dumps(shown).split('"'))


def test_the_bar_asks_for_two_drives_and_no_more_than_it_can_show() -> None:
    assert compare_bar([]) == []
    for ticked, offered in ((["a"], False), (["a", "b"], True), (list("abcde"), False)):
        assert ('"asked-comparison"' in json.dumps(plain(compare_bar(ticked)))) is offered


@pytest.fixture(scope="module")
def compared(two_drives: Path) -> Compared:
    shelf = Shelf(two_drives)
    work = Compared(["a-later", "b-first"])
    work.compare(shelf, chosen(shelf, ["a-later", "b-first"]))
    assert not work.fault and work.ended
    return work


def test_drives_are_compared_the_earlier_one_first(compared: Compared) -> None:
    assert [drive.name for drive in compared.found.drives] == ["b-first", "a-later"]
    text = json.dumps(plain(compared_body(compared)), ensure_ascii=False)
    assert "drive 1" in text and "✱ changed" in text
    row: Any = next(r for r in compared.found.rows if r.name == "MFDD level")
    assert row.differences[0].change == "changed"
    assert compared.charts and all(chart.id.startswith("compare-") for chart in compared.charts)


def test_a_comparison_can_be_taken_along(compared: Compared) -> None:
    assert json.loads(compared.report(".json"))["format"] == "roadtest comparison 1"
    assert compared.report(".html").startswith(b"<!DOCTYPE html>")
    assert compared.report(".pdf").startswith(b"%PDF")


def test_what_cannot_be_compared_is_told_in_words(two_drives: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(two_drives, folder)
    shelf = Shelf(folder)
    work = Compared(["b-first", "b-first"])
    work.compare(shelf, chosen(shelf, ["b-first", "b-first"]))
    assert work.ended and "the same GPS log in both" in work.fault
