"""How good each log of a drive was: rate, noise, gaps, and everything that was lost."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final, Literal

import numpy as np

from roadtest.drive import Drive
from roadtest.logs.model import ChannelsLog, Floats, GpsLog, Loss, Notes, TachLog
from roadtest.logs.nmea.accounts import SENTENCE_REASONS
from roadtest.motion.estimate import Motion
from roadtest.motion.noise import SPEED_NOISE
from roadtest.motion.screening import Screened
from roadtest.quantity import Quantity
from roadtest.receivers import Receiver
from roadtest.results import Gap, LogInfo

GAP_INTERVALS: Final = 3.0
GAP_S: Final = 1.0
"""A gap is longer than three sample intervals and than one second: our choice, so that one fix
lost does not count, and what a manoeuvre could hide in does."""


def describe_logs(
    drive: Drive, screened: Screened, motion: Motion, cross_checks: Mapping[str, str]
) -> tuple[LogInfo, ...]:
    """Return what is to be said of every log, file by file.

    `cross_checks` has a remark for each receiver that was not used for speed, by its log's name.
    """
    start_s = screened.start_unix_s
    infos = [_used_part(drive.receivers[0], k, screened, motion) for k in _parts(drive)]
    for other in drive.receivers[1:]:
        infos += _other_parts(other, start_s, cross_checks.get(other.log.name, ""))
    infos += [_tach(log, start_s) for log in drive.tach]
    infos += [_channels(log, start_s) for log in drive.channels]
    if drive.notes is not None:
        infos.append(_notes(drive.notes))
    return tuple(infos)


def gaps_in(time_s: Floats) -> tuple[Gap, ...]:
    """Return the gaps between times ([n], increasing): longer than 3 intervals and than 1 s."""
    interval = np.diff(time_s)
    if not interval.size:
        return ()
    longest = max(GAP_INTERVALS * float(np.median(interval)), GAP_S)
    at = np.flatnonzero(interval > longest * (1.0 + 1e-6))  # times carry rounding
    return tuple(Gap(float(time_s[k]), float(time_s[k + 1])) for k in at)


def _parts(drive: Drive) -> range:
    return range(len(drive.receivers[0].parts))


def _used_part(receiver: Receiver, k: int, screened: Screened, motion: Motion) -> LogInfo:
    """Return what is to be said of one file of the receiver whose speed is used."""
    part = receiver.parts[k]
    time = receiver.log.time_s
    mine = np.isin(time, part.time_s)
    for earlier in receiver.parts[:k]:
        mine &= ~np.isin(time, earlier.time_s)
    losses = dict(part.rejected)
    shared = part.time_s.size - int(mine.sum())
    if shared:
        losses["in an earlier file too"] = Loss(shared, "")
    for reason, lost in screened.lost.items():
        here = lost[mine[lost]]
        if here.size:
            first = int(np.searchsorted(part.time_s, time[here[0]])) + 1
            losses[reason] = Loss(here.size, f"fix {first}")
    return LogInfo(
        name=part.name,
        kind=part.kind,
        fixes_read=part.fixes_read,
        fixes_used=int(mine[screened.used].sum()),
        rejected=_counts(losses),
        rejected_first=_firsts(losses),
        rejected_sentences=_of_sentences(part),
        rate_hz=_rate(part.time_s),
        speed_source=screened.source,
        speed_noise=_speed_noise(screened, motion),
        gaps=_gaps_from(receiver, part, screened),
        remarks=part.remarks,
    )


def _gaps_from(receiver: Receiver, part: GpsLog, screened: Screened) -> tuple[Gap, ...]:
    """Return the gaps that begin in this file; the last may end in the next one."""
    first, last = part.time_s[0] - screened.start_unix_s, part.time_s[-1] - screened.start_unix_s
    return tuple(gap for gap in gaps_in(screened.time_s) if first <= gap.start_s <= last)


def _speed_noise(screened: Screened, motion: Motion) -> Quantity | None:
    """Return the standard deviation of one fix's speed, rounding included.

    None for a log of positions: the noise of its positions is no speed.
    """
    if screened.source != "doppler":
        return None
    sd = np.array([noise.sd for noise in motion.noise_draws])
    rounding = screened.speed_step_mps**2 / 12.0  # of a rectangular distribution
    found = Quantity.from_draws(np.sqrt(sd**2 + rounding), "m/s")
    if found is None:
        return None
    # The estimate tries sizes on a grid; the truth may lie half a step from the one it took.
    cell = 0.5 * 0.95 * found.value * float(np.log(SPEED_NOISE.grid[1] / SPEED_NOISE.grid[0]))
    return Quantity(found.value, float(np.hypot(found.u95, cell)), "m/s")


def _other_parts(receiver: Receiver, start_s: float, remark: str) -> list[LogInfo]:
    return [
        LogInfo(
            name=part.name,
            kind=part.kind,
            fixes_read=part.fixes_read,
            fixes_used=part.time_s.size,
            rejected=_counts(part.rejected),
            rejected_first=_firsts(part.rejected),
            rejected_sentences=_of_sentences(part),
            rate_hz=_rate(part.time_s),
            gaps=gaps_in(part.time_s - start_s),
            remarks=(*((remark,) if remark else ()), *part.remarks),
        )
        for part in receiver.parts
    ]


def _tach(log: TachLog, start_s: float) -> LogInfo:
    return _rows(log, "tach", start_s, None if log.rpm is None else _rate(log.time_s))


def _channels(log: ChannelsLog, start_s: float) -> LogInfo:
    return _rows(log, "channels", start_s, _rate(log.time_s))


def _rows(
    log: TachLog | ChannelsLog,
    kind: Literal["tach", "channels"],
    start_s: float,
    rate_hz: float | None,
) -> LogInfo:
    """Return what is to be said of a log of rows; on a clock of its own its gaps have no place."""
    placed = log.clock == "utc" and rate_hz is not None
    return LogInfo(
        name=log.name,
        kind=kind,
        fixes_read=log.rows_read,
        fixes_used=log.time_s.size,
        rejected=_counts(log.rejected),
        rejected_first=_firsts(log.rejected),
        rate_hz=rate_hz,
        gaps=gaps_in(log.time_s - start_s) if placed else (),
        remarks=(*_not_used(log.ignored_columns), *log.remarks),
    )


def _notes(notes: Notes) -> LogInfo:
    lost = sum(loss.count for loss in notes.rejected.values())
    return LogInfo(
        name=notes.name,
        kind="notes",
        fixes_read=len(notes.rows) + lost,
        fixes_used=len(notes.rows),
        rejected=_counts(notes.rejected),
        rejected_first=_firsts(notes.rejected),
        remarks=(*notes.remarks, *notes.amiss),
    )


def _counts(rejected: Mapping[str, Loss]) -> dict[str, int]:
    return {reason: loss.count for reason, loss in rejected.items()}


def _firsts(rejected: Mapping[str, Loss]) -> dict[str, str]:
    return {reason: loss.first for reason, loss in rejected.items() if loss.first}


def _of_sentences(part: GpsLog) -> tuple[str, ...]:
    """Return the reasons that count sentences: those that never got as far as a fix."""
    if part.kind != "nmea":
        return ()
    return tuple(reason for reason in SENTENCE_REASONS if reason in part.rejected)


def _not_used(columns: Iterable[str]) -> tuple[str, ...]:
    named = ", ".join(columns)
    return (f"columns not used: {named}",) if named else ()


def _rate(time_s: Floats) -> float | None:
    return float(1.0 / np.median(np.diff(time_s))) if time_s.size > 1 else None
