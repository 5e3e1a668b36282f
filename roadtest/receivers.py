"""Which GPS logs come from one receiver, and which receiver knows the speed best."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from roadtest.geodesy import local_metres
from roadtest.logs.model import Floats, GpsLog, Ints, Loss, TachLog
from roadtest.motion.screening import LONGEST_BREAK_S

_MAD_TO_SD: Final = 1.4826  # of a normal distribution
_SECOND_DIFFERENCE_VARIANCE: Final = 6.0  # of white noise of variance 1: 1 + 4 + 1
_LEAST_SPEED_SD: Final = 0.02
"""m/s. The slow part of a receiver's speed error, 0.01 to 0.03 m/s, is in every log."""
_LEAST_POSITION_SD: Final = 0.1
"""m. Our choice: below it, rounding and smoothing make the figure meaningless."""
_DOPPLER_SHARE: Final = 0.5  # of the fixes must carry a speed for the log to be one of speed


@dataclass(frozen=True)
class Receiver:
    """The logs of one receiver in order of time, and the one log they make together."""

    parts: tuple[GpsLog, ...]
    log: GpsLog


def has_speed(log: GpsLog) -> bool:
    """Return whether the receiver's own speed is in the log, for half of the fixes at least."""
    return bool(np.isfinite(log.speed_mps).mean() >= _DOPPLER_SHARE)


def find_receivers(logs: Iterable[GpsLog]) -> tuple[Receiver, ...]:
    """Return the receivers behind `logs`, the one that knows the speed best first.

    Logs of one kind that follow one another in time come from one receiver, and so do logs that
    overlap and have the same positions at the same times. All others are receivers of their own.
    """
    chains: list[list[GpsLog]] = []
    for log in sorted(logs, key=lambda log: (log.time_s[0], log.name)):
        fitting = [chain for chain in chains if _continues(chain, log)]
        if fitting:
            max(fitting, key=lambda chain: _alikeness(chain[-1], log)).append(log)
        else:
            chains.append([log])
    found = [Receiver(tuple(chain), join(chain)) for chain in chains]
    return tuple(sorted(found, key=lambda receiver: _merit(receiver.log, found), reverse=True))


def _continues(chain: Sequence[GpsLog], log: GpsLog) -> bool:
    last = chain[-1]
    if last.kind != log.kind or has_speed(last) != has_speed(log):
        return False
    end = max(part.time_s[-1] for part in chain)
    if log.time_s[0] > end:
        return bool(log.time_s[0] - end <= LONGEST_BREAK_S)
    return any(_same_fixes(part, log) for part in chain)


def _same_fixes(one: GpsLog, other: GpsLog) -> bool:
    """Return whether two logs have times in common, and at all of these the same position."""
    _, of_one, of_other = np.intersect1d(one.time_s, other.time_s, return_indices=True)
    return bool(
        of_one.size
        and np.array_equal(one.latitude_deg[of_one], other.latitude_deg[of_other])
        and np.array_equal(one.longitude_deg[of_one], other.longitude_deg[of_other])
    )


def _alikeness(last: GpsLog, log: GpsLog) -> tuple[bool, float, float]:
    """Return how much `log` is like what follows `last`; more is more alike."""
    rates = abs(np.log(_interval(last) / _interval(log)))
    return last.source == log.source, -float(np.round(rates, 1)), -float(log.time_s[0])


def _interval(log: GpsLog) -> float:
    return float(np.median(np.diff(log.time_s))) if log.time_s.size > 1 else 1.0


def _merit(log: GpsLog, rivals: Sequence[Receiver]) -> tuple[bool, bool, float]:
    """Return what to rank receivers by: long enough, speed of its own, information about it.

    Long enough is half of what the longest covers. Information is usable fixes over noise
    variance, so rate, fixes lost and noise all count.
    """
    longest = max(rival.log.time_s[-1] - rival.log.time_s[0] for rival in rivals)
    long_enough = log.time_s[-1] - log.time_s[0] >= 0.5 * longest
    return bool(long_enough), has_speed(log), log.time_s.size / _noise_variance(log)


def _noise_variance(log: GpsLog) -> float:
    """Return a rough variance of the white noise of speed, (m/s)²; of position, m², without speed.

    By the median size of second differences between evenly spaced fixes, which a steady drive
    leaves alone; what rounding adds is counted too.
    """
    if has_speed(log):
        return max(_white_variance(log.time_s, log.speed_mps), _LEAST_SPEED_SD**2)
    east, north = local_metres(log.latitude_deg, log.longitude_deg)
    mean = 0.5 * (_white_variance(log.time_s, east) + _white_variance(log.time_s, north))
    return max(mean, _LEAST_POSITION_SD**2)


def _white_variance(time_s: Floats, values: Floats) -> float:
    if time_s.size < 3:
        return np.inf
    interval = np.diff(time_s)
    even = (interval[1:] <= 1.5 * np.median(interval)) & (
        interval[:-1] <= 1.5 * np.median(interval)
    )
    second = np.diff(values, 2)[even]
    second = second[np.isfinite(second)]
    if not second.size:
        return np.inf
    sd = _MAD_TO_SD * float(np.median(np.abs(second)))
    steps = np.abs(np.diff(np.unique(values[np.isfinite(values)])))
    rounding = float(steps.min()) ** 2 / 12.0 if steps.size else 0.0
    return sd**2 / _SECOND_DIFFERENCE_VARIANCE + rounding


def join(parts: Sequence[GpsLog]) -> GpsLog:
    """Return one log of the logs of one receiver, in order of their first fix.

    Segments are numbered on. A fix that two parts share is taken once. The losses stay summed, the
    first of each with its file.
    """
    if len(parts) == 1:
        return parts[0]
    time = np.concatenate([part.time_s for part in parts])
    kept, order = np.unique(time, return_index=True)
    first = parts[0]
    return replace(
        first,
        name=f"{first.name} to {parts[-1].name}",
        time_s=kept,
        latitude_deg=_column([part.latitude_deg for part in parts], order),
        longitude_deg=_column([part.longitude_deg for part in parts], order),
        altitude_m=_column([part.altitude_m for part in parts], order),
        speed_mps=_column([part.speed_mps for part in parts], order),
        course_deg=_column([part.course_deg for part in parts], order),
        hdop=_column([part.hdop for part in parts], order),
        u_position_m=_column([part.u_position_m for part in parts], order),
        segment=_segments(parts)[order],
        source=", ".join(dict.fromkeys(part.source for part in parts if part.source)),
        fixes_read=sum(part.fixes_read for part in parts),
        rejected=_losses(parts),
        remarks=tuple(dict.fromkeys(remark for part in parts for remark in part.remarks)),
        engine=None,
    )


def _column(columns: Sequence[Floats], order: Ints) -> Floats:
    return np.concatenate(columns)[order]


def _segments(parts: Sequence[GpsLog]) -> Ints:
    numbered, base = [], 0
    for part in parts:
        numbered.append(part.segment - part.segment.min() + base)
        base = int(numbered[-1].max()) + 1
    return np.concatenate(numbered)


def _losses(parts: Sequence[GpsLog | TachLog]) -> Mapping[str, Loss]:
    total: dict[str, Loss] = {}
    for part in parts:
        for reason, loss in part.rejected.items():
            before = total.get(reason, Loss(0, f"{part.name}, {loss.first}"))
            total[reason] = Loss(before.count + loss.count, before.first)
    return total


def join_tachs(logs: Sequence[TachLog]) -> tuple[TachLog, ...]:
    """Return `logs` with those that follow one another on UTC made one, in order of time."""
    chains: list[list[TachLog]] = []
    for log in sorted(logs, key=lambda log: (log.clock, log.time_s[0], log.name)):
        last = chains[-1][-1] if chains else None
        if last is not None and _tach_continues(last, log):
            chains[-1].append(log)
        else:
            chains.append([log])
    return tuple(_joined_tach(chain) for chain in chains)


def _tach_continues(last: TachLog, log: TachLog) -> bool:
    both_utc = last.clock == log.clock == "utc"
    alike = (last.rpm is None) == (log.rpm is None)
    return both_utc and alike and 0.0 < log.time_s[0] - last.time_s[-1] <= LONGEST_BREAK_S


def _joined_tach(parts: Sequence[TachLog]) -> TachLog:
    if len(parts) == 1:
        return parts[0]
    speeds = [part.rpm for part in parts if part.rpm is not None]
    return replace(
        parts[0],
        name=f"{parts[0].name} to {parts[-1].name}",
        time_s=np.concatenate([part.time_s for part in parts]),
        rpm=np.concatenate(speeds) if speeds else None,
        rows_read=sum(part.rows_read for part in parts),
        rejected=_losses(parts),
        ignored_columns=tuple(dict.fromkeys(c for part in parts for c in part.ignored_columns)),
        remarks=tuple(dict.fromkeys(remark for part in parts for remark in part.remarks)),
    )
