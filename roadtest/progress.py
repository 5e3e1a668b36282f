"""A bar on the terminal that says how far a long check has come."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable
from typing import Final, TextIO

from roadtest.terminal import clean, display_width, fit

Progress = Callable[[str, float], None]
"""Told the name of the stage at hand, and the fraction of the whole that is done (0 to 1)."""

_BAR: Final = 20
_QUIET_S: Final = 1.0  # what is done sooner needs no bar
_PAUSE_S: Final = 0.1  # between two drawings


class ProgressBar:
    """Draws on `stream` when that is a terminal and the work takes over a second.

    Use it as a context; it leaves the line empty.
    """

    def __init__(self, stream: TextIO | None, now: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream if stream is not None and _can_draw(stream) else None
        self._now = now
        self._next = now() + _QUIET_S
        self._drawn = 0

    def __enter__(self) -> Progress:
        return self._show

    def __exit__(self, *_: object) -> None:
        if self._stream is not None and self._drawn:
            self._stream.write("\r" + " " * self._drawn + "\r")
            self._stream.flush()

    def _show(self, stage: str, fraction: float) -> None:
        moment = self._now()
        if self._stream is None or moment < self._next:
            return
        self._next = moment + _PAUSE_S
        done = min(max(fraction, 0.0), 1.0)
        full = round(done * _BAR)
        bar = f"[{'#' * full}{'.' * (_BAR - full)}] {100 * done:3.0f} % "
        line = bar + fit(clean(stage), self._stream.encoding or "ascii")
        while display_width(line) >= _columns(self._stream) and line:
            line = line[:-1]
        width = display_width(line)
        self._stream.write("\r" + line + " " * max(0, self._drawn - width))
        self._stream.flush()
        self._drawn = max(width, self._drawn)


def _columns(stream: TextIO) -> int:
    """Return the width of the terminal that `stream` writes to; standard output may be another."""
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        columns = 0
    return columns or shutil.get_terminal_size().columns


def _can_draw(stream: TextIO) -> bool:
    return stream.isatty() and os.environ.get("TERM") != "dumb"
