"""A job in a process of its own: what comes back of it, and how it ends."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import time

import pytest

from dashboard.apart import BrokenOffError, GivenUpError, apart, at_once
from dashboard.work import Brought
from roadtest import edits
from roadtest.check import Checked
from roadtest.edits import Edits
from roadtest.errors import InputError, InputErrors, NoBuildSheetError
from roadtest.progress import Progress
from tests.dashboard.conftest import work_of


def tell_and_give(progress: Progress) -> int:
    progress("half way", 0.5)
    return os.getpid()


def refuse(_progress: Progress) -> None:
    raise InputErrors((InputError("gps.gpx", "line 3", "no time", "a time"),))


def divide(_progress: Progress) -> float:
    return 1.0 / 0.0


def die(_progress: Progress) -> None:
    os._exit(1)


def sleep(_progress: Progress) -> None:
    time.sleep(600.0)


def wanted() -> bool:
    return False


def unwanted() -> bool:
    return True


def quiet(_stage: str, _done: float) -> None:
    """Tell nobody."""


def test_it_runs_in_a_process_of_its_own_that_tells_and_gives() -> None:
    told: list[tuple[str, float]] = []
    process = apart(tell_and_give, lambda stage, done: told.append((stage, done)), wanted)
    assert told == [("half way", 0.5)]
    assert process != os.getpid()
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)  # it is gone, and its memory with it


def test_what_is_refused_is_told_in_the_same_words() -> None:
    with pytest.raises(InputErrors, match=r"gps\.gpx, line 3: no time; expected a time"):
        apart(refuse, quiet, wanted)


def test_a_fault_of_ours_and_a_death_are_told_apart_from_what_is_refused() -> None:
    with pytest.raises(BrokenOffError, match="ZeroDivisionError"):
        apart(divide, quiet, wanted)
    with pytest.raises(BrokenOffError, match="without a word"):
        apart(die, quiet, wanted)


def test_what_nobody_wants_is_ended_at_once() -> None:
    before = len(multiprocessing.active_children())
    with pytest.raises(GivenUpError):
        apart(sleep, quiet, unwanted)
    assert len(multiprocessing.active_children()) == before


def test_there_is_one_a_core_at_least_one() -> None:
    assert 1 <= at_once() <= (os.cpu_count() or 1)


@pytest.mark.parametrize("kind", [InputError, NoBuildSheetError])
def test_a_fault_is_itself_in_another_process(kind: type[InputError]) -> None:
    fault = pickle.loads(pickle.dumps(kind("a", "b", "c", "d")))
    assert type(fault) is kind
    assert (fault.file, fault.place, fault.found, fault.expected) == ("a", "b", "c", "d")


def test_a_drive_from_another_process_is_edited_to_the_same_results(brought: Brought) -> None:
    carried: Brought = pickle.loads(pickle.dumps(brought))
    assert carried.checked.results == brought.checked.results

    def out(checked: Checked, before: Edits) -> Edits:
        row = edits.left_out(checked, "stop-3", "wet")
        return before.put(("left out", "stop-3"), row)

    works = [work_of(brought), work_of(carried)]
    assert all(work.edit(out) for work in works)
    assert works[0].checked.results == works[1].checked.results != brought.checked.results
    assert works[0].drawn == works[1].drawn
