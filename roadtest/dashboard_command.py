"""`roadtest dashboard`: the page, served from this machine."""

from __future__ import annotations

import argparse
import importlib
import importlib.util
from pathlib import Path
from typing import Final

from roadtest.errors import InputError, RoadtestError
from roadtest.given_names import given_path

_PORT: Final = 8050
_LARGEST_PORT: Final = 65535


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `roadtest dashboard`."""
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        type=given_path,
        nargs="?",
        help="a folder of drive folders to pick from; without it files are dropped on the page",
    )
    parser.add_argument(
        "--port", metavar="N", type=int, default=_PORT, help=f"by default {_PORT}; 0 for any"
    )
    parser.add_argument(
        "--host",
        metavar="H",
        default="127.0.0.1",
        help="the address to serve on; by default this machine only",
    )


def need(arguments: argparse.Namespace) -> None:
    """Raise RoadtestError where the page can't be served as asked for."""
    folder: Path | None = arguments.folder
    if folder is not None and not folder.is_dir():
        found = "it is a file" if folder.exists() else "no such folder"
        raise InputError(str(folder), "", found, "a folder of drives")
    if not 0 <= arguments.port <= _LARGEST_PORT:
        raise InputError("--port", "", str(arguments.port), f"a number from 0 to {_LARGEST_PORT}")
    missing = [name for name in ("dash", "plotly") if importlib.util.find_spec(name) is None]
    if missing:
        raise RoadtestError(
            f"the page needs {' and '.join(missing)}; in the folder that roadtest was installed "
            "from: pip install '.[page]'"
        )


def serve(arguments: argparse.Namespace) -> None:
    """Serve the page until Ctrl-C. Raises RoadtestError or OSError."""
    # By name: `roadtest` works without the page and what it needs.
    module = importlib.import_module("dashboard.serving")
    module.serve(arguments.folder, arguments.host, arguments.port)
