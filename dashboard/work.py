"""One drive at work on the server."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Final

from dashboard.apart import GivenUpError, Runner, here
from dashboard.intake import Dropped, SheetWantedError, Taken
from dashboard.saving import NotesInFolder
from roadtest.charts.all_charts import all_charts
from roadtest.charts.model import Chart, same_drawing
from roadtest.check import Checked, conclude_with_traces, survey
from roadtest.edits import Edits, Key, edited_notes, standing, with_edits
from roadtest.errors import InputError, RoadtestError
from roadtest.logs.notes_file import NewRow
from roadtest.progress import Progress
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.model import Document
from roadtest.report.pdf import to_pdf
from roadtest.results import to_json

_BYTES_A_ROW: Final = 2500  # of a log, measured (tests/benchmarks/several_people.py), rounded up
MOST_UNDONE: Final = 50  # edits that can be undone
OUR_FAULT: Final = "This is a fault in roadtest itself; the server's log tells more."
GIVEN_UP: Final = "This drive was given up, for nobody seemed to wait for it any more."

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


@dataclass(frozen=True)
class Brought:
    """A drive that was taken in and checked."""

    taken: Taken
    checked: Checked
    charts: tuple[Chart, ...]


def bring_in(take: Callable[[], Taken], progress: Progress) -> Brought:
    """Take in and check a drive: the slow part. Raises RoadtestError where it can't be used."""
    progress("reading", 0.0)
    taken = take()
    checked = conclude_with_traces(survey(taken.drive, progress), progress)
    return Brought(taken, checked, all_charts(checked))


def as_file(document: Document, kind: str, runner: Runner) -> bytes:
    """Return a document as ".html", or as ".pdf", which `runner` makes."""
    if kind == ".html":
        return to_html(document).encode()
    return runner(partial(_as_pdf, document), lambda stage, done: None)


def _as_pdf(document: Document, _progress: Progress) -> bytes:
    return to_pdf(document)


class Work:
    """A drive from its files to its findings, with what was entered by hand since.

    The slow part runs elsewhere; `stage`, `done`, `fault` and `checked` tell of it.
    """

    def __init__(self, name: str, dropped: Dropped | None = None) -> None:
        self.id = secrets.token_urlsafe(12)
        self.name = name
        self.stage = "waiting for its turn"
        self.done = 0.0
        self.fault = ""
        self.wants_sheet = False  # its files lack nothing else
        self.dropped = dropped  # its files, until there is something to show
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
        waiting = 0 if self.dropped is None else self.dropped.size_bytes
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

    def run(self, take: Callable[[], Taken], runner: Runner = here) -> None:
        """Take in and check the drive. A fault of the input is kept in words, one line each.

        Raises GivenUpError where it was given up, and what a fault of ours raises.
        """
        self._progress("reading", 0.0)
        with self.ending():
            try:
                self.begin(runner(partial(bring_in, take), self._progress))
            except SheetWantedError as fault:
                self.wants_sheet = self.dropped is not None
                self.fault = str(fault)

    @contextmanager
    def ending(self) -> Iterator[None]:
        """Keep in words what ends it before its end, so that nobody waits for ever.

        What is no fault of the input is raised on.
        """
        try:
            yield
        except RoadtestError as fault:
            self.fault = str(fault)
        except GivenUpError:
            self.fault = GIVEN_UP
            raise
        except BaseException:
            self.fault = OUR_FAULT  # before it goes on to the log
            raise
        finally:
            if not self.wants_sheet:
                self.dropped = None

    def begin(self, brought: Brought) -> None:
        """Show a drive that was taken in and checked."""
        taken, checked = brought.taken, brought.checked
        file = taken.drive.notes_file
        self._taken, self._files = taken, checked
        self._saved = b"" if file is None else file.data
        self._rows_saved = standing(checked, Edits())
        if taken.folder is not None:
            self._folder = NotesInFolder(taken.folder, file)
        self.version += 1
        drawn = {chart.subject: self.version for chart in brought.charts}
        self._state = _State(Edits(), checked, brought.charts, drawn)

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

    def report(self, kind: str, runner: Runner = here) -> bytes:
        """Return the report as ".pdf" or ".html", or the results as ".json"."""
        checked, charts = self.checked, self.charts
        if kind == ".json":
            return to_json(checked.results).encode()
        sheet, units = checked.survey.drive.sheet, checked.results.units
        logo = None if self._taken is None else self._taken.logo
        document = compose(checked.results, sheet, charts, units, logo)
        return as_file(document, kind, runner)

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


def _same(some: Sequence[Chart], others: Sequence[Chart]) -> bool:
    return len(some) == len(others) and all(map(same_drawing, some, others))


def _by_subject(charts: Iterable[Chart]) -> dict[str, list[Chart]]:
    found: dict[str, list[Chart]] = {}
    for chart in charts:
        found.setdefault(chart.subject, []).append(chart)
    return found
