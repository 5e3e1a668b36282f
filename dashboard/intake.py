"""Files that come in: from a browser, or from a folder of drives."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

from roadtest.drive import Drive, drive_from, read_drive
from roadtest.errors import InputError, NoBuildSheetError
from roadtest.logs.source import Source, kind_of, source_of
from roadtest.report.logo import logo_from, read_logo
from roadtest.report.model import Logo
from roadtest.results import GPS_KINDS, FileInfo

MOST_FILES: Final = 24
"""Dropped at once: a drive has a handful of files, a log in parts some more. Our choice."""
MOST_BYTES: Final = 64 * 2**20
"""Of all files dropped at once: the NMEA of about two hours at 25 Hz. Browsers carry more badly."""
MOST_EXPANDED_BYTES: Final = 256 * 2**20
MOST_REQUEST_BYTES: Final = MOST_BYTES * 4 // 3 + 2**20  # files come in base64

_NAME_LENGTH: Final = 120


Files = tuple[Source | FileInfo, ...]


@dataclass(frozen=True)
class Taken:
    """A drive that came in, and what belongs to it beside."""

    drive: Drive
    folder: Path | None = None  # where its notes may be saved; None for dropped files
    logo: Logo | None = None
    remarks: tuple[str, ...] = ()
    sheet_text: str = ""  # of a build sheet that was made on the page


class SheetWantedError(InputError):
    """Files that lack nothing but a build sheet."""


@dataclass(frozen=True)
class Dropped:
    """Files as they were dropped, not looked into yet; called, the drive that they make.

    A name only says what kind of file it is; it is never a path.
    """

    files: tuple[tuple[str, bytes], ...]  # names and contents
    sheet_text: str = ""  # of a build sheet that was made on the page

    @property
    def size_bytes(self) -> int:
        """How much memory they take."""
        return sum(len(data) for _, data in self.files)

    def __call__(self) -> Taken:
        """Return the drive; raises InputError or InputErrors where they are no drive."""
        return taken_from(_expanded(self.files), self.sheet_text)


@dataclass(frozen=True)
class InFolder:
    """A folder with a drive in it; called, that drive."""

    folder: Path

    def __call__(self) -> Taken:
        """Return the drive; may raise InputError."""
        find_logo = partial(read_logo, folder=self.folder)
        return _with_logo(Taken(read_drive(self.folder), self.folder), find_logo)


def taken_from(files: Files, sheet_text: str = "") -> Taken:
    """Return the drive that files make, `sheet_text` their build sheet where there is one.

    Raises InputError or InputErrors where they are no drive.
    """
    given = source_of("build.toml", sheet_text.encode("utf-8", "replace")) if sheet_text else None
    try:
        drive = drive_from("dropped files", (*((given,) if given else ()), *files))
    except NoBuildSheetError as fault:
        if any(isinstance(f, Source) and kind_of(f)[0] in GPS_KINDS for f in files):
            raise SheetWantedError(fault.file, fault.place, fault.found, fault.expected) from None
        raise
    return _with_logo(Taken(drive, sheet_text=sheet_text), lambda name: _dropped_logo(name, files))


def _dropped_logo(name: str | None, files: Files) -> Logo | None:
    if name is None:
        return None
    data = next((f.data for f in files if isinstance(f, Source) and f.name == name), None)
    if data is None:
        raise InputError("build.toml", "shop.logo", f"{name} was not dropped", "the picture too")
    return logo_from(name, data)


def _with_logo(taken: Taken, find: Callable[[str | None], Logo | None]) -> Taken:
    """Return what was taken in with its shop's logo, or with why the report goes without."""
    try:
        return replace(taken, logo=find(taken.drive.sheet.shop.logo))
    except InputError as fault:
        return replace(taken, remarks=(f"The report goes without a logo. {fault}",))


def files_dropped(contents: Sequence[str], names: Sequence[str]) -> Dropped:
    """Return dropped files; `contents` are data URLs.

    Raises InputError where they are too many or too large, or arrived damaged.
    """
    if len(contents) > MOST_FILES:
        found = f"{len(contents)} files at once"
        raise InputError("what was dropped", "", found, f"at most {MOST_FILES}")
    files = []
    size = 0
    for content, name in zip(contents, names, strict=True):
        plain = plain_name(name)
        data = _decoded(content, plain)
        size += len(data)
        if size > MOST_BYTES:
            raise _too_large("", MOST_BYTES)
        files.append((plain, data))
    return Dropped(tuple(files))


def _expanded(files: Iterable[tuple[str, bytes]]) -> Files:
    found: list[Source | FileInfo] = []
    size = 0
    for name, data in files:
        try:
            file: Source | FileInfo = source_of(name, data)
        except InputError as fault:
            file = FileInfo(name, "", "ignored", fault.found, len(data))
        size += len(file.data) if isinstance(file, Source) else 0
        if size > MOST_EXPANDED_BYTES:
            raise _too_large(" when expanded", MOST_EXPANDED_BYTES)
        found.append(file)
    return tuple(found)


def plain_name(name: str) -> str:
    """Return the last part of a file's name, printable, of a bearable length."""
    last = name.replace("\\", "/").rstrip("/").rpartition("/")[2]
    return "".join(c if c.isprintable() else " " for c in last)[-_NAME_LENGTH:] or "unnamed"


def _decoded(content: str, name: str) -> bytes:
    head, comma, body = content.partition(",")
    try:
        if not comma or not head.startswith("data:"):
            raise ValueError
        return base64.b64decode(body, validate=True)
    except (ValueError, binascii.Error):
        raise InputError(name, "", "it arrived damaged", "a file dropped on the page") from None


def _too_large(how: str, most: int) -> InputError:
    found = f"more than {most // 2**20} MiB{how}"
    expected = f"at most {most // 2**20} MiB at once; `roadtest check` takes more"
    return InputError("what was dropped", "", found, expected)
