"""Which manoeuvre a row of the notes means."""

from __future__ import annotations

import pytest

from roadtest.by_hand import manoeuvre_meant
from roadtest.logs.model import Note
from roadtest.manoeuvres import Manoeuvre

START_S = 1_777_708_800.0
MADE = (
    Manoeuvre("hold-1", "hold", 10.0, 40.0),
    Manoeuvre("stop-1", "stop", 40.0, 46.0),
    Manoeuvre("hold-2", "hold", 100.0, 130.0),
)


def row(at_s: float | None, named: str, u_s: float = 2.55) -> Note:
    time_s = None if at_s is None else START_S + at_s
    clock = None if at_s is None else "utc"
    return Note(3, "left out", clock, time_s, None, named, None, "why", u_s)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("at_s", "named", "meant"),
    [
        (12.0, "hold-1", "hold-1"),
        (12.0, "hold-2", "hold-1"),  # ids are counted anew: the time says which
        (12.0, "", "hold-1"),
        (41.0, "hold-1", "hold-1"),  # it has ended, but a stop is no hold
        (41.0, "coast-1", None),
        (41.0, "that one", "stop-1"),
        (98.0, "hold-2", "hold-2"),  # noted by hand, a little early
        (48.0, "stop-2", "stop-1"),
        (70.0, "hold-2", None),  # none there, whatever it is called
        (None, "hold-2", "hold-2"),
        (None, "hold-9", None),
    ],
)
def test_a_row_means_what_was_driven_at_its_time(
    at_s: float | None, named: str, meant: str | None
) -> None:
    found = manoeuvre_meant(row(at_s, named), MADE, START_S)
    assert (None if found is None else found.id) == meant
