"""A calculation beside what the process does meanwhile, on another core where there is one.

In a forked copy of the process: two threads of numpy on arrays of this size mostly wait for each
other (measured: no gain). The result is the same bytes either way.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Generic, TypeVar, cast

from roadtest.errors import RoadtestError

T = TypeVar("T")


class Aside(Generic[T]):
    """What a calculation gives. It is begun at once; where that is of no use, when it is asked for.

    Result and fault go through pickle, and so may this; it is waited for then.
    """

    def __init__(self, work: Callable[[], T]) -> None:
        """Begin `work`."""
        self._work: Callable[[], T] | None = work
        self._child = _begun(work) if _may_fork() else None
        self._result: list[T] = []

    def result(self) -> T:
        """Return what the calculation gives, or raise what it raised."""
        if self._work is not None:
            self._result = [self._work() if self._child is None else _told(self._work, self._child)]
            self._work = self._child = None
        return self._result[0]

    def __getstate__(self) -> dict[str, object]:
        """Return what is left when it is done."""
        return {"_work": None, "_child": None, "_result": [self.result()]}


def _may_fork() -> bool:
    """Return whether a copy is safe (no other thread holds a lock), and a core is free for it.

    The workers of a folder's check and of the page have other drives beside them.
    """
    import multiprocessing  # not needed to tell how a command is used

    if sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2:
        return False
    try:
        threads = len(list(Path("/proc/self/task").iterdir()))
    except OSError:
        return False
    return threads == 1 and multiprocessing.parent_process() is None


def _begun(work: Callable[[], object]) -> tuple[int, int]:
    """Fork a child that does `work`; return it and the end of the pipe to read from."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _work_and_end(work, writing)
    os.close(writing)
    return child, reading


def _work_and_end(work: Callable[[], object], writing: int) -> None:
    """Tell the result and end, without what a process does at its end: that is for the first.

    Of a fault of ours nothing is told.
    """
    try:
        try:
            told = pickle.dumps((work(), None), protocol=5)
        except RoadtestError as fault:
            told = pickle.dumps((None, fault), protocol=5)
        with os.fdopen(writing, "wb") as pipe:
            pipe.write(told)
    finally:
        os._exit(0)


def _told(work: Callable[[], T], child: tuple[int, int]) -> T:
    """Return what the child tells. Where it failed or was killed, it is for this process to do."""
    pid, reading = child
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read()
    os.waitpid(pid, 0)
    if not told:
        return work()
    found, fault = pickle.loads(told)
    if fault is not None:
        raise fault
    return cast(T, found)
