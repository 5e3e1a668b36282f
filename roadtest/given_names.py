"""Names of files and folders on the command line."""

from __future__ import annotations

import argparse
from pathlib import Path


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
