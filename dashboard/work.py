"""One drive at work on the server, and who may see it."""

from __future__ import annotations

import logging
import secrets
import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

from dashboard.intake import Files, SheetWantedError, Taken
from dashboard.memory import give_back
from dashboard.saving import NotesInFolder
from roadtest.charts.all_charts import all_charts
from roadtest.charts.model import Chart, same_drawing
from roadtest.check import Checked, conclude_with_traces, survey
from roadtest.edits import Edits, Key, edited_notes, standing, with_edits
from roadtest.errors import InputError, RoadtestError
from roadtest.logs.notes_file import NewRow
from roadtest.logs.source import Source
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.pdf import to_pdf
from roadtest.results import to_json

MOST_DRIVES: Final = 4  # kept for one browser
MOST_SESSIONS: Final = 32  # browsers, the longest unused going first
MOST_BYTES_HELD: Final = 2**30
"""Of memory for all drives kept, about, the longest unused going first. The one used last stays,
whatever its length. Our choice."""
_BYTES_A_ROW: Final = 2500  # of a log, measured (tests/benchmarks/several_people.py), rounded up
MOST_WAITING: Final = 24  # drives that wait for their check, of all browsers; their files are held
KEPT_S: Final = 8 * 3600.0  # after somebody last looked: a working day
MOST_UNDONE: Final = 50  # edits that can be undone
OUR_FAULT: Final = "This is a fault in roadtest itself; the server's log tells more."

Change = Callable[[Checked, Edits], Edits]
"""What somebody does: from the drive as it is and the edits so far to the edits then. May raise
InputError or InputErrors, and then nothing was done."""


@dataclass(frozen=True)
class _State:
    """A drive as it is shown."""

    edits: Edits
    checked: Checked
    charts: tuple[Chart, ...]
    drawn: Mapping[str, int]  # of each subject: in which version its charts last changed


class Work:
    """A drive from its files to its findings, with what was entered by hand since.

    The slow part runs on another thread; `stage`, `done`, `fault` and `checked` tell of it.
    """

    def __init__(self, name: str) -> None:
        self.id = secrets.token_urlsafe(12)
        self.name = name
        self.stage = "waiting for another drive"
        self.done = 0.0
        self.fault = ""
        self.without_sheet: Files = ()  # files that lack nothing but a build sheet
        self.version = 0  # goes up with each change of what is shown
        self._taken: Taken | None = None
        self._files: Checked | None = None  # as the files have it
        self._state: _State | None = None
        self._before: list[Edits] = []
        self._undone: list[Edits] = []
        self._saved = b""  # the content of notes.csv as it was read, or saved last
        self._rows_saved: dict[Key, NewRow] = {}
        self._saved_as = ""
        self._folder: NotesInFolder | None = None
        self._lock = threading.Lock()

    @property
    def ended(self) -> bool:
        """Whether there is something to show: results, or a fault."""
        return bool(self.fault) or self._state is not None

    @property
    def checked(self) -> Checked:
        """The drive with what was entered. Only once it has ended without a fault."""
        return self._now().checked

    @property
    def charts(self) -> tuple[Chart, ...]:
        """All charts of it."""
        return () if self._state is None else self._state.charts

    @property
    def drawn(self) -> Mapping[str, int]:
        """Of each subject of its charts, the version in which one of them last changed."""
        return {} if self._state is None else self._state.drawn

    @property
    def size_bytes(self) -> int:
        """How much memory it takes, about."""
        waiting = sum(len(file.data) for file in self.without_sheet if isinstance(file, Source))
        logs = () if self._files is None else self._files.results.logs
        return waiting + _BYTES_A_ROW * sum(log.fixes_read for log in logs)

    @property
    def rows(self) -> dict[Key, NewRow]:
        """What holds of all that was ever entered on a page: what the files have, what is new."""
        return standing(self._from_files(), self._now().edits)

    @property
    def can_undo(self) -> bool:
        """Whether there is something to undo."""
        return bool(self._before)

    @property
    def can_redo(self) -> bool:
        """Whether something was undone last."""
        return bool(self._undone)

    @property
    def can_save(self) -> bool:
        """Whether the drive has a folder to save into; else its notes can be downloaded."""
        return self._folder is not None

    @property
    def unsaved(self) -> bool:
        """Whether the notes are not those that were read or saved last."""
        return self.notes() != self._saved

    @property
    def saved_as(self) -> str:
        """The file that the notes were saved in, "" before."""
        return self._saved_as

    @property
    def entered(self) -> int:
        """How many rows were entered and are in no file yet, as read or saved last."""
        return sum(1 for key, row in self.rows.items() if self._rows_saved.get(key) != row)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was noticed when the files came in."""
        return () if self._taken is None else self._taken.remarks

    @property
    def sheet_text(self) -> str:
        """The build sheet, where it was made on the page."""
        return "" if self._taken is None else self._taken.sheet_text

    def run(self, take: Callable[[], Taken]) -> None:
        """Take in and check the drive. A fault of the input is kept in words, one line each."""
        try:
            self._progress("reading", 0.0)
            taken = take()
            surveyed = survey(taken.drive, self._progress)
            self.begin(taken, conclude_with_traces(surveyed, self._progress))
        except SheetWantedError as fault:
            self.without_sheet = fault.files
            self.fault = str(fault)
        except RoadtestError as fault:
            self.fault = str(fault)
        except BaseException:
            self.fault = OUR_FAULT  # before it goes on to the log, so that nobody waits for ever
            raise

    def begin(self, taken: Taken, checked: Checked) -> None:
        """Show a drive that was taken in and checked."""
        file = taken.drive.notes_file
        self._taken, self._files = taken, checked
        self._saved = b"" if file is None else file.data
        self._rows_saved = standing(checked, Edits())
        if taken.folder is not None:
            self._folder = NotesInFolder(taken.folder, file)
        self.version += 1
        charts = all_charts(checked)
        drawn = {chart.subject: self.version for chart in charts}
        self._state = _State(Edits(), checked, charts, drawn)

    def edit(self, change: Change) -> bool:
        """Show the drive after `change`; return whether that made a difference."""
        with self._lock:
            now = self._now()
            edits = change(now.checked, now.edits)
            if standing(self._from_files(), edits) == self.rows:
                return False
            self._show(edits)
            self._before = [*self._before, now.edits][-MOST_UNDONE:]
            self._undone = []
            return True

    def undo(self) -> bool:
        """Take the last edit back; return whether there was one."""
        with self._lock:
            return self._step(self._before, self._undone)

    def redo(self) -> bool:
        """Do again what was undone last; return whether there was something."""
        with self._lock:
            return self._step(self._undone, self._before)

    def notes(self) -> bytes:
        """Return the notes.csv with what was entered."""
        return edited_notes(self._from_files(), self._now().edits)

    def save(self) -> str:
        """Write the notes into the drive's folder; return the file's name.

        Raises InputError where it was changed meanwhile, OutputError where it can't be written.
        """
        with self._lock:
            if self._folder is None:
                raise InputError(self.name, "", "it has no folder here", "a drive of the folder")
            content = self.notes()
            name = self._folder.write(content)
            self._saved, self._rows_saved, self._saved_as = content, self.rows, name
            return name

    def report(self, kind: str) -> bytes:
        """Return the report as ".pdf" or ".html", or the results as ".json"."""
        checked, charts = self.checked, self.charts
        if kind == ".json":
            return to_json(checked.results).encode()
        sheet, units = checked.survey.drive.sheet, checked.results.units
        logo = None if self._taken is None else self._taken.logo
        document = compose(checked.results, sheet, charts, units, logo)
        return to_pdf(document) if kind == ".pdf" else to_html(document).encode()

    def _now(self) -> _State:
        if self._state is None:
            raise LookupError(self.fault or "not ended yet")
        return self._state

    def _from_files(self) -> Checked:
        if self._files is None:
            raise LookupError(self.fault or "not ended yet")
        return self._files

    def _step(self, source: list[Edits], sink: list[Edits]) -> bool:
        if not source:
            return False
        now = self._now().edits
        self._show(source[-1])
        sink.append(now)
        source.pop()
        return True

    def _progress(self, stage: str, done: float) -> None:
        self.stage, self.done = stage, done

    def _show(self, edits: Edits) -> None:
        now = self._now()
        checked = with_edits(self._from_files(), edits, now.checked)
        charts = all_charts(checked)
        self.version += 1
        before = _by_subject(now.charts)
        drawn = {
            subject: now.drawn[subject] if _same(before.get(subject, []), those) else self.version
            for subject, those in _by_subject(charts).items()
        }
        self._state = _State(edits, checked, charts, drawn)


class Sessions:
    """The drives of every browser, by the key in its cookie: nobody sees another's.

    They are kept in memory alone, as long as there is room and somebody looks at them.
    """

    def __init__(
        self,
        most_bytes: int = MOST_BYTES_HELD,
        kept_s: float = KEPT_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._held: OrderedDict[tuple[str, str], _Held] = OrderedDict()  # the longest unused first
        self._most_bytes, self._kept_s, self._clock = most_bytes, kept_s, clock
        self._waiting = 0
        self._lock = threading.Lock()
        # One at a time: a check uses all that a small machine has.
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="check")

    def start(self, key: str, name: str, take: Callable[[], Taken]) -> Work:
        """Begin a drive for the browser with `key`."""
        work = Work(name)
        self.begin(key, work, lambda: work.run(take))
        return work

    def begin(self, key: str, work: Work, run: Callable[[], None]) -> None:
        """Have `run` bring `work` to its end, and keep it for the browser with `key`."""
        with self._lock:
            full = self._waiting >= MOST_WAITING
            self._waiting += not full
        if full:
            work.fault = f"{MOST_WAITING} drives wait to be checked already; try again in a minute"
        self.keep(key, work)
        if not full:
            self._pool.submit(self._run, key, work, run).add_done_callback(_tell_of_our_fault)

    def keep(self, key: str, work: Work) -> None:
        """Keep a drive for the browser with `key`, as long as there is room."""
        with self._lock:
            self._held[key, work.id] = _Held(work, self._clock())
        self._make_room()

    def find(self, key: str, work_id: str | None) -> Work | None:
        """Return the drive `work_id` of the browser with `key`, None where that has no such."""
        with self._lock:
            held = self._held.get((key, work_id or ""))
            if held is None:
                return None
            held.used_s = self._clock()
            self._held.move_to_end((key, held.work.id))
            return held.work

    def of(self, key: str) -> list[Work]:
        """Return the drives of the browser with `key`, the one used last at the end."""
        with self._lock:
            return [held.work for (whose, _), held in self._held.items() if whose == key]

    def forget_unused(self) -> None:
        """Forget drives that nobody has looked at for long."""
        self._make_room()

    def close(self) -> None:
        """Take no more drives, and wait for those at work."""
        self._pool.shutdown()

    def _run(self, key: str, work: Work, run: Callable[[], None]) -> None:
        with self._lock:
            self._waiting -= 1
            wanted = (key, work.id) in self._held  # it may have waited for longer than it is kept
        if wanted:
            run()
            self._make_room()

    def _make_room(self) -> None:
        with self._lock:
            before = len(self._held)
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
            fewer = len(self._held) < before
        if fewer:
            give_back()


@dataclass
class _Held:
    """A drive that is kept, and when somebody last looked at it."""

    work: Work
    used_s: float


def _same(some: Sequence[Chart], others: Sequence[Chart]) -> bool:
    return len(some) == len(others) and all(map(same_drawing, some, others))


def _by_subject(charts: Iterable[Chart]) -> dict[str, list[Chart]]:
    found: dict[str, list[Chart]] = {}
    for chart in charts:
        found.setdefault(chart.subject, []).append(chart)
    return found


def _tell_of_our_fault(future: Future[None]) -> None:
    fault = future.exception()
    if fault is not None:
        logging.getLogger(__name__).error("a check broke off", exc_info=fault)
