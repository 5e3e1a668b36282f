"""What the page rests on, as a callback asks for it."""

from __future__ import annotations

from dataclasses import dataclass

from dash.exceptions import PreventUpdate

from dashboard.guard import browser_key
from dashboard.shelf import Shelf
from dashboard.work import Sessions, Work


@dataclass(frozen=True)
class Server:
    """What the page rests on: the drives of each browser, and those of the folder."""

    sessions: Sessions
    shelf: Shelf

    def work(self, work_id: str | None) -> Work:
        """Return a drive of the browser that asks; nothing happens where it has no such."""
        work = self.sessions.find(browser_key(), work_id)
        if work is None:
            raise PreventUpdate
        return work

    def ready(self, work_id: str | None) -> Work:
        """Return such a drive once there are results of it."""
        work = self.work(work_id)
        if not work.ended or work.fault:
            raise PreventUpdate
        return work
