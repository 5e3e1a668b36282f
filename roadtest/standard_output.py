"""What goes to standard output, and what kind of place that is."""

from __future__ import annotations

import os
import shutil
import sys
from typing import Final

_WIDEST: Final = 100  # columns; longer lines are hard to read


def console() -> tuple[int, str, bool]:
    """Return the columns and the encoding of standard output, and whether it shows colours."""
    out = sys.stdout
    on_terminal = out is not None and out.isatty()
    encoding = getattr(out, "encoding", None) or "ascii"
    colour = on_terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    width = min(shutil.get_terminal_size().columns, _WIDEST) if on_terminal else 80
    return width, encoding, colour


def terminal_width() -> int | None:
    """Return the columns of the terminal that standard output is, None where it is none."""
    on_terminal = sys.stdout is not None and sys.stdout.isatty()
    return shutil.get_terminal_size().columns if on_terminal else None


def put_out(text: str, encoding: str) -> None:
    """Write `text` to standard output, all of it; raises OutputError or BrokenPipeError."""
    from roadtest.output import OutputError

    if sys.stdout is None:
        raise OutputError("standard output", "it is closed")
    try:
        sys.stdout.flush()  # bytes, because JSON is UTF-8 whatever the terminal speaks
        sys.stdout.buffer.write(text.encode(encoding))
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        raise
    except OSError as fault:
        let_go_of_stdout()
        raise OutputError("standard output", (fault.strerror or str(fault)).lower()) from None


def let_go_of_stdout() -> None:
    """Point standard output nowhere, so that the interpreter's own last flush can't fail again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
