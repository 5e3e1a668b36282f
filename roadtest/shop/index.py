"""The index of a folder of drives: a SQLite file that can be rebuilt from the drives at any time.

Each drive is written in a transaction of its own, so a run that is stopped leaves what it had done,
and two runs at once only do the same work twice.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import astuple, fields
from pathlib import Path
from types import TracebackType
from typing import Final

from roadtest.errors import InputError
from roadtest.output import OutputError
from roadtest.shop.outcome import Outcome

INDEX: Final = "roadtest-index.sqlite"
_APPLICATION: Final = 0x526F6164  # tells our files from other people's
_FORM: Final = 1  # of the table; an index of another form is built anew
_WAIT_S: Final = 60.0  # for another run to finish its writing

_COLUMNS: Final = tuple(item.name for item in fields(Outcome))
_CREATE: Final = (
    "CREATE TABLE IF NOT EXISTS drives (drive TEXT PRIMARY KEY, "
    + ", ".join(f"{name} NOT NULL" for name in _COLUMNS)
    + ") WITHOUT ROWID"
)
_NAMES: Final = ", ".join(_COLUMNS)
_PUT: Final = (
    f"INSERT OR REPLACE INTO drives (drive, {_NAMES}) VALUES (?, {', '.join('?' * len(_COLUMNS))})"
)


class Index:
    """The index in a folder, as a context. Drives are named by their path below the folder.

    Raises InputError where the file is not an index, OutputError where it can't be written.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / INDEX

    def __enter__(self) -> Index:
        try:
            self._open()
        except sqlite3.Error as fault:
            raise self._complaint(fault) from None
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._base.close()
        if isinstance(fault, sqlite3.Error):
            raise self._complaint(fault) from None

    def outcomes(self) -> dict[str, Outcome]:
        """Return what is kept, by drive."""
        rows = self._base.execute(f"SELECT drive, {_NAMES} FROM drives ORDER BY drive")
        return {drive: Outcome(*values) for drive, *values in rows}

    def summaries(self) -> dict[str, Outcome]:
        """Return what is kept but for the results files, which are most of it, by drive."""
        names = _NAMES.replace("results", "''")
        rows = self._base.execute(f"SELECT drive, {names} FROM drives ORDER BY drive")
        return {drive: Outcome(*values) for drive, *values in rows}

    def outcome(self, drive: str) -> Outcome | None:
        """Return what is kept of one drive, None where nothing is."""
        asked = f"SELECT {_NAMES} FROM drives WHERE drive = ?"
        row = self._base.execute(asked, (drive,)).fetchone()
        return None if row is None else Outcome(*row)

    def put(self, drive: str, outcome: Outcome) -> None:
        """Keep the outcome of a drive, on disk when this returns."""
        with self._base:
            self._base.execute(_PUT, (drive, *astuple(outcome)))

    def drop(self, drives: Iterable[str]) -> None:
        """Forget drives that are no longer there."""
        with self._base:
            self._base.executemany("DELETE FROM drives WHERE drive = ?", [(one,) for one in drives])

    def _open(self) -> None:
        self._base = sqlite3.connect(self._path, timeout=_WAIT_S)
        self._base.execute("PRAGMA journal_mode = WAL")  # where the file system can't, it stays off
        self._base.execute("PRAGMA synchronous = FULL")
        with self._base:
            self._base.execute("BEGIN IMMEDIATE")
            whose = self._base.execute("PRAGMA application_id").fetchone()[0]
            form = self._base.execute("PRAGMA user_version").fetchone()[0]
            tables = self._base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
            if tables and whose != _APPLICATION:
                found = "a database, but not an index of drives"
                raise InputError(str(self._path), "", found, "it moved out of the way")
            if form != _FORM:
                self._base.execute("DROP TABLE IF EXISTS drives")
                self._base.execute(f"PRAGMA application_id = {_APPLICATION}")
                self._base.execute(f"PRAGMA user_version = {_FORM}")
            self._base.execute(_CREATE)

    def _complaint(self, fault: sqlite3.Error) -> InputError | OutputError:
        if isinstance(fault, sqlite3.OperationalError):
            return OutputError(str(self._path), str(fault))
        expected = "it deleted; check on the folder builds it anew"
        return InputError(str(self._path), "", f"a damaged index ({fault})", expected)
