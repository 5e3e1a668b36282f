"""The drives of the folder: what they are called, and what is known of them from earlier checks."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from dashboard.apart import Runner, here
from roadtest.check import check_folder
from roadtest.errors import RoadtestError
from roadtest.progress import Progress
from roadtest.results import Results, from_json
from roadtest.shop.below import drives_below, is_drive
from roadtest.shop.checking import Executors, check_all, cores
from roadtest.shop.index import INDEX, Index
from roadtest.shop.outcome import Outcome, content_key, outcome_of

NOT_CHECKED: Final = "not checked"
_LOOK_AGAIN_S: Final = 2.0  # a folder is not walked for every letter that is typed
_WORDS: Final = {"broken": "can't be used", "fail": "fail", "not proven": "not proven"}


@dataclass(frozen=True)
class Entry:
    """One drive of the folder: its name there and what an earlier check found, if any."""

    name: str
    folder: Path
    known: Outcome | None = None

    @property
    def verdict(self) -> str:
        """Its worst verdict, "broken", or that it was not checked."""
        return NOT_CHECKED if self.known is None else self.known.overall

    @property
    def car(self) -> str:
        """Label and chassis of its car; "" where they are not known."""
        if self.known is None or not self.known.car:
            return ""
        chassis = f" ({self.known.chassis})" if self.known.chassis else ""
        return f"{self.known.car}{chassis}"

    @property
    def date(self) -> str:
        """The day it was driven, "" where that is not known."""
        return "" if self.known is None else self.known.start_utc[:10]

    @property
    def words(self) -> str:
        """Everything that a search looks in."""
        told = _WORDS.get(self.verdict, self.verdict)
        return f"{self.name} {self.car} {self.date} {told}".casefold()


class Shelf:
    """A folder of drives, or one drive's own folder, with the index of what was checked.

    Where the index can't be read or written the drives are there all the same.
    """

    def __init__(self, folder: Path | None, executors: Executors = cores) -> None:
        self._folder = folder
        self._executors = executors
        self._lock = threading.Lock()
        self._seen_at = -_LOOK_AGAIN_S
        self._entries: tuple[Entry, ...] = ()
        self._keys: dict[Path, tuple[object, str]] = {}
        self.checking = ""  # how far a check of all drives has come; "" while there is none

    def entries(self) -> tuple[Entry, ...]:
        """Return the drives there are, those of one car together, the latest first."""
        with self._lock:
            if time.monotonic() - self._seen_at > _LOOK_AGAIN_S:
                self._entries = tuple(self._look())
                self._seen_at = time.monotonic()
            return self._entries

    def find(self, search: str, verdict: str = "") -> list[Entry]:
        """Return the drives in whose name, car, chassis, date or verdict all words occur."""
        words = search.casefold().split()
        return [
            entry
            for entry in self.entries()
            if all(word in entry.words for word in words) and verdict in ("", entry.verdict)
        ]

    def entry(self, name: str) -> Entry | None:
        """Return the drive of that name."""
        return next((one for one in self.entries() if one.name == name), None)

    def has_changed(self, entry: Entry) -> bool:
        """Return whether a drive's files, or roadtest, are not those of its last check."""
        return entry.known is not None and self.key(entry) != entry.known.key

    def all_checked(self, looked_at: Sequence[Entry]) -> bool:
        """Return whether there is nothing left to check, as far as a look at some drives tells.

        To look whether the files of all have changed takes too long with a thousand drives.
        """
        if self._folder is None or is_drive(self._folder):
            return True
        return all(one.known is not None for one in self.entries()) and not any(
            self.has_changed(one) for one in looked_at
        )

    def key(self, entry: Entry) -> str:
        """Return the digest of a drive's files; read again only where one looks different."""
        try:
            looks = sorted(
                (file.name, file.stat().st_size, file.stat().st_mtime_ns)
                for file in entry.folder.iterdir()
                if file.is_file()
            )
            seen = self._keys.get(entry.folder)
            if seen is None or seen[0] != looks:
                seen = (looks, content_key(entry.folder))
                self._keys[entry.folder] = seen
            return seen[1]
        except OSError:
            return ""

    def keep(self, entry: Entry, outcome: Outcome) -> None:
        """Keep what a check of a drive found, where the folder takes it."""
        if self._folder is None or entry.folder == self._folder or not outcome.key:
            return
        try:
            with Index(self._folder) as index:
                index.put(self._place(entry.folder), outcome)
        except (RoadtestError, OSError) as fault:
            logging.getLogger(__name__).warning("not kept in the index: %s", fault)
        self._forget()

    def learn(self, entry: Entry, key: str, results: Results | None, fault: str) -> None:
        """Keep what the page's own check of a drive gave; `key` is that of its files before."""
        if results is not None:
            outcome = outcome_of(results, key)
        else:
            outcome = Outcome(key, "broken", first=(fault.splitlines() or [""])[0])
        if key == self.key(entry):
            self.keep(entry, outcome)

    def results(self, entry: Entry, progress: Progress, runner: Runner = here) -> Results:
        """Return the results of a drive, from the index where its files are as they were.

        Raises InputError where the drive can't be used.
        """
        key = self.key(entry)
        kept = self._kept(entry)
        if kept is not None and kept.results and kept.key == key:
            return from_json(kept.results, entry.name)
        results = runner(partial(check_folder, entry.folder, None), progress)
        self.learn(entry, key, results, "")
        return results

    def check_the_rest(self) -> None:
        """Check every drive that was not checked as it is now, beside what else goes on."""
        with self._lock:
            if self.checking or self._folder is None:
                return
            self.checking = "beginning"
        threading.Thread(target=self._check_all, name="check all", daemon=True).start()

    def _check_all(self) -> None:
        def progress(stage: str, done: float) -> None:
            self.checking = f"{stage}, {100.0 * done:.0f} % of the drives done"
            self._forget()

        try:
            if self._folder is not None:
                check_all(self._folder, self._executors, progress)
        except (RoadtestError, OSError) as fault:
            logging.getLogger(__name__).warning("the check of all drives ended: %s", fault)
        finally:
            self.checking = ""
            self._forget()

    def _forget(self) -> None:
        self._seen_at = -_LOOK_AGAIN_S

    def _look(self) -> Iterable[Entry]:
        if self._folder is None:
            return ()
        if is_drive(self._folder):
            return (Entry(self._folder.resolve().name, self._folder),)
        kept = self._summaries()
        found = [
            Entry(" / ".join(path.relative_to(self._folder).parts), path, kept.get(place))
            for path in drives_below(self._folder)
            for place in (self._place(path),)
        ]
        return _by_car(found)

    def _place(self, drive: Path) -> str:
        return drive.relative_to(self._folder or drive).as_posix()

    def _summaries(self) -> dict[str, Outcome]:
        if self._folder is None or not (self._folder / INDEX).is_file():
            return {}
        try:
            with Index(self._folder) as index:
                return index.summaries()
        except (RoadtestError, OSError) as fault:
            logging.getLogger(__name__).warning("the index can't be read: %s", fault)
            return {}

    def _kept(self, entry: Entry) -> Outcome | None:
        if self._folder is None or not (self._folder / INDEX).is_file():
            return None
        try:
            with Index(self._folder) as index:
                return index.outcome(self._place(entry.folder))
        except (RoadtestError, OSError):
            return None


def _by_car(entries: Sequence[Entry]) -> list[Entry]:
    """Return the drives car by car, the car last driven first; those not checked at the end."""
    latest: dict[str, str] = {}
    for entry in entries:
        latest[entry.car] = max(latest.get(entry.car, ""), entry.date)
    ordered = sorted(entries, key=lambda one: one.name, reverse=True)
    ordered.sort(key=lambda one: one.date, reverse=True)
    ordered.sort(key=lambda one: one.car)
    ordered.sort(key=lambda one: latest[one.car], reverse=True)
    ordered.sort(key=lambda one: not one.car)
    return ordered
