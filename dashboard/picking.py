"""What happens when somebody searches the folder, picks a drive or ticks some for comparing."""

from __future__ import annotations

from functools import partial
from typing import Any

from dash import ALL, Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.apart import Runner
from dashboard.asking import asked_for
from dashboard.comparing import Compared, chosen
from dashboard.folder_view import MOST_COMPARED, compare_bar, drive_list, nothing_to_check
from dashboard.guard import browser_key
from dashboard.ids import Ids
from dashboard.intake import InFolder
from dashboard.opening import OPENS, opened
from dashboard.server import Server
from dashboard.shelf import Entry
from dashboard.work import Work


def connect_folder(app: Dash, server: Server) -> None:
    """Connect the list of the folder's drives with what it shows."""
    _searching(app, server)
    _comparing(app, server)
    _checking_all(app, server)


def begin_picked(server: Server, name: str) -> Work:
    """Begin the drive of that name in the folder; what comes of it is kept in the index."""
    (entry,) = chosen(server.shelf, [name])
    work = Work(name)
    server.sessions.begin(browser_key(), work, partial(_check, server, entry, work))
    return work


def _check(server: Server, entry: Entry, work: Work, runner: Runner) -> None:
    key = server.shelf.key(entry)
    work.run(InFolder(entry.folder), runner)
    server.shelf.learn(entry, key, None if work.fault else work.checked.results, work.fault)


def _searching(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.DRIVES, "children"),
        Output(Ids.CHECK_ALL, "hidden"),
        Input(Ids.SEARCH, "value"),
        Input(Ids.KIND, "value"),
        State(Ids.TICKED, "data"),
        prevent_initial_call=True,
    )
    def _search(text: str | None, kind: str | None, ticked: list[str] | None) -> Any:
        found = server.shelf.find(text or "", kind or "")
        shown = drive_list(server.shelf, found, 1, ticked or [])
        return shown, nothing_to_check(server.shelf, found)

    @app.callback(
        Output(Ids.DRIVES, "children", allow_duplicate=True),
        Input(Ids.ASKED_MORE, "data"),
        State(Ids.SEARCH, "value"),
        State(Ids.KIND, "value"),
        State(Ids.TICKED, "data"),
        prevent_initial_call=True,
    )
    def _more(pressed: Any, text: str | None, kind: str | None, ticked: list[str] | None) -> Any:
        pages = int(asked_for(pressed)["pages"]) + 1
        found = server.shelf.find(text or "", kind or "")
        return drive_list(server.shelf, found, pages, ticked or [])

    @app.callback(
        Output(Ids.TICKED, "data"),
        Output(Ids.COMPARE_BAR, "children"),
        Input(Ids.tick(ALL), "value"),
        State(Ids.tick(ALL), "id"),
        State(Ids.TICKED, "data"),
        prevent_initial_call=True,
    )
    def _tick(values: list[list[str]], ids: list[Any], ticked: list[str] | None) -> Any:
        """Take up what is ticked among the drives shown; those not shown stay as they are."""
        shown = {str(name["row"]): bool(value) for name, value in zip(ids, values, strict=True)}
        now = [name for name in ticked or [] if shown.get(name, True)]
        now += [name for name, on in shown.items() if on and name not in now]
        if now == ticked:
            raise PreventUpdate
        return now, compare_bar(now)


def _comparing(app: Dash, server: Server) -> None:
    @app.callback(
        *OPENS,
        Input(Ids.ASKED_COMPARISON, "data"),
        State(Ids.TICKED, "data"),
        prevent_initial_call=True,
    )
    def _compare(_pressed: Any, ticked: list[str] | None) -> Any:
        if not ticked or not 2 <= len(ticked) <= MOST_COMPARED:
            raise PreventUpdate
        work = Compared(ticked)
        entries = chosen(server.shelf, ticked)
        run = partial(work.compare, server.shelf, entries)
        server.sessions.begin(browser_key(), work, run)
        return opened(work)


def _checking_all(app: Dash, server: Server) -> None:
    @app.callback(
        Output(Ids.CHECK_TICK, "disabled"),
        Output(Ids.CHECK_ALL, "hidden", allow_duplicate=True),
        Input(Ids.CHECK_ALL, "n_clicks"),
        prevent_initial_call=True,
    )
    def _begin(_clicks: int) -> Any:
        server.shelf.check_the_rest()
        return False, True

    @app.callback(
        Output(Ids.CHECKING, "children"),
        Output(Ids.CHECK_TICK, "disabled", allow_duplicate=True),
        Output(Ids.DRIVES, "children", allow_duplicate=True),
        Output(Ids.CHECK_ALL, "hidden", allow_duplicate=True),
        Input(Ids.CHECK_TICK, "n_intervals"),
        State(Ids.SEARCH, "value"),
        State(Ids.KIND, "value"),
        State(Ids.TICKED, "data"),
        prevent_initial_call=True,
    )
    def _progress(_n: int, text: str | None, kind: str | None, ticked: list[str] | None) -> Any:
        said = server.shelf.checking
        found = server.shelf.find(text or "", kind or "")
        rows = (
            no_update if said == "beginning" else drive_list(server.shelf, found, 1, ticked or [])
        )
        return said or "All checked.", not said, rows, nothing_to_check(server.shelf, found)
