"""A job in a process of its own: its memory goes with it, and the page stays quick beside it."""

from __future__ import annotations

import os
import signal
import sys
import traceback
from collections.abc import Callable
from functools import partial
from multiprocessing import forkserver, get_context
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext, SpawnContext
from typing import Final, Protocol, TypeVar

from roadtest.errors import RoadtestError
from roadtest.progress import Progress

T = TypeVar("T")
Job = Callable[[Progress], T]

MOST_AT_ONCE: Final = 4
_LOOK_S: Final = 0.25  # between two looks whether anybody still wants it
_LOADED: Final = ["dashboard.work"]


class Runner(Protocol):
    """Does a job, here or elsewhere, and returns what it gives or raises what it raises."""

    def __call__(self, job: Job[T], progress: Progress) -> T:
        """Do `job`, which can be pickled, as can what it gives."""
        ...


class GivenUpError(Exception):
    """A job that nobody wants any more."""


class BrokenOffError(Exception):
    """A job that a fault of ours, or want of memory, brought to an end; the text tells more."""


def here(job: Job[T], progress: Progress) -> T:
    """Do a job in this process."""
    return job(progress)


def apart(job: Job[T], progress: Progress, unwanted: Callable[[], bool]) -> T:
    """Do a job in a process of its own.

    Raises the RoadtestError that it raises, BrokenOffError where it ends by any other fault, and
    GivenUpError as soon as it is `unwanted`: the process is ended then.
    """
    context = _context()
    receiver, sender = context.Pipe(duplex=False)
    process = context.Process(target=_do, args=(sender, job), daemon=True)
    process.start()
    sender.close()
    try:
        while True:
            if unwanted():
                raise GivenUpError
            if not receiver.poll(_LOOK_S):
                continue
            kind, *said = receiver.recv()
            if kind == "progress":
                progress(*said)
            elif kind == "done":
                result: T = said[0]
                return result
            elif kind == "refused":
                raise said[0]
            else:
                raise BrokenOffError(said[0])
    except EOFError:
        raise BrokenOffError("its process ended without a word; for want of memory?") from None
    finally:
        process.kill()
        process.join()
        process.close()
        receiver.close()


def at_once() -> int:
    """Return how many jobs to do at a time: one a core, some at most, for each takes memory."""
    cores = len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1
    return min(MOST_AT_ONCE, cores)


def get_ready() -> None:
    """Load what jobs need, so that the first of them does not wait for it."""
    if isinstance(_context(), ForkServerContext):
        forkserver.ensure_running()


def _context() -> ForkServerContext | SpawnContext:
    """Return how processes begin.

    On Linux as copies of one that has loaded what they need and has no thread but one: within
    0.02 s, where loading it takes 0.9 s. Elsewhere a copy may inherit locks of the system's own
    libraries, so each begins from nothing.
    """
    if sys.platform != "linux":
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(_LOADED)
    return context


def _do(sender: Connection, job: Job[object]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the page, which ends this
    try:
        answer = ("done", job(partial(_tell, sender)))
    except RoadtestError as fault:
        answer = ("refused", fault)
    except Exception:  # noqa: BLE001 - not to go on, but to tell the page
        answer = ("broken", traceback.format_exc())
    sender.send(answer)


def _tell(sender: Connection, stage: str, done: float) -> None:
    sender.send(("progress", stage, done))  # breaks off where the page is gone
