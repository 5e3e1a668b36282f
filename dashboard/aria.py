"""Attributes that dash takes but has no types for."""

from __future__ import annotations

from typing import Any


def aria(**said: str) -> dict[str, Any]:
    """Return attributes such as aria-label, for those who hear the page read."""
    return {f"aria-{name}": text for name, text in said.items()}


def data(**said: str) -> dict[str, Any]:
    """Return attributes such as data-chart, for what the browser does by itself."""
    return {f"data-{name}": text for name, text in said.items()}
