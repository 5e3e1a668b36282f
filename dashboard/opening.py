"""What changes on the page when a drive, or a comparison, is opened, whichever way it came."""

from __future__ import annotations

from typing import Any, Final

from dash import Output

from dashboard.ids import Ids
from dashboard.work import Work

OPENS: Final[tuple[Any, ...]] = (
    Output(Ids.DRIVE, "data", allow_duplicate=True),
    Output(Ids.TICK, "disabled", allow_duplicate=True),
    Output(Ids.BODY, "children", allow_duplicate=True),
    Output(Ids.WAYS_IN, "open", allow_duplicate=True),
)
"""The outputs of a callback that opens one."""


def opened(work: Work) -> tuple[str, bool, list[Any], bool]:
    """Return what these become: the page waits for it, and what it showed before is gone."""
    return work.id, False, [], False
