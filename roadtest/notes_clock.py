"""Whether the crew's clock goes with the log's, told by the dial speeds that they noted.

A wrist watch may be half a minute off, a receiver may keep GPS time in place of UTC, and a zone may
be forgotten. Readings that then fall beside their holds, or into others, would make a right dial
look wrong. So every shift of the clock is weighed by how well the readings fit the speeds held.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from roadtest.clock import Stretch, notes_in_utc
from roadtest.evidence import Evidence
from roadtest.logs.model import ENTERED, Note
from roadtest.measures.speedometer.matching import (
    FASTEST_DIAL_MPS,
    NOT_HELD,
    OFF_LINE_MPS,
    SURE_ENOUGH,
    dial_laws,
    time_density,
)
from roadtest.measures.speedometer.readings import graduation_of
from roadtest.wording import plural

Floats = NDArray[np.float64]

_WATCH_OFF_S: Final = 300.0  # a watch is set by then; our choice
_STEP_S: Final = 2.0  # times are noted to some seconds
_ZONE_STEP_S: Final = 1800.0  # zones, and summer time
_OFF: Final = 0.05  # how often a clock is off by more than its notes' times are good to; our guess
_ZONE_SHARE: Final = 0.2  # of those, by whole zones; our guess
_ASKED: Final = 0.5  # where it is likelier off than not, somebody should look
_FEWEST: Final = 3  # readings that must fit: two may do so by chance, at some shift
_MOST_SPREAD_S: Final = 15.0  # of the shift, for it to be used

_GPS_AHEAD_S: Final = 18.0
"""GPS time less UTC since 1 January 2017 (IERS Bulletin C 52) [value from memory]."""


@dataclass(frozen=True)
class _Shift:
    """What to add to the crew's times, with its standard uncertainty, s."""

    add_s: float
    u_s: float
    fitting: int  # readings that lie in a hold then
    sure: bool  # that they are off at all


def with_right_clock(evidence: Evidence) -> Evidence:
    """Return the evidence with the crew's times on the log's clock, where they surely were not.

    Where they are likelier off than not, but not surely, they stay, and somebody is asked. Every
    time noted by the crew moves together; rows entered on the page stay, for their times came from
    the log. The notes' `amiss` then says what was done, or asks. Notes whose times lie outside the
    drive are left as they are: that is told already.
    """
    notes = evidence.notes
    if notes is None or notes.amiss:
        return evidence
    start_s = evidence.start_unix_s
    drive = Stretch(start_s, start_s + float(evidence.motion.time_s[-1]))
    rows = notes_in_utc(notes, drive, evidence.sheet.utc_offset_s).rows
    found = _shift(evidence, [row for row in rows if row.item == "indicated speed"])
    if found is None:
        return evidence
    if not found.sure:
        return replace(evidence, notes=replace(notes, amiss=(_asked(found),)))
    moved = tuple(_moved(row, found) for row in rows)
    return replace(evidence, notes=replace(notes, rows=moved, amiss=(_told(found),)))


def _by_the_crew(row: Note) -> bool:
    entered = row.typed or row.remark.startswith(ENTERED) or row.item in ("left out", "target")
    return row.time_s is not None and not entered


def _moved(row: Note, by: _Shift) -> Note:
    if row.time_s is None or not _by_the_crew(row):
        return row
    return replace(
        row, time_s=row.time_s + by.add_s, u_time_s=float(np.hypot(row.u_time_s, by.u_s))
    )


def _asked(found: _Shift) -> str:
    return (
        f"{plural(found.fitting, 'dial reading')} fit the speeds held better with their times "
        f"{_off(found)}, though not so much that they were moved: hold the clock that they were "
        "noted by against the receiver's"
    )


def _off(found: _Shift) -> str:
    return f"about {abs(found.add_s):.0f} s {'later' if found.add_s > 0.0 else 'earlier'}"


def _told(found: _Shift) -> str:
    off = _off(found)
    why = ""
    if abs(abs(found.add_s) - _GPS_AHEAD_S) <= 2.0 * found.u_s:
        why = " (a receiver may write GPS time, 18 s ahead of UTC)"
    return (
        f"{plural(found.fitting, 'dial reading')} fit the speeds held only with their times "
        f"{off}, so all times noted by hand are taken {off}: look whose clock was off{why}"
    )


def _shift(evidence: Evidence, rows: list[Note]) -> _Shift | None:
    """Return by how much the crew's clock is off, None where it is likelier right."""
    rows = [row for row in rows if row.value is not None and _by_the_crew(row)]
    holds = [made for made in evidence.manoeuvres if made.kind == "hold" and made.used]
    if len(rows) < _FEWEST or len(holds) < _FEWEST:
        return None
    motion = evidence.motion
    drive_s = float(motion.time_s[-1])
    ends = np.array([[made.start_s, made.end_s] for made in holds])
    along = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * np.linspace(0.0, 1.0, 20)
    speed = np.interp(along, motion.time_s, motion.speed_mps).mean(axis=1)
    at = np.array([row.time_s or 0.0 for row in rows]) - evidence.start_unix_s
    u_at = np.array([row.u_time_s for row in rows])
    shown = np.array([row.value or 0.0 for row in rows])
    shifts, prior = _shifts(drive_s)
    moved = (at + shifts[:, None])[:, :, None]  # [shifts, readings, holds] inside
    inside = time_density(moved, u_at[:, None], ends[:, 0], ends[:, 1])
    u_read = graduation_of(evidence.sheet.speedometer) / np.sqrt(12.0)
    fit = _fit(inside, shown, speed, float(np.hypot(u_read, OFF_LINE_MPS)), drive_s)
    weight = prior * np.exp(fit - fit.max())
    weight /= weight.sum()
    right = float(weight[0])  # the first is no shift
    if right > _ASKED:
        return None
    weight[0] = 0.0
    weight /= weight.sum()
    add_s = float(weight @ shifts)
    u_s = float(np.sqrt(weight @ (shifts - add_s) ** 2))
    best = int(np.argmax(weight))
    fitting = int((inside[best].max(axis=1) * drive_s > 1.0).sum())
    if u_s > _MOST_SPREAD_S or fitting < _FEWEST:
        return None
    return _Shift(add_s, u_s, fitting, sure=right <= 1.0 - SURE_ENOUGH)


def _shifts(drive_s: float) -> tuple[Floats, Floats]:
    """Return shifts in s, none first, and their prior weights.

    A watch is off by seconds more often than by minutes: every order of magnitude is as likely.
    """
    watch = np.arange(-_WATCH_OFF_S, _WATCH_OFF_S + 0.5 * _STEP_S, _STEP_S)
    watch = watch[watch != 0.0]
    most = int(drive_s // _ZONE_STEP_S)
    zones = np.array([k * _ZONE_STEP_S for k in range(-most, most + 1) if k])
    share = _ZONE_SHARE if zones.size else 0.0
    shifts = np.concatenate([[0.0], watch, zones])
    prior = np.concatenate(
        [
            [1.0 - _OFF],
            _OFF * (1.0 - share) / np.abs(watch) / (1.0 / np.abs(watch)).sum(),
            np.full(zones.size, _OFF * share / max(zones.size, 1)),
        ]
    )
    return shifts, prior


def _fit(inside: Floats, shown: Floats, speed: Floats, spread: float, drive_s: float) -> Floats:
    """Return the logarithm of each shift's likelihood, [shifts], over every dial law that may be.

    A reading is of a hold, with the density of its time and of what was shown there, or of none.
    """
    scale, offset, prior = dial_laws()
    expected = scale[:, None] * speed + offset[:, None]  # [laws, holds]
    none = NOT_HELD / drive_s / FASTEST_DIAL_MPS
    total = np.full((inside.shape[0], scale.size), shown.size * np.log(none))
    for k, value in enumerate(shown):
        density = np.exp(-0.5 * ((value - expected) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        # Over that of no hold; logarithms, for the product of many would not stay within floats.
        total += np.log1p((1.0 - NOT_HELD) / speed.size / none * inside[:, k] @ density.T)
    return np.asarray(logsumexp(total, axis=1, b=prior))
