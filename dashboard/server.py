"""What the page rests on, as a callback asks for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dash.exceptions import PreventUpdate

from dashboard.guard import browser_key, is_new_browser
from dashboard.sessions import Sessions
from dashboard.shelf import Shelf
from dashboard.work import Work

_GONE: Final = (
    "The server does not hold this drive any more: it was started anew, had to make room for "
    "others, or nobody seemed to wait for its check. Drop the files again, or pick the drive from "
    "the folder. What was saved is in its folder; what was not saved has to be entered again."
)
_NO_COOKIE: Final = (
    "This browser keeps no cookies for this page. The page needs one, to tell your drives from "
    "those of others. Allow cookies for this address and load the page again."
)


class GoneError(Exception):
    """A drive that the server does not hold any more; the text says what to do."""


@dataclass(frozen=True)
class Server:
    """What the page rests on: the drives of each browser, and those of the folder."""

    sessions: Sessions
    shelf: Shelf

    def work(self, work_id: str | None) -> Work:
        """Return a drive of the browser that asks.

        Nothing happens where none is asked for. Raises GoneError where it is not held any more.
        """
        if not work_id:
            raise PreventUpdate
        work = self.sessions.find(browser_key(), work_id)
        if work is None:
            raise GoneError(_NO_COOKIE if is_new_browser() else _GONE)
        return work

    def ready(self, work_id: str | None) -> Work:
        """Return such a drive once there are results of it."""
        work = self.work(work_id)
        if not work.ended or work.fault:
            raise PreventUpdate
        return work
