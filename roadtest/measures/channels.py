"""Further logged quantities: their range, when the worst came, and how long beyond a limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.targets import ChannelLimit
from roadtest.evidence import Evidence
from roadtest.logs.model import Channel, ChannelsLog
from roadtest.results import ChannelPart, ChannelResult
from roadtest.units import UnknownUnitError, find_unit, from_si, to_si

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_AT_REST_MPS: Final = 0.5  # the last metre a second of a receiver says little
_AT_SPEED_MPS: Final = to_si(30.0, "mph")
_SETTLING_S: Final = 2.0  # after coming to rest before the engine idles (our choice)
# A row stands for the time to its neighbours, but a logger that paused knows nothing of the pause.
_MOST_SPACINGS: Final = 3.0


@dataclass(frozen=True)
class ChannelsMeasured:
    """What the channels showed, one row a channel of a file."""

    result: tuple[ChannelResult, ...]
    remarks: tuple[str, ...] = ()


def measure_channels(
    evidence: Evidence, offsets_s: Mapping[str, float] | None = None
) -> ChannelsMeasured:
    """Return range, worst value and time beyond the sheet's limits of every channel.

    offsets_s : for logs on a clock of their own, by file name: what is added to their clock to get
        seconds since the drive's start. Without it such a log has a range, but no place in time.

    Values are as logged, in the unit of their file: nothing is smoothed, so one wild sample is the
    largest. Seconds beyond a limit tell it from a lasting one.
    """
    rows: list[ChannelResult] = []
    remarks: list[str] = []
    for log in evidence.channels:
        time = _drive_time(evidence, log, offsets_s or {})
        if time is None:
            remarks.append(
                f"{log.name} is on a clock of its own with an unknown zero: "
                "its values can't be placed in the drive"
            )
        for channel in log.channels:
            row, remark = _row(evidence, log, channel, time)
            rows.append(row)
            remarks += remark
    return ChannelsMeasured(tuple(rows), tuple(remarks))


@dataclass(frozen=True)
class Ends:
    """Lower and upper limit, None where open."""

    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Limits:
    """A channel's limits in its own unit: everywhere, standing at idle, and at speed.

    An end that the target gives for idle holds there, the plain one beside it then at speed.
    """

    everywhere: Ends = Ends()
    idle: Ends = Ends()
    speed: Ends = Ends()


def limits_in_unit(limit: ChannelLimit, unit: str) -> Limits | None:
    """Return the limits in a channel's own unit, None where units do not agree."""
    ends: tuple[float | None, ...] = (
        limit.at_least,
        limit.at_most,
        limit.at_least_idle,
        limit.at_most_idle,
    )
    if limit.dimension is None:
        if limit.unit.strip() != unit.strip():
            return None
    else:
        try:
            if find_unit(unit).dimension != limit.dimension:
                return None
        except UnknownUnitError:
            return None
    low, high, idle_low, idle_high = (_in_unit(end, limit, unit) for end in ends)
    split_low, split_high = idle_low is not None, idle_high is not None
    return Limits(
        everywhere=Ends(None if split_low else low, None if split_high else high),
        idle=Ends(idle_low, idle_high),
        speed=Ends(low if split_low else None, high if split_high else None),
    )


def _in_unit(end: float | None, limit: ChannelLimit, unit: str) -> float | None:
    if end is None or limit.dimension is None:
        return end
    # Rounded, so that what was given in another unit stands on the limit, not beside it.
    return round(float(from_si(end, unit)), 9)


def _drive_time(
    evidence: Evidence, log: ChannelsLog, offsets_s: Mapping[str, float]
) -> Floats | None:
    """Return the rows' times since the start of the drive, None where they are not known."""
    if log.clock == "utc":
        return log.time_s - evidence.start_unix_s
    if log.clock == "local":
        return log.time_s - evidence.sheet.utc_offset_s - evidence.start_unix_s
    offset = offsets_s.get(log.name)
    return None if offset is None else log.time_s + offset


def _row(
    evidence: Evidence, log: ChannelsLog, channel: Channel, time_s: Floats | None
) -> tuple[ChannelResult, list[str]]:
    seen = np.isfinite(channel.values)
    if not seen.any():
        return ChannelResult(channel.name, channel.unit, file=log.name), []
    values = channel.values[seen]
    seconds = _seconds(log.time_s)[seen]
    limits, remarks = _limits(evidence.sheet, channel)
    top, bottom = int(np.argmax(values)), int(np.argmin(values))
    place = None if time_s is None else time_s[seen]
    at_rest, at_speed = (None, None)
    if place is not None:
        rest, speed = _conditions(evidence, place)
        at_rest = _part(values, seconds, place, rest, limits.idle)
        at_speed = _part(values, seconds, place, speed, limits.speed)
    return ChannelResult(
        name=channel.name,
        unit=channel.unit,
        min=float(values[bottom]),
        max=float(values[top]),
        at_max_s=None if place is None else float(place[top]),
        at_min_s=None if place is None else float(place[bottom]),
        manoeuvre_at_max=None if place is None else _manoeuvre_at(evidence, float(place[top])),
        manoeuvre_at_min=None if place is None else _manoeuvre_at(evidence, float(place[bottom])),
        at_rest=at_rest,
        at_speed=at_speed,
        limit_high=limits.everywhere.high,
        limit_low=limits.everywhere.low,
        seconds_above=_above(values, seconds, limits.everywhere),
        seconds_below=_below(values, seconds, limits.everywhere),
        file=log.name,
    ), remarks


def _limits(sheet: BuildSheet, channel: Channel) -> tuple[Limits, list[str]]:
    """Return the sheet's limits for a channel in its unit, and a remark where they can't be."""
    for target in sheet.targets.named(f"channel.{channel.name}"):
        if isinstance(target.value, ChannelLimit):
            limits = limits_in_unit(target.value, channel.unit)
            if limits is not None:
                return limits, []
            of = f'is in "{channel.unit}"' if channel.unit else "has no unit"
            return Limits(), [
                f'channel {channel.name} {of}, its target is in "{target.value.unit}": they can\'t '
                "be compared"
            ]
    return Limits(), []


def _above(values: Floats, seconds: Floats, ends: Ends) -> float | None:
    return None if ends.high is None else float(seconds[values > ends.high].sum())


def _below(values: Floats, seconds: Floats, ends: Ends) -> float | None:
    return None if ends.low is None else float(seconds[values < ends.low].sum())


def _seconds(time_s: Floats) -> Floats:
    """Return how long each row stands for: half way to its neighbours, pauses left out."""
    if time_s.size < 2:
        return np.zeros(time_s.size)
    gaps = np.diff(time_s)
    gaps = np.minimum(gaps, _MOST_SPACINGS * float(np.median(gaps)))
    return np.asarray(0.5 * (np.append(gaps, 0.0) + np.append(0.0, gaps)))


def _conditions(evidence: Evidence, time_s: Floats) -> tuple[Bools, Bools]:
    """Return which rows were logged standing (engine settled), and which at speed."""
    motion = evidence.motion
    inside = (time_s >= motion.time_s[0]) & (time_s <= motion.time_s[-1])
    speed = np.interp(time_s, motion.time_s, motion.speed_mps)
    before = np.interp(time_s - _SETTLING_S, motion.time_s, motion.speed_mps)
    rest = inside & (speed < _AT_REST_MPS) & (before < _AT_REST_MPS)
    return rest, inside & (speed > _AT_SPEED_MPS)


def _part(
    values: Floats, seconds: Floats, time_s: Floats, these: Bools, ends: Ends
) -> ChannelPart | None:
    if not these.any():
        return None
    some, spent, when = values[these], seconds[these], time_s[these]
    return ChannelPart(
        min=float(some.min()),
        mean=float(some.mean()),
        max=float(some.max()),
        seconds=float(spent.sum()),
        at_min_s=float(when[np.argmin(some)]),
        at_max_s=float(when[np.argmax(some)]),
        limit_low=ends.low,
        limit_high=ends.high,
        seconds_below=_below(some, spent, ends),
        seconds_above=_above(some, spent, ends),
    )


def _manoeuvre_at(evidence: Evidence, time_s: float) -> str | None:
    for manoeuvre in evidence.manoeuvres:
        if manoeuvre.start_s <= time_s <= manoeuvre.end_s:
            return manoeuvre.id
    return None
