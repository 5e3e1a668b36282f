"""GPX 1.0 and 1.1 track logs.

Positions in degrees (WGS 84), altitude in metres, speed in m/s, course in degrees true, times UTC.

Reference: Topografix GPX 1.0 and 1.1 schemas; W3C XML Schema Part 2, dateTime [values from
memory]. Speed and course belong to 1.0 track points; 1.1 has them in extensions only.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.errors import InputError
from roadtest.logs.gpx_points import TrackPoints, track_points
from roadtest.logs.gpx_text import gpx_text, looks_like_gpx
from roadtest.logs.model import Floats, GpsLog, Ints
from roadtest.logs.speed_unit import speed_unit_fault
from roadtest.logs.tally import Tally

__all__ = ["looks_like_gpx", "read_gpx"]

# GPS time begins on 6 January 1980; receivers without a clock send times near 1970. The end is
# our own bound.
_EARLIEST_S: Final = 315_964_800.0
_LATEST_S: Final = 4_102_444_800.0  # 2100

_TIME, _LATITUDE, _LONGITUDE, _ALTITUDE, _SPEED, _COURSE, _HDOP = range(7)


def read_gpx(data: bytes, name: str) -> GpsLog:
    """Return the log in a GPX file, as far as it is good; each point lost is counted.

    `rejected` counts points, so fixes_read == len(time_s) + all of them. Speeds whose unit is
    shown by the positions not to be m/s are left out, with a remark.

    Raises InputError when the file holds no track, no times, no point that can be used, a DTD or
    entity, or is larger than the bound in `gpx_text`.
    """
    text = gpx_text(data, name)
    points = track_points(text, name)
    _refuse_without_track(points, name)
    losses = Tally(dict(points.rejected))
    kept, order_remarks = _increasing(points.table, points.line, losses)
    if kept.size == 0:
        raise _nothing_left(points.seen, losses, name)
    table = points.table[kept]
    _, segment = np.unique(points.segment[kept], return_inverse=True)
    speed, speed_remarks = _checked_speed(table, segment)
    remarks = (*text.remarks, *points.remarks, *_notes(points), *order_remarks, *speed_remarks)
    return GpsLog(
        name=name,
        kind="gpx",
        time_s=table[:, _TIME],
        latitude_deg=table[:, _LATITUDE],
        longitude_deg=table[:, _LONGITUDE],
        altitude_m=table[:, _ALTITUDE],
        speed_mps=speed,
        course_deg=table[:, _COURSE],
        hdop=table[:, _HDOP],
        u_position_m=np.full(len(table), np.nan),
        segment=segment.astype(np.int64),
        source=points.creator,
        fixes_read=points.seen,
        rejected=losses.counts,
        remarks=remarks,
    )


def _refuse_without_track(points: TrackPoints, name: str) -> None:
    if points.seen == 0:
        found = "no track points"
        if points.others:
            found = f"routes or waypoints only ({points.others} points), no track"
        raise InputError(name, "", found, "a GPX track with times")


def _nothing_left(seen: int, losses: Tally, name: str) -> InputError:
    if set(losses.counts) == {"no time"}:
        found = f"none of the {seen} track points has a time"
        return InputError(name, "", found, "a track recorded while driving")
    reasons = ", ".join(f"{loss.count} {reason}" for reason, loss in losses.counts.items())
    return InputError(
        name, "", f"none of the {seen} track points can be used ({reasons})", "a track with times"
    )


def _notes(points: TrackPoints) -> Iterator[str]:
    if points.others:
        yield f"{points.others} route points and waypoints are not used"
    if points.leaps:
        yield f"{points.leaps} × a leap second"


def _increasing(table: Floats, line: Ints, losses: Tally) -> tuple[Ints, tuple[str, ...]]:
    """Return the numbers of the rows to keep, so that times increase strictly, and remarks."""
    time = table[:, _TIME]
    in_range = (time >= _EARLIEST_S) & (time < _LATEST_S)
    _count(losses, "time before 1980 or after 2100", line, ~in_range)
    rows = np.flatnonzero(in_range)
    backward = np.flatnonzero(np.diff(time[rows]) < 0.0) + 1
    remarks: tuple[str, ...] = ()
    if backward.size:
        first = line[rows[backward[0]]]
        remarks = (f"times step back {backward.size} ×, first on line {first}; sorted by time",)
    rows = rows[np.argsort(time[rows], kind="stable")]
    if rows.size == 0:
        return rows, remarks
    # Of several fixes at one time the first in the file stays.
    starts = np.concatenate(([True], np.diff(time[rows]) > 0.0))
    leader = rows[np.maximum.accumulate(np.where(starts, np.arange(rows.size), 0))]
    same = np.all(table[rows, _LATITUDE:_ALTITUDE] == table[leader, _LATITUDE:_ALTITUDE], axis=1)
    _count(losses, "duplicate fix", line[rows], ~starts & same)
    _count(losses, "time stands still", line[rows], ~starts & ~same)
    return rows[starts], remarks


def _count(losses: Tally, reason: str, line: Ints, lost: NDArray[np.bool_]) -> None:
    if lost.any():
        losses.add(reason, int(line[lost].min()), int(lost.sum()))


def _checked_speed(table: Floats, segment: Ints) -> tuple[Floats, tuple[str, ...]]:
    speed = table[:, _SPEED]
    fault = speed_unit_fault(
        table[:, _TIME], table[:, _LATITUDE], table[:, _LONGITUDE], speed, segment, "m/s"
    )
    if fault is None:
        return speed, ()
    return np.full_like(speed, np.nan), (fault,)
