"""Every measure of a drive, in the order in which they need one another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np

from roadtest.aside import Aside
from roadtest.evidence import Evidence
from roadtest.measures.braking import BrakingMeasured, measure_braking
from roadtest.measures.channels import ChannelsMeasured, measure_channels
from roadtest.measures.coasting import CoastingMeasured, measure_coasting
from roadtest.measures.gearing import Followed, GearingMeasured, measure_gearing
from roadtest.measures.odometer import OdometerMeasured, measure_odometer
from roadtest.measures.pulls import EngineSpeed, PullsMeasured, measure_pulls
from roadtest.measures.speedometer import SpeedometerMeasured, measure_speedometer
from roadtest.measures.traces import Traces, traces_of
from roadtest.progress import Progress
from roadtest.quantity import Quantity
from roadtest.results import Reading
from roadtest.wording import number_text


@dataclass(frozen=True)
class Measured:
    """What all measures gave."""

    gearing: GearingMeasured
    odometer: OdometerMeasured
    speedometer: SpeedometerMeasured
    braking: BrakingMeasured
    coasting: CoastingMeasured
    pulls: PullsMeasured
    channels: ChannelsMeasured

    @property
    def gear_of(self) -> Mapping[str, int | None]:
        """The gear of each manoeuvre, by its id."""
        return self.gearing.gear_of

    @property
    def set_aside(self) -> Mapping[str, str]:
        """Why a measure did not use a manoeuvre, by its id."""
        return {**self.braking.set_aside, **self.coasting.set_aside}

    @property
    def doubts(self) -> Mapping[str, str]:
        """What to look at before a figure is believed, by the measure that it is of."""
        dial, counter = self.speedometer, self.odometer
        # A dial that is in doubt itself puts no odometer in doubt.
        other = "" if dial.doubt else unlike(dial.result.readings, counter.result.scale)
        said = {"speedometer": dial.doubt, "odometer": counter.doubt or other}
        return {measure: doubt for measure, doubt in said.items() if doubt}

    @property
    def remarks(self) -> Mapping[str, tuple[str, ...]]:
        """What the measures noticed, in words, by section of the results."""
        return {
            "gearing": self.gearing.remarks,
            "braking": self.braking.remarks,
            "coasting": self.coasting.remarks,
            "pulls": self.pulls.remarks,
            "channels": self.channels.remarks,
        }

    @cached_property
    def traces(self) -> Traces:
        """Curves behind the results, for charts."""
        return traces_of(self.gearing, self.speedometer, self.coasting, self.braking)


def measure_all(
    evidence: Evidence, progress: Progress, followed: Aside[tuple[Followed, ...]] | None = None
) -> Measured:
    """Return all that the evidence shows; `followed` is `follow_all` of it, begun before."""
    progress("measuring the speedometer", 0.65)
    odometer = measure_odometer(evidence)
    speedometer = measure_speedometer(evidence, odometer.result)
    progress("measuring the stops", 0.7)
    braking = measure_braking(evidence)
    progress("following the gears", 0.75)
    gearing = measure_gearing(evidence, None if followed is None else followed.result())
    progress("measuring the coast-downs", 0.85)
    coasting = measure_coasting(evidence, gearing.gear_of)
    progress("measuring the pulls", 0.9)
    pulls = measure_pulls(
        evidence, gearing.gear_of, coasting, _engine_speed(gearing), braking.smoothing_s
    )
    channels = measure_channels(evidence)
    return Measured(gearing, odometer, speedometer, braking, coasting, pulls, channels)


def _engine_speed(gearing: GearingMeasured) -> EngineSpeed | None:
    """Return true engine speed: as shown, over the scale that the gearing gives the tach."""
    if gearing.followed is None or gearing.tach.scale is None:
        return None
    turns = gearing.followed.turns
    return EngineSpeed(turns.time_s, turns.rpm / gearing.tach.scale.value)


def measure_again(evidence: Evidence, before: Measured, was: Evidence) -> Measured:
    """Return what all measures give of `evidence`; the same as `measure_all`, and quicker.

    `before` is what they gave of `was`, the same evidence but for notes, targets and what is left
    out. What rests on none of the changes is taken over.
    """
    new = before
    if _changed(was, evidence, "gearing"):
        new = replace(new, gearing=measure_gearing(evidence))
    if _changed(was, evidence, "odometer"):
        new = replace(new, odometer=measure_odometer(evidence))
    if new.odometer is not before.odometer or _changed(was, evidence, "speedometer"):
        new = replace(new, speedometer=measure_speedometer(evidence, new.odometer.result))
    if _changed(was, evidence, "braking"):
        new = replace(new, braking=measure_braking(evidence))
    other_gears = new.gear_of != before.gear_of
    if other_gears or _changed(was, evidence, "coasting"):
        new = replace(new, coasting=measure_coasting(evidence, new.gear_of))
    taken_over = (
        new.gearing is before.gearing
        and new.coasting is before.coasting
        and np.array_equal(new.braking.smoothing_s, before.braking.smoothing_s)
    )
    if not taken_over or _changed(was, evidence, "pulls"):
        engine, smoothing_s = _engine_speed(new.gearing), new.braking.smoothing_s
        new = replace(
            new, pulls=measure_pulls(evidence, new.gear_of, new.coasting, engine, smoothing_s)
        )
    if _changed(was, evidence, "channels"):
        new = replace(new, channels=measure_channels(evidence))
    return new


def unlike(readings: Sequence[Reading], counter: Quantity | None) -> str:
    """Say where dial and odometer, which one cable or signal drives, are too far apart.

    The dial by all its readings together, which is far better known than the slope of its law.
    """
    both = [(r.indicated, r.true) for r in readings if r.indicated and r.true]
    true = sum(true.value for _, true in both)
    if counter is None or true <= 0.0:
        return ""
    dial = sum(shown.value for shown, _ in both) / true
    if _COUNTER_LOW * dial < counter.value < _COUNTER_HIGH * dial:
        return ""
    return (
        f"The odometer counts {number_text(counter.value, 3)} times the way driven, but the dial "
        f"shows {number_text(dial, 3)} times the speed, and as a rule one drive "
        "turns both: look whether a reading or its time is miswritten"
    )


@dataclass(frozen=True)
class _Needs:
    """What a measure rests on that a person may change."""

    kinds: tuple[str, ...] = ()  # of manoeuvres
    items: tuple[str, ...] = ()  # of notes
    targets: tuple[str, ...] = ()  # ids, or how they begin


_COUNTER_LOW: Final = 0.8
_COUNTER_HIGH: Final = 1.1
"""What an odometer may count over what the dial shows: dials are made to show more, up to a tenth
and 4 km/h by UN R39, 5.3, odometers to count right. The rest of the margin is our choice."""

_NEEDS: Final = {
    "gearing": _Needs(("pull",), ("tach", "gear"), ("cruise_rpm",)),
    "odometer": _Needs((), ("odometer",), ("odometer",)),
    "speedometer": _Needs(("hold",), ("indicated speed",), ("speedometer", "odometer")),
    "braking": _Needs(("stop",), (), ("stopping_distance",)),
    "coasting": _Needs(("coast",), ("gear",)),
    "pulls": _Needs(("pull",), (), ("through", "standing")),
    "channels": _Needs((), (), ("channel.",)),
}


def _changed(was: Evidence, now: Evidence, measure: str) -> bool:
    """Return whether anything changed that a measure rests on."""
    needs = _NEEDS[measure]
    looks: tuple[Callable[[Evidence], Any], ...] = (
        lambda seen: [m for m in seen.manoeuvres if m.kind in needs.kinds],
        lambda seen: [t for t in seen.sheet.targets if t.id.startswith(needs.targets)],
        lambda seen: _noted(seen, needs.items),
    )
    return any(look(was) != look(now) for look in looks)


def _noted(seen: Evidence, items: tuple[str, ...]) -> tuple[Any, ...]:
    """Return the notes of these items, each with whether it was made in what is left out."""
    rows = () if seen.notes is None else seen.notes.rows
    out = [(m.start_s, m.end_s) for m in seen.manoeuvres if m.left_out]

    def inside(time_s: float | None) -> bool:
        at_s = None if time_s is None else time_s - seen.start_unix_s
        return at_s is not None and any(start <= at_s <= end for start, end in out)

    return tuple((row, inside(row.time_s)) for row in rows if row.item in items)
