"""Every measure of a drive, in the order in which they need one another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from roadtest.evidence import Evidence
from roadtest.measures.braking import measure_braking
from roadtest.measures.channels import measure_channels
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.odometer import measure_odometer
from roadtest.measures.pulls import measure_pulls
from roadtest.measures.speedometer import measure_speedometer
from roadtest.measures.traces import Traces, traces_of
from roadtest.progress import Progress
from roadtest.results import (
    BrakingResult,
    ChannelResult,
    CoastingResult,
    GearingResult,
    OdometerResult,
    PullsResult,
    SpeedometerResult,
    TachInfo,
)


@dataclass(frozen=True)
class Measured:
    """What all measures gave. Sections that nothing was measured for stay empty."""

    gearing: GearingResult = field(default_factory=GearingResult)
    tach: TachInfo = field(default_factory=TachInfo)
    gear_of: Mapping[str, int | None] = field(default_factory=dict)  # by manoeuvre
    speedometer: SpeedometerResult = field(default_factory=SpeedometerResult)
    odometer: OdometerResult = field(default_factory=OdometerResult)
    braking: BrakingResult = field(default_factory=BrakingResult)
    coasting: CoastingResult = field(default_factory=CoastingResult)
    pulls: PullsResult = field(default_factory=PullsResult)
    channels: tuple[ChannelResult, ...] = ()
    set_aside: Mapping[str, str] = field(default_factory=dict)
    """Why a measure did not use a manoeuvre, by its id."""
    remarks: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """What the measures noticed, in words, by section of the results."""
    traces: Traces = field(default_factory=Traces)
    """Curves behind the results, for charts."""


def measure_all(evidence: Evidence, progress: Progress) -> Measured:
    """Return all that the evidence shows."""
    progress("following the gears", 0.65)
    gearing = measure_gearing(evidence)
    progress("measuring the speedometer", 0.75)
    speedometer = measure_speedometer(evidence)
    odometer = measure_odometer(evidence)
    progress("measuring the stops", 0.8)
    braking = measure_braking(evidence)
    progress("measuring the coast-downs", 0.85)
    coasting = measure_coasting(evidence, gearing.gear_of)
    progress("measuring the pulls", 0.9)
    pulls = measure_pulls(evidence, gearing.gear_of, coasting)
    channels = measure_channels(evidence)
    return Measured(
        gearing=gearing.result,
        tach=gearing.tach,
        gear_of=gearing.gear_of,
        speedometer=speedometer.result,
        odometer=odometer.result,
        braking=braking.result,
        coasting=coasting.result,
        pulls=pulls.result,
        channels=channels.result,
        set_aside={**braking.set_aside, **coasting.set_aside},
        remarks={
            "gearing": gearing.remarks,
            "braking": braking.remarks,
            "coasting": coasting.remarks,
            "pulls": pulls.remarks,
            "channels": channels.remarks,
        },
        traces=traces_of(gearing, speedometer, coasting, braking),
    )


def measure_dial_again(evidence: Evidence, before: Measured) -> Measured:
    """Return what `before` becomes where nothing but readings of the dial in the notes changed.

    `before` is what all measures gave of the same evidence but for such readings. Only the
    speedometer and the odometer rest on them.
    """
    speedometer = measure_speedometer(evidence)
    return replace(
        before,
        speedometer=speedometer.result,
        odometer=measure_odometer(evidence).result,
        traces=replace(before.traces, dial=speedometer.fit),
    )
