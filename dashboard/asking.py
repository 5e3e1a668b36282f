"""Buttons of which there are many, or which come and go: how the page says which was pressed.

A callback that listens to each such button waits while others are still on their way from the
server, and forgets what made it run once they come: a press at that moment would be lost. So the
browser puts what a button asks for into a store, and callbacks listen to that.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dash import html
from dash.exceptions import PreventUpdate

from dashboard.aria import data


def asking_button(content: Any, store: str, what: Mapping[str, object], **attributes: Any) -> Any:
    """Return a button that asks in a store for something, by pairs of a name and a text."""
    return html.Button(content, **data(asks=store, what=json.dumps(what)), **attributes)


def asked_for(said: Any) -> Mapping[str, str]:
    """Return what a store says was asked for. Nothing happens where nothing was."""
    what = said.get("what") if isinstance(said, dict) else None
    if not isinstance(what, dict):
        raise PreventUpdate
    return {str(name): str(text) for name, text in what.items()}
