"""A calculation beside another: the same result or fault, in a process of its own or not."""

from __future__ import annotations

import os
import pickle
import threading
from functools import partial

import numpy as np
import pytest

from roadtest import aside
from roadtest.aside import Aside
from roadtest.errors import InputError
from roadtest.measures.gearing import follow_all
from tests.checked_samples import checked_sample


def drawn(seed: int) -> tuple[int, np.ndarray]:
    return os.getpid(), np.random.default_rng(seed).random(100_000)


def fail() -> None:
    raise InputError("a.log", "line 1", "nothing", "something")


@pytest.fixture(params=[False, True], ids=["in turn", "forked"])
def forked(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> bool:
    if request.param and not hasattr(os, "fork"):
        pytest.skip("no fork here")
    monkeypatch.setattr(aside, "_may_fork", lambda: request.param)
    return bool(request.param)


def test_the_result_is_that_of_the_work_wherever_it_is_done(forked: bool) -> None:
    begun = [Aside(partial(drawn, seed)) for seed in (1, 2)]
    for seed, one in zip((1, 2), begun, strict=True):
        process, found = one.result()
        assert (process != os.getpid()) is forked
        np.testing.assert_array_equal(found, drawn(seed)[1])
        assert one.result()[1] is found  # worked out once
        np.testing.assert_array_equal(pickle.loads(pickle.dumps(one)).result()[1], found)


def test_gears_followed_aside_are_the_same_bytes(forked: bool) -> None:
    survey = checked_sample("after-axle-change").survey
    begun = Aside(partial(follow_all, survey.evidence))
    (found,), (before,) = begun.result(), survey.followed.result()
    assert found.fit is not None and before.fit is not None
    assert found.fit.log_turns.tobytes() == before.fit.log_turns.tobytes()
    assert found.turns.log_turns.tobytes() == before.turns.log_turns.tobytes()
    np.testing.assert_array_equal(found.sequence.gear, before.sequence.gear)


def test_a_fault_is_raised_where_the_result_is_asked_for(forked: bool) -> None:
    begun = Aside(fail)
    with pytest.raises(InputError, match="nothing") as raised:
        begun.result()
    assert raised.value.file == "a.log"


def test_a_child_that_is_killed_leaves_the_work_to_this_process(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if not hasattr(os, "fork"):
        pytest.skip("no fork here")
    monkeypatch.setattr(aside, "_may_fork", lambda: True)
    here = os.getpid()
    begun = Aside(lambda: 7 if os.getpid() == here else os._exit(9))
    assert begun.result() == 7


def test_no_copy_is_made_beside_other_threads() -> None:
    done = threading.Event()
    other = threading.Thread(target=done.wait)
    other.start()
    try:
        assert not aside._may_fork()
    finally:
        done.set()
        other.join()
