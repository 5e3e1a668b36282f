"""The drives of every browser: whose they are, which are checked next, how long they are kept."""

from __future__ import annotations

import logging
import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import Final, Protocol, TypeVar

from dashboard.apart import GivenUpError, Job, Runner, apart, at_once
from dashboard.intake import Dropped
from dashboard.memory import give_back
from dashboard.work import Work
from roadtest.progress import Progress

T = TypeVar("T")
Run = Callable[[Runner], None]
"""Brings a drive to its end, its slow part on the runner that is given."""

MOST_DRIVES: Final = 4  # kept for one browser
MOST_SESSIONS: Final = 32  # browsers, the longest unused going first
MOST_BYTES_HELD: Final = 2**30
"""Of memory for all drives kept, about, the longest unused going first. The one used last stays,
whatever its length. Our choice."""
MOST_WAITING: Final = 24  # drives that wait for their check, of all browsers
MOST_BYTES_WAITING: Final = 2**29  # of their files
KEPT_S: Final = 8 * 3600.0  # after somebody last looked: a working day
PRESENT_S: Final = 5.0
"""Who asked within it is served before who did not. A page in sight asks every 0.3 s, one out of
sight every second."""
GONE_S: Final = 90.0
"""Who waits and has not asked for it is gone. Longer than the minute between two questions of a
page that has been out of sight for long (Chromium; from memory)."""
LEFT_S: Final = 10.0  # after a page was closed: one loaded anew asks sooner


class ApartRunner(Protocol):
    """Does a job as `apart` does."""

    def __call__(self, job: Job[T], progress: Progress, unwanted: Callable[[], bool]) -> T:
        """Do `job`; raises GivenUpError once it is `unwanted`."""
        ...


class Sessions:
    """The drives of every browser, by the key in its cookie: nobody sees another's.

    They are kept in memory alone, as long as there is room and somebody looks at them.
    """

    def __init__(
        self,
        most_bytes: int = MOST_BYTES_HELD,
        kept_s: float = KEPT_S,
        clock: Callable[[], float] = time.monotonic,
        runner: ApartRunner = apart,
    ) -> None:
        self._held: OrderedDict[tuple[str, str], _Held] = OrderedDict()  # the longest unused first
        self._line: list[_Held] = []  # those that wait, in the order in which they came
        self._most_bytes, self._kept_s, self._clock = most_bytes, kept_s, clock
        self._runner = runner
        self._fewer = False  # drives than when memory was given back last
        self._lock = threading.Lock()
        self._pool = ThreadPoolExecutor(max_workers=at_once(), thread_name_prefix="check")

    def start(self, key: str, name: str, dropped: Dropped) -> Work:
        """Begin a drive of dropped files for the browser with `key`."""
        work = Work(name, dropped)
        self.begin(key, work, partial(work.run, dropped))
        return work

    def begin(self, key: str, work: Work, run: Run) -> None:
        """Have `run` bring `work` to its end, and keep it for the browser with `key`."""
        self._forget()
        held = _Held(key, work, self._clock(), run)
        with self._lock:
            size = work.size_bytes + sum(one.work.size_bytes for one in self._line)
            full = len(self._line) >= MOST_WAITING or size > MOST_BYTES_WAITING
            if full:
                work.fault = (
                    f"{len(self._line)} drives wait to be checked already; try again in a minute"
                )
                work.dropped = held.run = None
            else:
                self._line.append(held)
            self._held[key, work.id] = held
            self._make_room()
        if not full:
            self._pool.submit(self._next).add_done_callback(_tell_of_our_fault)

    def keep(self, key: str, work: Work) -> None:
        """Keep a drive for the browser with `key`, as long as there is room."""
        with self._lock:
            self._held[key, work.id] = _Held(key, work, self._clock())
            self._make_room()

    def find(self, key: str, work_id: str | None) -> Work | None:
        """Return the drive `work_id` of the browser with `key`, None where that has no such."""
        with self._lock:
            held = self._held.get((key, work_id or ""))
            if held is None:
                return None
            held.used_s, held.left_s = self._clock(), None
            self._held.move_to_end((key, held.work.id))
            return held.work

    def leave(self, key: str, work_id: str) -> None:
        """Note that the page with a drive was closed."""
        with self._lock:
            held = self._held.get((key, work_id))
            if held is not None:
                held.left_s = self._clock()

    def of(self, key: str) -> list[Work]:
        """Return the drives of the browser with `key`, the one used last at the end."""
        with self._lock:
            return [held.work for (whose, _), held in self._held.items() if whose == key]

    def forget_unused(self) -> None:
        """Forget drives that nobody has looked at for long, or that nobody waits for any more.

        To be called every few seconds: it also gives back the memory of drives forgotten since.
        """
        self._forget()
        with self._lock:
            fewer, self._fewer = self._fewer, False
        if fewer:
            give_back()

    def run(self, job: Job[T], progress: Progress) -> T:
        """Do a job at once, apart from all others, and return what it gives."""
        return self._runner(job, progress, lambda: False)

    def close(self) -> None:
        """Take no more drives, and wait for those at work."""
        self._pool.shutdown()

    def _next(self) -> None:
        """Bring the drive to its end whose turn it is: of those that wait, whose page asks."""
        now = self._clock()
        with self._lock:
            line = [one for one in self._line if now - one.used_s <= PRESENT_S] or self._line
            if not line:
                return  # somebody left
            held = line[0]
            self._line.remove(held)
            run, held.run = held.run, None
        if run is not None and not self._unwanted(held):
            unwanted = partial(self._unwanted, held)

            def runner(job: Job[T], progress: Progress) -> T:
                return self._runner(job, progress, unwanted)

            run(runner)
        self._forget()

    def _unwanted(self, held: _Held) -> bool:
        with self._lock:
            return held.left(self._clock()) or held.place not in self._held

    def _forget(self) -> None:
        with self._lock:
            now = self._clock()
            for held in self._line:
                if held.left(now) or now - held.used_s > GONE_S:
                    self._held.pop(held.place, None)
                    self._fewer = True
            self._make_room()

    def _make_room(self) -> None:
        """Forget the longest unused as far as there is no room, and who does not wait any more.

        The lock is held.
        """
        now = self._clock()
        kept: Counter[str] = Counter()
        size = 0
        for (key, work_id), held in reversed(list(self._held.items())):
            more = held.work.size_bytes
            fits = kept[key] < MOST_DRIVES and (key in kept or len(kept) < MOST_SESSIONS)
            fits = fits and (size == 0 or size + more <= self._most_bytes)
            if fits and now - held.used_s <= self._kept_s:
                size += more
                kept[key] += 1
            else:
                del self._held[key, work_id]
                self._fewer = True
        self._line = [held for held in self._line if held.place in self._held]


@dataclass(eq=False)
class _Held:
    """A drive that is kept, when somebody last looked at it, and what brings it to its end."""

    key: str
    work: Work
    used_s: float
    run: Run | None = None  # while it waits
    left_s: float | None = None  # when its page was closed
    place: tuple[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self.place = self.key, self.work.id

    def left(self, now: float) -> bool:
        """Return whether its page was closed, and not loaded anew at once."""
        return self.left_s is not None and now - self.left_s > LEFT_S


def _tell_of_our_fault(future: Future[None]) -> None:
    fault = future.exception()
    if fault is not None and not isinstance(fault, GivenUpError):
        logging.getLogger(__name__).error("a check broke off", exc_info=fault)
