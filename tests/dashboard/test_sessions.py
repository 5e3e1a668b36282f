"""The drives of every browser: whose they are, who is served next, what is forgotten when."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard import sessions as bounds
from dashboard.apart import Job, Runner, T
from dashboard.intake import Dropped
from dashboard.sessions import (
    GONE_S,
    LEFT_S,
    MOST_DRIVES,
    MOST_SESSIONS,
    MOST_WAITING,
    PRESENT_S,
    Sessions,
)
from dashboard.work import Brought, Work
from roadtest.progress import Progress
from tests.dashboard.conftest import at_hand, work_of

NOTHING = Dropped(())  # no drive: it is refused in words


class Shop:
    """Sessions with a clock of ours and one hand, that checks when it is told to."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(bounds, "at_once", lambda: 1)
        self.now = 0.0
        self.order: list[str] = []
        self._begun, self._go = threading.Semaphore(0), threading.Semaphore(0)
        self.sessions = Sessions(clock=lambda: self.now, runner=self._run)

    def come(self, name: str, size: int = 100) -> Work:
        """Have somebody drop a drive of that name."""
        work = Work(name, Dropped((("gps.gpx", bytes(size)),)))

        def run(runner: Runner) -> None:
            with work.ending():
                runner(lambda progress: self.order.append(name), lambda stage, done: None)
            work.fault = "done"

        self.sessions.begin(name, work, run)
        return work

    def begin_one(self) -> None:
        """Wait until the next check is at work."""
        assert self._begun.acquire(timeout=10.0)

    def end_one(self) -> None:
        """Let the check at work end."""
        self._go.release()

    def end(self) -> None:
        """Check all that still wait."""
        for _ in range(99):
            self._go.release()
        self.sessions.close()

    def _run(self, job: Job[T], progress: Progress, unwanted: Callable[[], bool]) -> T:
        self._begun.release()
        self._go.acquire()
        self.was_unwanted = unwanted()
        return job(progress)


@pytest.fixture
def shop(monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    opened = Shop(monkeypatch)
    yield opened
    opened.end()


def test_nobody_sees_the_drive_of_another() -> None:
    sessions = Sessions(runner=at_hand)
    mine = sessions.start("me", "a drive", NOTHING)
    assert sessions.find("me", mine.id) is mine
    assert sessions.find("you", mine.id) is None
    assert sessions.find("me", None) is None
    sessions.start("you", "another", NOTHING)
    assert sessions.find("you", mine.id) is None
    sessions.close()


def test_drives_and_browsers_kept_are_bounded(brought: Brought) -> None:
    sessions = Sessions()
    works = [work_of(brought) for _ in range(MOST_DRIVES + 1)]
    for work in works:
        sessions.keep("me", work)
    assert sessions.find("me", works[0].id) is None
    assert sessions.find("me", works[-1].id) is works[-1]
    for number in range(MOST_SESSIONS):
        sessions.keep(f"other {number}", Work("a drive"))
    assert sessions.find("me", works[-1].id) is None


def test_a_fault_of_ours_is_told_on_the_page_and_in_the_log(
    caplog: pytest.LogCaptureFixture,
) -> None:
    def broken(job: Job[T], progress: Progress, unwanted: Callable[[], bool]) -> T:
        raise ZeroDivisionError

    sessions = Sessions(runner=broken)
    work = sessions.start("me", "a drive", NOTHING)
    sessions.close()
    assert "fault in roadtest itself" in work.fault
    assert "a check broke off" in caplog.text


def test_drives_are_forgotten_where_memory_or_patience_ends(brought: Brought) -> None:
    now = [0.0]
    works = [work_of(brought) for number in range(3)]
    most = works[0].size_bytes * 5 // 2
    sessions = Sessions(most_bytes=most, kept_s=60.0, clock=lambda: now[0])
    for number, work in enumerate(works):
        sessions.keep(f"browser {number}", work)
    held = [sessions.find(f"browser {n}", work.id) is work for n, work in enumerate(works)]
    assert held == [False, True, True]
    now[0] = 50.0
    assert sessions.find("browser 2", works[2].id) is works[2]
    now[0] = 100.0
    sessions.forget_unused()
    assert sessions.of("browser 1") == [] and sessions.of("browser 2") == [works[2]]


def test_too_many_waiting_drives_are_turned_away_in_words(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = shop.come("first")
    shop.begin_one()
    works = [shop.come(f"browser {n}") for n in range(MOST_WAITING + 1)]
    assert "try again in a minute" in works[-1].fault and works[-1].dropped is None
    assert not any(work.fault for work in (first, *works[:-1]))
    monkeypatch.setattr(bounds, "MOST_BYTES_WAITING", 1000)
    monkeypatch.setattr(bounds, "MOST_WAITING", 99)
    assert "try again in a minute" in shop.come("large").fault


def test_who_waits_is_served_in_turn_and_before_those_who_look_elsewhere(shop: Shop) -> None:
    shop.come("at work")
    shop.begin_one()
    works = {name: shop.come(name) for name in ("silent", "first", "second")}
    shop.now = PRESENT_S + 1.0
    for name in ("second", "first"):
        assert shop.sessions.find(name, works[name].id) is works[name]
    for _ in range(3):
        shop.end_one()
        shop.begin_one()
    shop.end()
    assert shop.order == ["at work", "first", "second", "silent"]


@pytest.mark.parametrize("closed", [True, False])
def test_whose_page_is_gone_leaves_the_line_with_its_files(shop: Shop, closed: bool) -> None:
    shop.come("at work")
    shop.begin_one()
    gone, stays = shop.come("gone"), shop.come("stays")
    if closed:
        shop.sessions.leave("gone", gone.id)
    shop.now = (LEFT_S if closed else GONE_S) - 1.0
    assert shop.sessions.find("stays", stays.id) is stays
    shop.sessions.forget_unused()
    assert shop.sessions.of("gone") == [gone]
    shop.now += 2.0
    shop.sessions.forget_unused()
    assert shop.sessions.of("gone") == [] and shop.sessions.of("stays") == [stays]
    shop.end_one()
    shop.begin_one()
    shop.end()
    assert shop.order == ["at work", "stays"]


def test_a_page_loaded_anew_keeps_its_turn(shop: Shop) -> None:
    shop.come("at work")
    shop.begin_one()
    work = shop.come("loaded anew")
    shop.sessions.leave("loaded anew", work.id)
    shop.now = 2.0
    assert shop.sessions.find("loaded anew", work.id) is work
    shop.now = LEFT_S + 3.0
    shop.sessions.forget_unused()
    assert shop.sessions.of("loaded anew") == [work]


def test_a_check_is_unwanted_once_its_page_is_closed_but_not_for_silence(shop: Shop) -> None:
    work = shop.come("silent")
    shop.begin_one()
    shop.now = 10.0 * GONE_S
    shop.sessions.forget_unused()
    shop.end_one()
    shop.come("next")
    shop.begin_one()
    assert not shop.was_unwanted and shop.sessions.of("silent") == [work]
    later = shop.come("closed")
    shop.end_one()
    shop.begin_one()
    shop.sessions.leave("closed", later.id)
    shop.now += LEFT_S + 1.0
    shop.end()
    assert shop.was_unwanted


def test_many_come_and_go_at_once_and_each_is_checked_once() -> None:
    seen: list[str] = []

    def note(job: Job[T], progress: Progress, unwanted: Callable[[], bool]) -> T:
        result = job(progress)
        seen.append(str(result))
        return result

    sessions = Sessions(runner=note)

    def come(number: int) -> None:
        work = Work(f"{number}")

        def run(runner: Runner) -> None:
            runner(lambda _: work.name, lambda stage, done: None)
            work.fault = "done"

        sessions.begin(f"browser {number % 9}", work, run)

    with ThreadPoolExecutor(8) as people:
        list(people.map(come, range(100)))
    sessions.close()
    assert len(seen) == len(set(seen)) > 0
