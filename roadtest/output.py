"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from roadtest.errors import RoadtestError


class OutputError(RoadtestError):
    """Something that can't be written; one line."""

    def __init__(self, name: str, why: str) -> None:
        text = f"{name}: can't be written: {why}"
        super().__init__("".join(c if c.isprintable() else " " for c in text))


def where(path: Path) -> Path:
    """Return the place that `path` leads to, as `Path.resolve`; a ring of links leads to itself."""
    return Path(os.path.realpath(path))


def write_all(texts: Mapping[Path, str | bytes]) -> None:
    """Write each text (as UTF-8) or bytes to its path, all or none where the system lets us.

    Each is first written beside its target, and takes its place only once all are on disk. What is
    there and is no regular file (a pipe, a device) is written to directly. Raises OutputError;
    then no half-written file is left.
    """
    staged: dict[Path, Path] = {}
    try:
        for path, text in texts.items():
            _stage(path, text, staged)
        for part, target in list(staged.items()):
            with _named(target):
                part.replace(target)
            del staged[part]
    finally:
        for part in staged:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def _stage(path: Path, text: str | bytes, staged: dict[Path, Path]) -> None:
    """Write `text` to a new file beside `path`, noted in `staged` before it exists."""
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    with _named(path):
        target = where(path)  # a link stays a link to the new content
        if target.is_dir():
            raise IsADirectoryError(0, "it is a folder")
        if target.exists() and not target.is_file():
            target.write_bytes(data)
            return
        if target.exists() and not os.access(target, os.W_OK):
            raise PermissionError(0, "it is write-protected")
        part = target.with_name(f".{target.name[:100]}.{os.getpid()}.part")
        staged[part] = target
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())


@contextlib.contextmanager
def _named(path: Path) -> Iterator[None]:
    """Turn what the system says of a failed write into an OutputError that names `path`."""
    try:
        yield
    except OSError as fault:
        raise OutputError(str(path), (fault.strerror or str(fault)).lower()) from None


def make_folder(path: Path) -> None:
    """Make the folder `path` unless it is there; raises OutputError."""
    with _named(path):
        path.mkdir(exist_ok=True)
