"""Memory given back to the machine once drives are forgotten."""

from __future__ import annotations

import ctypes
import gc


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
