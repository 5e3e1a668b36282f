"""Every time of a drive on one clock."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.clock import Stretch, channels_in_utc, notes_in_utc, outside, tach_in_utc, utc_text
from roadtest.logs.model import ChannelsLog, Clock, Note, Notes, TachLog

MIDNIGHT = 1_777_680_000.0  # 2026-05-02T00:00:00Z
HOUR = 3600.0


def note(time_s: float | None, clock: str | None = "face", line: int = 2) -> Note:
    return Note(line, "odometer", clock, time_s, 1.0, "1", 0.1, "")  # type: ignore[arg-type]


def in_utc(times: list[float], drive: Stretch, offset_s: float = 0.0) -> Notes:
    rows = tuple(note(time_s, line=2 + k) for k, time_s in enumerate(times))
    return notes_in_utc(Notes("notes.csv", rows), drive, offset_s)


def tach(clock: Clock) -> TachLog:
    return TachLog("tach.csv", clock, np.array([10.0, 20.0]), np.array([900.0, 910.0]), 2)


@pytest.mark.parametrize(
    ("unix_s", "text"),
    [
        (MIDNIGHT, "2026-05-02T00:00:00Z"),
        (MIDNIGHT + 1.2, "2026-05-02T00:00:01.200Z"),
        (MIDNIGHT + 0.000125, "2026-05-02T00:00:00.000125Z"),
        (MIDNIGHT + 0.9999999, "2026-05-02T00:00:01Z"),
    ],
)
def test_a_moment_is_written_no_finer_than_it_needs(unix_s: float, text: str) -> None:
    assert utc_text(unix_s) == text


def test_wall_clock_time_loses_its_offset_and_other_clocks_stay() -> None:
    local = tach_in_utc(tach("local"), HOUR)
    assert (local.clock, list(local.time_s)) == ("utc", [10.0 - HOUR, 20.0 - HOUR])
    for clock in ("utc", "elapsed"):
        assert list(tach_in_utc(tach(clock), HOUR).time_s) == [10.0, 20.0]


def test_channels_on_wall_clock_time_too() -> None:
    log = ChannelsLog("channels.csv", "local", np.array([HOUR]), (), 1)
    assert channels_in_utc(log, HOUR).time_s[0] == 0.0


def test_a_clock_face_is_of_the_local_date_of_the_drive() -> None:
    # 23:30 UTC on 1 May is 00:30 on 2 May where clocks are an hour ahead.
    drive = Stretch(MIDNIGHT - 0.5 * HOUR, MIDNIGHT + 0.5 * HOUR)
    (row,) = in_utc([0.75 * HOUR], drive, HOUR).rows
    assert (row.clock, row.time_s) == ("utc", MIDNIGHT - 0.25 * HOUR)


def test_clock_faces_run_on_past_midnight() -> None:
    drive = Stretch(MIDNIGHT + 23.9 * HOUR, MIDNIGHT + 24.2 * HOUR)
    rows = in_utc([23.85 * HOUR, 23.95 * HOUR, 0.1 * HOUR], drive).rows
    assert [row.time_s for row in rows] == pytest.approx(
        [MIDNIGHT + h * HOUR for h in (23.85, 23.95, 24.1)]
    )


def test_a_note_before_a_drive_that_starts_after_midnight_is_of_the_evening_before() -> None:
    drive = Stretch(MIDNIGHT + 0.05 * HOUR, MIDNIGHT + HOUR)
    (row,) = in_utc([23.95 * HOUR], drive).rows
    assert row.time_s == pytest.approx(MIDNIGHT - 0.05 * HOUR)


def test_notes_without_a_time_stay_without() -> None:
    notes = notes_in_utc(Notes("n", (note(None, None),)), Stretch(0.0, 1.0), HOUR)
    assert notes.rows == (note(None, None),)
    assert (notes.remarks, notes.amiss) == ((), ())


def test_notes_that_all_fit_an_hour_later_ask_for_the_offset() -> None:
    drive = Stretch(MIDNIGHT + 8.0 * HOUR, MIDNIGHT + 8.3 * HOUR)
    notes = in_utc([9.05 * HOUR, 9.2 * HOUR], drive)
    assert notes.amiss == (
        "2 of 2 times lie outside the drive, first on line 2; "
        '1 h earlier all would fit: is utc_offset right? That would be "+01:00"',
    )


def test_a_12_hour_clock_and_a_wrong_date_are_told_from_a_wrong_zone() -> None:
    drive = Stretch(MIDNIGHT + 14.0 * HOUR, MIDNIGHT + 14.3 * HOUR)
    (said,) = in_utc([2.05 * HOUR, 2.2 * HOUR], drive).amiss
    assert "12 h on or back all would fit: were they written by a 12-hour clock?" in said
    dated = tuple(note(MIDNIGHT + (38.1 + k) * HOUR, "local") for k in (0.0, 0.1))
    (said,) = notes_in_utc(Notes("notes.csv", dated), drive, 0.0).amiss
    assert "24 h earlier all would fit: is the date right?" in said
    zoned = tuple(note(MIDNIGHT + (15.1 + k) * HOUR, "utc") for k in (0.0, 0.1))
    (said,) = notes_in_utc(Notes("notes.csv", zoned), drive, 0.0).amiss
    assert said.endswith("1 h earlier all would fit: is their zone right?")


def channels(start_s: float, clock: Clock = "utc") -> ChannelsLog:
    return ChannelsLog("channels.csv", clock, start_s + np.array([0.0, 600.0]), (), 2)


def test_channels_logged_at_another_time_are_told_from_those_that_run_on() -> None:
    drive = Stretch(MIDNIGHT + 8.0 * HOUR, MIDNIGHT + 8.3 * HOUR)
    assert outside(channels(drive.start_s - 300.0), drive, 0.0) == ""
    assert outside(channels(0.0, "elapsed"), drive, 0.0) == ""
    hour = outside(channels(drive.start_s + HOUR), drive, 0.0)
    assert hour == (
        "its rows, 2026-05-02T09:00:00Z to 2026-05-02T09:10:00Z, all lie outside the drive; "
        '1 h earlier they would fit: is utc_offset right? That would be "+01:00"'
    )
    assert outside(channels(drive.start_s + HOUR), drive, None).endswith("is their zone right?")
    other = outside(channels(drive.start_s - 72.0 * HOUR), drive, 0.0)
    assert other.endswith("outside the drive, 2026-05-02T08:00:00Z to 2026-05-02T08:18:00Z")


def test_notes_of_another_year_are_told_when_the_log_was_made() -> None:
    drive = Stretch(MIDNIGHT, MIDNIGHT + HOUR)
    old = (note(MIDNIGHT - 1e8, "utc"),)
    (said,) = notes_in_utc(Notes("notes.csv", old), drive, 0.0).amiss
    assert said.endswith("; the log runs from 2026-05-02T00:00:00Z to 2026-05-02T01:00:00Z")


def test_in_a_long_drive_whole_hours_are_guessed_before_quarters() -> None:
    drive = Stretch(MIDNIGHT + 8.0 * HOUR, MIDNIGHT + 9.0 * HOUR)
    (said,) = in_utc([9.5 * HOUR, 9.6 * HOUR], drive).amiss
    assert '1 h earlier all would fit: is utc_offset right? That would be "+01:00"' in said


def test_an_offset_west_of_greenwich_is_named_with_its_minus() -> None:
    drive = Stretch(MIDNIGHT + 19.0 * HOUR, MIDNIGHT + 19.3 * HOUR)
    (said,) = in_utc([14.1 * HOUR, 14.2 * HOUR], drive, 5.0 * HOUR).amiss
    assert said.endswith('10 h later all would fit: is utc_offset right? That would be "-05:00"')


def test_one_stray_note_is_told_without_advice() -> None:
    drive = Stretch(MIDNIGHT + 8.0 * HOUR, MIDNIGHT + 8.3 * HOUR)
    notes = in_utc([8.05 * HOUR, 11.0 * HOUR], drive)
    assert notes.amiss == ("1 of 2 times lie outside the drive, first on line 3",)


@settings(derandomize=True, deadline=None)
@given(
    offset=st.sampled_from([-5.0 * HOUR, 0.0, 0.5 * HOUR, 13.0 * HOUR]),
    start=st.floats(0.0, 24.0 * HOUR),
    into=st.floats(0.0, 2.0 * HOUR),
)
def test_a_face_read_during_the_drive_comes_back_to_its_moment(
    offset: float, start: float, into: float
) -> None:
    drive = Stretch(MIDNIGHT + start, MIDNIGHT + start + 2.0 * HOUR)
    moment = drive.start_s + into
    face = (moment + offset - MIDNIGHT) % (24.0 * HOUR)
    (row,) = in_utc([face], drive, offset).rows
    assert row.time_s == pytest.approx(moment, abs=1e-5)
