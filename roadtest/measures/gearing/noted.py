"""Tach readings noted by hand, with no logger: engine turns per metre at a few moments."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.logs.model import Note
from roadtest.measures.gearing.creep import LINEAR, U_LINEAR
from roadtest.measures.gearing.road import Road
from roadtest.measures.gearing.stories import Seen

Floats = NDArray[np.float64]

_DAY_S: Final = 86400.0
_NEAR_GEAR_S: Final = 15.0  # a gear noted so near a reading belongs to it
_SAME_GEAR: Final = 0.06  # readings of one gear differ less than this
_LEAST_MPS: Final = 3.0
_GRADUATION_RPM: Final = 100.0  # usual smallest division (common practice)
_ORDINAL: Final = re.compile(r"\b([1-8])(?:st|nd|rd|th)\b|\bgear\s*([1-8])\b", re.IGNORECASE)
_WORDS: Final = {"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6}


@dataclass(frozen=True)
class Noted:
    """One reading: log engine turns per metre, its standard uncertainty, the gear if noted."""

    time_s: float
    rpm: float
    log_turns: float
    u: float
    gear: int | None


def noted_readings(evidence: Evidence, road: Road) -> tuple[Noted, ...]:
    """Return the usable tach readings of the notes, in order of time."""
    if evidence.notes is None:
        return ()
    rows = evidence.notes.rows
    found = [
        _reading(note, rows, evidence, road)
        for note in rows
        if note.item == "tach" and not _left_out(note, evidence)
    ]
    return tuple(sorted((n for n in found if n is not None), key=lambda n: n.time_s))


def _left_out(note: Note, evidence: Evidence) -> bool:
    """Return whether a reading was taken in a manoeuvre that somebody left out."""
    time = drive_time(note, evidence)
    return time is not None and any(
        made.left_out and made.start_s <= time <= made.end_s for made in evidence.manoeuvres
    )


def seen_by_hand(readings: Sequence[Noted]) -> Seen:
    """Return the gears that the readings show, from the lowest up.

    Readings with the same noted gear, or nearly the same ratio, are averaged. Nothing is shared
    between gears but what belongs to the stories: the scale of the dial.
    """
    groups: list[list[Noted]] = []
    for reading in sorted(readings, key=lambda n: -n.log_turns):
        for group in groups:
            if _same(group, reading):
                group.append(reading)
                break
        else:
            groups.append([reading])
    means, variances, names = [], [], []
    for group in sorted(groups, key=lambda g: -float(np.mean([n.log_turns for n in g]))):
        weights = np.array([1.0 / n.u**2 for n in group])
        means.append(float(weights @ [n.log_turns for n in group] / weights.sum()))
        variances.append(1.0 / float(weights.sum()))
        names.append(next((n.gear for n in group if n.gear is not None), None))
    return Seen(np.array(means), np.diag(variances), tuple(names))


def _same(group: Sequence[Noted], reading: Noted) -> bool:
    known = {n.gear for n in group if n.gear is not None}
    if reading.gear is not None and known:
        return reading.gear in known
    return abs(reading.log_turns - group[0].log_turns) < _SAME_GEAR


def drive_time(note: Note, evidence: Evidence) -> float | None:
    """Return when a note was made, seconds since the start of the drive; None without a time."""
    if note.time_s is None or note.clock is None:
        return None
    if note.clock == "utc":
        return note.time_s - evidence.start_unix_s
    local_start = evidence.start_unix_s + evidence.sheet.utc_offset_s
    if note.clock == "local":
        return note.time_s - local_start
    since = note.time_s - local_start % _DAY_S
    return since if since > -0.5 * _DAY_S else since + _DAY_S  # the clock went past midnight


def _reading(note: Note, rows: Sequence[Note], evidence: Evidence, road: Road) -> Noted | None:
    time = drive_time(note, evidence)
    if time is None or not note.value or note.value < 300.0:
        return None
    around = time + note.u_time_s * np.linspace(-2.0, 2.0, 41)
    weight = np.exp(-0.5 * np.linspace(-2.0, 2.0, 41) ** 2)
    at = road.at(around)
    # Who reads a dial reads it while it stands: inside the hold, if there is one.
    held = np.zeros(around.size, dtype=bool)
    for manoeuvre in evidence.manoeuvres:
        if manoeuvre.kind == "hold":
            held |= (around >= manoeuvre.start_s) & (around <= manoeuvre.end_s)
    weight = weight * at.known * (held if held.any() else 1.0)
    if weight.sum() <= 0.0:
        return None
    weight = weight / weight.sum()
    speed = float(weight @ at.speed_mps)
    if speed < _LEAST_MPS:
        return None
    u_speed = float(np.sqrt(weight @ (at.speed_mps - speed) ** 2 + weight @ at.u_speed_mps**2))
    push = float(weight @ at.push_mps2)
    # Read to half a division at best, as a rectangular distribution.
    division = evidence.sheet.tach.graduation_rpm or _GRADUATION_RPM
    half = 0.5 * max(division, note.resolution or 0.0)
    u_rpm = half / 3**0.5
    u = float(np.sqrt((u_rpm / note.value) ** 2 + (u_speed / speed) ** 2 + (U_LINEAR * push) ** 2))
    log_turns = float(np.log(note.value / 60.0 / speed)) - LINEAR * push
    return Noted(time, note.value, log_turns, u, _gear(note, time, rows, evidence))


def _gear(note: Note, time: float, rows: Sequence[Note], evidence: Evidence) -> int | None:
    """Return the gear noted with a reading, in its remark or in a row of its own nearby."""
    match = _ORDINAL.search(note.remark)
    if match:
        return int(match[1] or match[2])
    for word, gear in _WORDS.items():
        if re.search(rf"\b{word}\b", note.remark, re.IGNORECASE):
            return gear
    nearest: tuple[float, int] | None = None
    for row in rows:
        when = drive_time(row, evidence) if row.item == "gear" else None
        if when is None or row.value is None or row.value < 1:
            continue
        apart = abs(when - time)
        if apart <= _NEAR_GEAR_S and (nearest is None or apart < nearest[0]):
            nearest = (apart, int(row.value))
    return nearest[1] if nearest else None
