"""One drive at work on the server, and who may see it."""

from __future__ import annotations

import logging
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

from dashboard.intake import Files, SheetWantedError, Taken
from dashboard.saving import NotesInFolder
from roadtest.charts.all_charts import all_charts
from roadtest.charts.model import Chart
from roadtest.check import Checked, conclude_with_traces, survey
from roadtest.edits import Edits, Key, edited_notes, standing, with_edits
from roadtest.errors import InputError, RoadtestError
from roadtest.logs.notes_file import NewRow
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.pdf import to_pdf
from roadtest.results import to_json

MOST_DRIVES: Final = 4  # kept for one browser
MOST_SESSIONS: Final = 32  # browsers, the longest unused going first; both bound the memory
MOST_UNDONE: Final = 50  # edits that can be undone
_OUR_FAULT: Final = "This is a fault in roadtest itself; the server's log tells more."

Change = Callable[[Checked, Edits], Edits]
"""What somebody does: from the drive as it is and the edits so far to the edits then. May raise
InputError or InputErrors, and then nothing was done."""


@dataclass(frozen=True)
class _State:
    """A drive as it is shown."""

    edits: Edits
    checked: Checked
    charts: tuple[Chart, ...]


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
        self._before: list[_State] = []
        self._undone: list[_State] = []
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
            self.fault = _OUR_FAULT  # before it goes on to the log, so that nobody waits for ever
            raise

    def begin(self, taken: Taken, checked: Checked) -> None:
        """Show a drive that was taken in and checked."""
        file = taken.drive.notes_file
        self._taken, self._files = taken, checked
        self._saved = b"" if file is None else file.data
        self._rows_saved = standing(checked, Edits())
        if taken.folder is not None:
            self._folder = NotesInFolder(taken.folder, file)
        self._show(_State(Edits(), checked, all_charts(checked)))

    def edit(self, change: Change) -> bool:
        """Show the drive after `change`; return whether that made a difference."""
        with self._lock:
            now = self._now()
            edits = change(now.checked, now.edits)
            if standing(self._from_files(), edits) == self.rows:
                return False
            checked = with_edits(self._from_files(), edits, now.checked)
            self._before = [*self._before, now][-MOST_UNDONE:]
            self._undone = []
            self._show(_State(edits, checked, all_charts(checked)))
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

    def _step(self, source: list[_State], sink: list[_State]) -> bool:
        if not source:
            return False
        sink.append(self._now())
        self._show(source.pop())
        return True

    def _progress(self, stage: str, done: float) -> None:
        self.stage, self.done = stage, done

    def _show(self, state: _State) -> None:
        self._state = state
        self.version += 1


class Sessions:
    """The drives of every browser, by the key in its cookie: nobody sees another's."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, OrderedDict[str, Work]] = OrderedDict()
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
        self.keep(key, work)
        self._pool.submit(run).add_done_callback(_tell_of_our_fault)

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
