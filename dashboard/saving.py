"""Saving into a drive's folder: its notes, and nothing else."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path
from typing import Final

from roadtest.edits import NOTES_NAME, as_stored
from roadtest.errors import InputError
from roadtest.logs.source import Source
from roadtest.output import OutputError, write_all

_HEADER: Final = b"time,item,value,unit,remark\n"  # where everything entered was taken back
_ONE_AT_A_TIME: Final = threading.Lock()  # so that nobody writes between our look and our writing


class NotesInFolder:
    """The notes.csv of a drive folder: written whole, never over what somebody else wrote."""

    def __init__(self, folder: Path, file: Source | None) -> None:
        """Take the folder, and the file of notes as it was read, if there was one."""
        self._path = folder / (NOTES_NAME if file is None else file.name)
        self._digest = "" if file is None else file.sha256

    def write(self, content: bytes) -> str:
        """Write `content`, expanded; return the file's name.

        Raises InputError where the file is not as it was read or written last, OutputError where it
        can't be written.
        """
        name = self._path.name
        stored = as_stored(name, content or _HEADER)
        with _ONE_AT_A_TIME:
            if self._path.is_symlink():
                raise InputError(name, "", "it is a link", "a file in the drive's own folder")
            if self._found() != self._digest:
                raise InputError(
                    name,
                    "",
                    "it was changed on disk since it was read here, so it was left alone",
                    "the drive opened anew, or the notes downloaded and the two put together",
                )
            write_all({self._path: stored})
            self._digest = hashlib.sha256(stored).hexdigest()
        return name

    def _found(self) -> str:
        """Return the digest of what is on disk, "" where there is nothing or nothing in it."""
        try:
            data = self._path.read_bytes()
        except FileNotFoundError:
            return ""
        except OSError as fault:
            raise OutputError(self._path.name, (fault.strerror or str(fault)).lower()) from None
        return hashlib.sha256(data).hexdigest() if data.strip(b"\0 \t\r\n") else ""
