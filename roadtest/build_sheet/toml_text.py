"""Values as TOML text, on one line."""

from __future__ import annotations

import json
import re
from typing import Any, Final

_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def value_text(value: Any) -> str:
    """Return a value as TOML writes it: a string, number, list, or a table in line."""
    if isinstance(value, dict):
        inside = ", ".join(f"{key_text(key)} = {value_text(one)}" for key, one in value.items())
        return f"{{{inside}}}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(value_text, value))}]"
    if isinstance(value, str):
        return _quoted(value)
    return json.dumps(value) if isinstance(value, bool) else str(value)


def key_text(name: str) -> str:
    """Return a key, in quotes where it is not a bare one."""
    return name if _BARE.fullmatch(name) else _quoted(name)


def _quoted(text: str) -> str:
    """Return a basic string: as JSON has it, but for the one letter that TOML escapes beside."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
