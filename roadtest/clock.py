"""One clock for everything: wall-clock and clock-face times of a drive turned into UTC."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

from roadtest.logs.model import ChannelsLog, Note, Notes, TachLog

_DAY_S: Final = 86_400.0
_HALF_DAY: Final = "were they written by a 12-hour clock? Two in the afternoon is 14:00 here"
BESIDE_S: Final = 600.0
"""How long before or after the log a note may lie: crews write while the car stands. Our choice."""

_ZONE_STEP_S: Final = 900.0
"""Time zones differ from UTC by whole quarters of an hour (common practice)."""

_MOST_ZONE_STEPS: Final = 4 * 26  # from UTC-12 to UTC+14


@dataclass(frozen=True)
class Stretch:
    """The time from the first fix to the last, seconds since 1970 UTC."""

    start_s: float
    end_s: float

    def away_s(self, time_s: float) -> float:
        """Return how far `time_s` lies outside, 0 inside."""
        return max(self.start_s - time_s, time_s - self.end_s, 0.0)


def utc_text(unix_s: float) -> str:
    """Return seconds since 1970 as "2026-05-02T08:00:00Z", with milliseconds where there are any.

    Where the millisecond is not hit, the microsecond is written.
    """
    moment = datetime.fromtimestamp(0, UTC) + timedelta(microseconds=round(unix_s * 1e6))
    micro = moment.microsecond
    finest = "seconds" if micro == 0 else "milliseconds" if micro % 1000 == 0 else "microseconds"
    return moment.replace(tzinfo=None).isoformat(timespec=finest) + "Z"


def tach_in_utc(log: TachLog, utc_offset_s: float) -> TachLog:
    """Return a tach log on wall-clock time in UTC; others as they are."""
    if log.clock != "local":
        return log
    return replace(log, clock="utc", time_s=log.time_s - utc_offset_s)


def channels_in_utc(log: ChannelsLog, utc_offset_s: float) -> ChannelsLog:
    """Return a channels log on wall-clock time in UTC; others as they are."""
    if log.clock != "local":
        return log
    return replace(log, clock="utc", time_s=log.time_s - utc_offset_s)


def outside(log: ChannelsLog | TachLog, drive: Stretch, utc_offset_s: float | None) -> str:
    """Say that all of a log in UTC lies outside the drive, and what would bring it in; else "".

    `utc_offset_s` is the sheet's, None where the log has a zone of its own.
    """
    first, last = float(log.time_s[0]), float(log.time_s[-1])
    if log.clock != "utc" or (last >= drive.start_s and first <= drive.end_s):
        return ""
    said = f"its rows, {utc_text(first)} to {utc_text(last)}, all lie outside the drive"
    shift = _zone_shift([first, last], drive, BESIDE_S)
    if shift is None:
        return f"{said}, {utc_text(drive.start_s)} to {utc_text(drive.end_s)}"
    way = "earlier" if shift < 0.0 else "later"
    return f"{said}; {abs(shift) / 3600.0:g} h {way} they would fit: {_asked(shift, utc_offset_s)}"


def notes_in_utc(notes: Notes, drive: Stretch, utc_offset_s: float) -> Notes:
    """Return the notes with every time in UTC; times far from the drive are amiss.

    A time read off a clock face belongs to the day on which it lies nearest the drive: the local
    date, or the next one once midnight has passed.
    """
    rows = tuple(_note_in_utc(note, drive, utc_offset_s) for note in notes.rows)
    # Where all have a zone of their own, the sheet's says nothing.
    local = any(note.clock in ("local", "face") for note in notes.rows)
    amiss = _misfits(rows, drive, utc_offset_s if local else None)
    return replace(notes, rows=rows, amiss=(*notes.amiss, *amiss))


def _note_in_utc(note: Note, drive: Stretch, utc_offset_s: float) -> Note:
    if note.time_s is None or note.clock in ("utc", None):
        return note
    if note.clock == "local":
        return replace(note, clock="utc", time_s=note.time_s - utc_offset_s)
    midnight = (drive.start_s + utc_offset_s) // _DAY_S * _DAY_S - utc_offset_s
    days = (midnight + day * _DAY_S + note.time_s for day in (-1, 0, 1, 2))
    return replace(note, clock="utc", time_s=min(days, key=drive.away_s))


def _misfits(rows: Iterable[Note], drive: Stretch, utc_offset_s: float | None) -> Iterator[str]:
    """Say which notes lie far from the drive, and what would bring them all into it.

    `utc_offset_s` is the sheet's, None where no time goes by it.
    """
    times = [(note.line, note.time_s) for note in rows if note.time_s is not None]
    away = [line for line, time_s in times if drive.away_s(time_s) > BESIDE_S]
    if not away:
        return
    said = f"{len(away)} of {len(times)} times lie outside the drive, first on line {away[0]}"
    if all(_half_a_day_off(time_s, drive) for _, time_s in times):
        yield f"{said}; 12 h on or back all would fit: {_HALF_DAY}"
        return
    shift = _zone_shift([time_s for _, time_s in times], drive)
    if shift is not None:
        way = "earlier" if shift < 0.0 else "later"
        said += f"; {abs(shift) / 3600.0:g} h {way} all would fit: {_asked(shift, utc_offset_s)}"
    elif len(away) == len(times):
        said += f"; the log runs from {utc_text(drive.start_s)} to {utc_text(drive.end_s)}"
    yield said


def _half_a_day_off(time_s: float, drive: Stretch) -> bool:
    """Return whether a time lies in the drive 12 h later, or earlier: a face has lost its day."""
    return any(drive.away_s(time_s + way * 0.5 * _DAY_S) == 0.0 for way in (-1.0, 1.0))


def _asked(shift_s: float, utc_offset_s: float | None) -> str:
    """Return the question to ask where times would fit once shifted."""
    if shift_s % _DAY_S == 0.0:
        return "is the date right?"
    if utc_offset_s is None:
        return "is their zone right?"
    meant = utc_offset_s - shift_s
    if not -12 * 3600.0 <= meant <= 14 * 3600.0:
        return "is utc_offset right?"
    hours, minutes = divmod(round(abs(meant) / 60.0), 60)
    return (
        f'is utc_offset right? That would be "{"-" if meant < 0.0 else "+"}{hours:02}:{minutes:02}"'
    )


def _zone_shift(times_s: list[float], drive: Stretch, beside_s: float = 0.0) -> float | None:
    """Return the quarter hours that move all times into the drive, whole hours first, then few.

    They may lie up to `beside_s` outside it still; the less, the better.
    """
    found = []
    for step in range(-_MOST_ZONE_STEPS, _MOST_ZONE_STEPS + 1):
        away = [drive.away_s(time_s + step * _ZONE_STEP_S) for time_s in times_s]
        if step and max(away) <= beside_s:
            found.append((sum(away), step % 4 != 0, step % 2 != 0, abs(step), step))
    return min(found)[-1] * _ZONE_STEP_S if found else None
