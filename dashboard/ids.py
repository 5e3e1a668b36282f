"""Names of everything on the page that a callback speaks to."""

from __future__ import annotations

from typing import Final

Id = dict[str, object]


class Ids:
    """The page's ids; those of things there are several of are functions."""

    UPLOAD: Final = "upload"
    DROPPED: Final = "dropped"
    ASKED_DRIVE: Final = "asked-drive"  # what buttons ask for: a drive, more of them, an edit
    ASKED_MORE: Final = "asked-more"
    ASKED_COMPARISON: Final = "asked-comparison"
    ASKED_EDIT: Final = "asked-edit"
    SEARCH: Final = "search"
    WAYS_IN: Final = "ways-in"
    HELD: Final = "also-open"  # the browser's other drives
    DRIVES: Final = "drives"
    KIND: Final = "kind"  # which verdict to show drives of
    TICKED: Final = "ticked"  # drives to compare
    COMPARE_BAR: Final = "compare-bar"
    CHECK_ALL: Final = "check-all"
    CHECK_TICK: Final = "check-tick"
    CHECKING: Final = "checking"
    DRIVE: Final = "drive-at-hand"
    TICK: Final = "tick"
    TELL: Final = "tell"
    READY: Final = "ready"
    SCHEME: Final = "scheme"  # of the screen: dark or light, mouse or finger
    BODY: Final = "body"
    QUALITY: Final = "quality"
    FINDINGS: Final = "findings"
    TYPED: Final = "typed"
    TYPED_SAID: Final = "typed-said"
    VIEW: Final = "view"  # the evidence at hand, as the browser tells of it
    EDITS: Final = "edits"
    HISTORY: Final = "history"  # of edits: undo, redo, save
    OUT_WHICH: Final = "out-which"
    OUT_WHY: Final = "out-why"
    MOVE_WHICH: Final = "move-which"
    MOVE_TO: Final = "move-to"
    MOVE_WHY: Final = "move-why"
    ODOMETER: Final = "odometer-shown"
    ODOMETER_WHEN: Final = "odometer-when"
    LOOKED_AT: Final = "looked-at"
    OUTCOME: Final = "outcome"
    SHEET: Final = "sheet-made"
    SHEET_SAID: Final = "sheet-said"
    EVIDENCE: Final = "evidence"

    @staticmethod
    def tick(row: object) -> Id:
        """The box that marks a drive of the folder for comparing."""
        return {"type": "tick", "row": row}

    @staticmethod
    def reading(hold: object) -> Id:
        """The field of a dial reading beside a hold."""
        return {"type": "reading", "hold": hold}

    @staticmethod
    def sheet(key: object) -> Id:
        """A field of the least build sheet."""
        return {"type": "sheet", "key": key}

    @staticmethod
    def error(hold: object) -> Id:
        """What the dial is off by in a hold."""
        return {"type": "error", "hold": hold}

    @staticmethod
    def pane(subject: object) -> Id:
        """The place of the charts of one subject."""
        return {"type": "pane", "subject": subject}

    @staticmethod
    def want(subject: object) -> Id:
        """How the browser wants the charts of one subject."""
        return {"type": "want", "subject": subject}

    @staticmethod
    def graph(chart: object) -> Id:
        """A chart on the screen."""
        return {"type": "graph", "chart": chart}
