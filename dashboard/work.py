"""One drive at work on the server, and who may see it."""

from __future__ import annotations

import logging
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final

from roadtest.charts.all_charts import all_charts
from roadtest.charts.model import Chart
from roadtest.check import Checked, conclude_with_traces, survey
from roadtest.drive import Drive
from roadtest.errors import RoadtestError
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.pdf import to_pdf
from roadtest.results import to_json
from roadtest.typed import with_typed_readings

MOST_DRIVES: Final = 4  # kept for one browser
MOST_SESSIONS: Final = 32  # browsers, the longest unused going first; both bound the memory
_OUR_FAULT: Final = "This is a fault in roadtest itself; the server's log tells more."


class Work:
    """A drive from its files to its findings, with what was typed in since.

    The slow part runs on another thread; `stage`, `done`, `fault` and `checked` tell of it.
    """

    def __init__(self, name: str) -> None:
        self.id = secrets.token_urlsafe(12)
        self.name = name
        self.stage = "waiting for another drive"
        self.done = 0.0
        self.fault = ""
        self.typed: dict[str, str] = {}
        self.version = 0  # goes up with each change of what is shown
        self._plain: Checked | None = None  # as the files have it
        self._checked: Checked | None = None
        self._charts: tuple[Chart, ...] = ()
        self._lock = threading.Lock()

    @property
    def ended(self) -> bool:
        """Whether there is something to show: results, or a fault."""
        return bool(self.fault) or self._checked is not None

    @property
    def checked(self) -> Checked:
        """The drive with what was typed in. Only once it has ended without a fault."""
        if self._checked is None:
            raise LookupError(self.fault or "not ended yet")
        return self._checked

    @property
    def charts(self) -> tuple[Chart, ...]:
        """All charts of it."""
        return self._charts

    def run(self, read: Callable[[], Drive]) -> None:
        """Read and check the drive. A fault of the input is kept in words, one line each."""
        try:
            self._progress("reading", 0.0)
            checked = conclude_with_traces(survey(read(), self._progress), self._progress)
            self._plain = checked
            self._show(checked)
        except RoadtestError as fault:
            self.fault = str(fault)
        except BaseException:
            self.fault = _OUR_FAULT  # before it goes on to the log, so that nobody waits for ever
            raise

    def type_in(self, typed: Mapping[str, str]) -> None:
        """Show the drive with dial readings `typed`, text by hold; raises InputError."""
        with self._lock:
            if self._plain is None or dict(typed) == self.typed:
                return
            self._show(with_typed_readings(self._plain, typed))
            self.typed = dict(typed)

    def report(self, kind: str) -> bytes:
        """Return the report as ".pdf" or ".html", or the results as ".json"."""
        checked, charts = self.checked, self._charts
        if kind == ".json":
            return to_json(checked.results).encode()
        sheet, units = checked.survey.drive.sheet, checked.results.units
        document = compose(checked.results, sheet, charts, units)
        return to_pdf(document) if kind == ".pdf" else to_html(document).encode()

    def _progress(self, stage: str, done: float) -> None:
        self.stage, self.done = stage, done

    def _show(self, checked: Checked) -> None:
        self._charts = all_charts(checked)
        self._checked = checked
        self.version += 1


class Sessions:
    """The drives of every browser, by the key in its cookie: nobody sees another's."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, OrderedDict[str, Work]] = OrderedDict()
        self._lock = threading.Lock()
        # One at a time: a check uses all that a small machine has.
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="check")

    def start(self, key: str, name: str, read: Callable[[], Drive]) -> Work:
        """Begin a drive for the browser with `key`."""
        work = Work(name)
        self.keep(key, work)
        self._pool.submit(work.run, read).add_done_callback(_tell_of_our_fault)
        return work

    def keep(self, key: str, work: Work) -> None:
        """Keep a drive for the browser with `key`, as long as there is room."""
        with self._lock:
            mine = self._held.setdefault(key, OrderedDict())
            mine[work.id] = work
            while len(mine) > MOST_DRIVES:
                mine.popitem(last=False)
            self._held.move_to_end(key)
            while len(self._held) > MOST_SESSIONS:
                self._held.popitem(last=False)

    def find(self, key: str, work_id: str | None) -> Work | None:
        """Return the drive `work_id` of the browser with `key`, None where that has no such."""
        with self._lock:
            mine = self._held.get(key)
            if mine is None or work_id is None:
                return None
            self._held.move_to_end(key)
            return mine.get(work_id)

    def close(self) -> None:
        """Take no more drives, and wait for those at work."""
        self._pool.shutdown()


def _tell_of_our_fault(future: Future[None]) -> None:
    fault = future.exception()
    if fault is not None:
        logging.getLogger(__name__).error("a check broke off", exc_info=fault)
