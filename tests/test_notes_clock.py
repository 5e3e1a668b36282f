"""The crew's clock against the log's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roadtest.evidence import Evidence
from roadtest.logs.model import ENTERED, Note, Notes
from roadtest.notes_clock import with_right_clock
from tests.measures.speedometer.crew import MPH, read_drive


@pytest.fixture(scope="module")
def evidence() -> Evidence:
    _, _, made = read_drive(2, lambda true: 1.062 * true + 0.13)
    return made


def by_a_clock(evidence: Evidence, behind_s: float) -> Evidence:
    """Return the evidence as a crew would have noted it whose clock is so far behind."""
    assert evidence.notes is not None
    rows = tuple(replace(row, time_s=(row.time_s or 0.0) - behind_s) for row in evidence.notes.rows)
    return replace(evidence, notes=replace(evidence.notes, rows=rows))


def test_a_clock_that_is_right_is_left_alone(evidence: Evidence) -> None:
    for few in (0.0, 3.0, -3.0):
        noted = by_a_clock(evidence, few)
        assert with_right_clock(noted) is noted


@pytest.mark.parametrize("behind_s", [-45.0, 60.0, 180.0])
def test_a_clock_that_is_off_is_put_right_and_told(evidence: Evidence, behind_s: float) -> None:
    true, noted = evidence.notes, by_a_clock(evidence, behind_s)
    found = with_right_clock(noted).notes
    assert true is not None and found is not None
    for row, meant in zip(found.rows, true.rows, strict=True):
        assert row.time_s is not None and meant.time_s is not None
        assert abs(row.time_s - meant.time_s) <= 1.96 * row.u_time_s
    (said,) = found.amiss
    assert "later" in said if behind_s > 0.0 else "earlier" in said
    assert ("GPS time" in said) == (abs(behind_s) == 18.0)


@pytest.mark.parametrize("behind_s", [-9.0, 11.0])
def test_a_clock_that_is_likely_off_is_asked_about_and_nothing_moved(
    evidence: Evidence, behind_s: float
) -> None:
    noted = by_a_clock(evidence, behind_s)
    found = with_right_clock(noted)
    assert found.notes is not None and noted.notes is not None
    (asked,) = found.notes.amiss
    assert "hold the clock" in asked
    assert found.notes.rows == noted.notes.rows


def test_a_clock_off_by_more_than_its_notes_are_good_to_is_put_right(evidence: Evidence) -> None:
    for behind_s in (-14.0, 14.0):
        noted = by_a_clock(evidence, behind_s)
        found = with_right_clock(noted).notes
        assert found is not None and noted.notes is not None
        moved = (found.rows[0].time_s or 0.0) - (noted.notes.rows[0].time_s or 0.0)
        assert abs(moved - behind_s) < 5.0


def test_only_what_the_crew_noted_moves(evidence: Evidence) -> None:
    noted = by_a_clock(evidence, 60.0)
    assert noted.notes is not None
    at_s = noted.notes.rows[0].time_s
    counter = Note(8, "odometer", "utc", at_s, 1e5, "", MPH, "")
    others = (counter, replace(counter, remark=ENTERED), replace(counter, item="left out"))
    found = with_right_clock(
        replace(noted, notes=replace(noted.notes, rows=(*noted.notes.rows, *others)))
    )
    assert found.notes is not None and at_s is not None
    moved, entered, left_out = (row.time_s for row in found.notes.rows[-3:])
    assert moved is not None and moved > at_s + 40.0
    assert entered == left_out == at_s


def test_two_readings_are_too_few_to_move_a_clock(evidence: Evidence) -> None:
    noted = by_a_clock(evidence, 60.0)
    assert noted.notes is not None
    few = replace(noted, notes=Notes("notes.csv", noted.notes.rows[:2]))
    assert with_right_clock(few) is few


def test_very_many_readings_are_weighed_as_few_are(evidence: Evidence) -> None:
    noted = by_a_clock(evidence, 60.0)
    assert noted.notes is not None
    many = replace(noted, notes=replace(noted.notes, rows=noted.notes.rows * 40))
    found, few = with_right_clock(many).notes, with_right_clock(noted).notes
    assert found is not None and few is not None
    moved, before = found.rows[0].time_s, few.rows[0].time_s
    assert moved is not None and before is not None and abs(moved - before) < 5.0
