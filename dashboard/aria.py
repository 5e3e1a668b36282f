"""Names of things for those who hear the page read."""

from __future__ import annotations

from typing import Any


def aria(**said: str) -> dict[str, Any]:
    """Return attributes such as aria-label, which dash takes but has no types for."""
    return {f"aria-{name}": text for name, text in said.items()}
