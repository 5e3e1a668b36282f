"""Which drives lie below a folder. Light: the command line asks before it loads anything."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from roadtest.errors import InputError

_SHEETS: Final = ("build.toml", "build.toml.gz")
_LOGS: Final = (".gpx", ".nmea", ".nma")  # names that say so; others would have to be read


def is_drive(folder: Path) -> bool:
    """Tell whether a folder is a drive of its own: whether a build sheet lies in it."""
    try:
        return any(name.lower() in _SHEETS for name in os.listdir(folder))  # noqa: PTH208
    except OSError:
        return False


def drives_below(folder: Path) -> list[Path]:
    """Return the drive folders below `folder`, in order; () where it is a drive itself.

    Links and hidden folders are not followed, and nothing is looked for inside a drive.
    """
    if is_drive(folder):
        return []
    found: list[Path] = []
    for root, folders, _ in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        inside = [name for name in folders if is_drive(Path(root, name))]
        found.extend(Path(root, name) for name in inside if not Path(root, name).is_symlink())
        folders[:] = [name for name in folders if name not in inside]
    return sorted(found)


def need_one_drive(folder: Path, build: Path | None = None) -> None:
    """Raise InputError where a folder holds drives and is none itself; with a sheet any is one."""
    below = drives_below(folder) if build is None and folder.is_dir() else []
    if below:
        example = f"one of them, such as {below[0]}"
        raise InputError(str(folder), "", "it holds drives and is none itself", example)


def without_sheet(folder: Path) -> list[Path]:
    """Return the folders below `folder` that hold a GPS log by its name, but no build sheet.

    Links, hidden folders and drives are passed by, as `drives_below` does.
    """
    found: list[Path] = []
    for root, folders, files in os.walk(folder):
        here = Path(root)
        folders[:] = [n for n in folders if not n.startswith(".") and not is_drive(here / n)]
        if here != folder and any(n.lower().removesuffix(".gz").endswith(_LOGS) for n in files):
            found.append(here)
    return sorted(found)
