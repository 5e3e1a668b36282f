"""Which of many buttons was clicked."""

from __future__ import annotations

from typing import Any

from dash import ctx


def clicked() -> dict[str, Any] | None:
    """Return the id of the button that was clicked, None where none was.

    Buttons that come up are reported like clicked ones, with no click yet, and together with one
    that is clicked at that moment: the first of those reported need not be the one.
    """
    names = ctx.triggered_prop_ids
    for told in ctx.triggered:
        name = names.get(told["prop_id"])
        if isinstance(name, dict) and told["value"]:
            return dict(name)
    return None
