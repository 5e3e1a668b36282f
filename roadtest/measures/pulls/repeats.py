"""Best of and mean of runs that measure the same thing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from roadtest.quantity import Quantity
from roadtest.results import Repeat


@dataclass(frozen=True)
class Timed:
    """One timing: gear None and from_ None from rest."""

    gear: int | None
    from_: Quantity | None
    to: Quantity | None
    time: Quantity | None
    manoeuvre: str | None
    flat_out: bool = False


def repeats_of(timed: Sequence[Timed]) -> tuple[Repeat, ...]:
    """Return best and mean of everything that was timed at least twice, in the order driven.

    The mean's interval holds both what each timing is not known by, and how far the runs scatter:
    it is that of the mean of these runs, not of what another run would show. Pulls in gears that
    are not known may have been in different ones: they repeat nothing. Where a run is shown to have
    been flat out, one that is not measures something else.
    """
    groups: dict[tuple[int | None, float, float], list[Timed]] = {}
    for one in timed:
        in_unknown_gear = one.gear is None and one.from_ is not None
        if one.time is not None and one.to is not None and not in_unknown_gear:
            start = 0.0 if one.from_ is None else one.from_.value
            key = (one.gear, round(start, 3), round(one.to.value, 3))
            groups.setdefault(key, []).append(one)
    alike = (_alike(group) for group in groups.values())
    return tuple(_repeat(group) for group in alike if len(group) > 1)


def _alike(group: Sequence[Timed]) -> Sequence[Timed]:
    return [one for one in group if one.flat_out] or group


def _repeat(group: Sequence[Timed]) -> Repeat:
    times = [one.time for one in group if one.time is not None]
    values = np.array([time.value for time in times])
    # Runs are apart in time, so their errors are their own.
    u95 = float(np.sqrt(sum(time.u95**2 for time in times))) / len(times)
    return Repeat(
        gear=group[0].gear,
        from_=group[0].from_,
        to=group[0].to,
        best=times[int(np.argmin(values))],
        mean=Quantity(float(values.mean()), u95, times[0].unit),
        manoeuvres=tuple(one.manoeuvre for one in group if one.manoeuvre),
    )
