"""Names of files and folders on the command line."""

from __future__ import annotations

import argparse
from pathlib import Path

from roadtest.errors import InputError


def given_name(text: str) -> str:
    """Return `text` unless it is empty, as a script's unset variable leaves it: no name at all.

    An empty path would mean the folder one happens to be in. Raises ArgumentTypeError.
    """
    if not text.strip():
        raise argparse.ArgumentTypeError("an empty name; expected that of a file or folder")
    return text


def given_path(text: str) -> Path:
    """Return the path that `text` names; raises ArgumentTypeError where it is empty."""
    return Path(given_name(text))


def need_drive(drive: Path, build: Path | None) -> None:
    """Raise InputError, before any work, where an input isn't there or is of the wrong kind."""
    if not drive.exists():
        raise InputError(str(drive), "", "no such folder", "the folder of one drive")
    if not drive.is_dir():
        raise InputError(str(drive), "", "it is a file", "the folder of one drive")
    if build is not None and not build.exists():
        raise InputError(str(build), "", "no such file", "a build sheet")
    if build is not None and build.is_dir():
        raise InputError(str(build), "", "it is a folder", "a build sheet")
