"""Gears, axle, tyre, tach and clutch, from engine speed and road speed together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.gearing import figures
from roadtest.measures.gearing.candidates import candidates
from roadtest.measures.gearing.cruise import as_logged, as_noted, cruise_rows
from roadtest.measures.gearing.engaged import GearTrace
from roadtest.measures.gearing.engine import engine_samples
from roadtest.measures.gearing.follow import Followed, follow
from roadtest.measures.gearing.noted import noted_readings, seen_by_hand
from roadtest.measures.gearing.road import Road
from roadtest.measures.gearing.slip import slips
from roadtest.measures.gearing.stories import Seen, Story, compare
from roadtest.measures.gearing.telling import tach_told, told
from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.motion.estimate import Span
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import GearingResult, StoryRow, TachInfo

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SEED_TAG: Final = 420
_MOST_U_OFFSET_S: Final = 0.5
"""Beyond this a tach's clock counts as not found: gear changes last about as long (our choice)."""
_SURE: Final = 0.95  # of one shift among those that were looked at
_STORIES_KEPT: Final = 8
_LEAST_PROBABILITY: Final = 1e-4


@dataclass(frozen=True)
class GearingMeasured:
    """What engine and road speed show together.

    `gear_of`: the gear of each manoeuvre, 0 rolling free, None not known. `gear_s`: the gear at
    every tach sample, for charts (1 and up engaged, 0 neutral, -1 clutch in or between gears).
    """

    result: GearingResult = field(default_factory=GearingResult)
    tach: TachInfo = field(default_factory=TachInfo)
    gear_of: Mapping[str, int | None] = field(default_factory=dict)
    gear_s: GearTrace | None = None
    stories: tuple[Story, ...] = ()
    remarks: tuple[str, ...] = ()
    followed: Followed | None = None

    def is_neutral(self, span: Span) -> bool | None:
        """Return whether the engine was disconnected throughout `span`; None where not known."""
        return None if self.gear_s is None else self.gear_s.is_neutral(span)


def follow_all(evidence: Evidence) -> tuple[Followed, ...]:
    """Return what each log of engine speed shows; draws and notes have no part in it."""
    logs = list(evidence.tach)
    if evidence.gps.engine is not None:
        logs.append(evidence.gps.engine)
    samples = engine_samples(logs, evidence.sheet, evidence.start_unix_s)
    if not samples:
        return ()
    road = Road.of(evidence, smoothed_by_receiver(evidence))
    return tuple(follow(one, evidence, road) for one in samples)


def measure_gearing(
    evidence: Evidence, followed: tuple[Followed, ...] | None = None
) -> GearingMeasured:
    """Return what a drive shows of gearbox, axle, tyre, tach and clutch.

    Works from a tach log, or from engine speed inside the GPS log, or else from tach readings noted
    by hand. Without any of them everything stays empty. `followed` is what `follow_all` gives of
    the evidence, where that is known already.
    """
    followed = follow_all(evidence) if followed is None else followed
    road = Road.of(evidence)
    usable = [one for one in followed if one.fit is not None]
    if usable:
        best = max(usable, key=lambda one: float(one.turns.interval_s[one.sequence.locked].sum()))
        return _from_log(best, evidence, road, len(usable))
    by_hand = _from_notes(evidence, road)
    if not followed:
        return by_hand
    remarks = [text for one in followed for text in one.samples.remarks]
    remarks.append(_no_gears(followed[0]))
    return GearingMeasured(
        result=by_hand.result,
        tach=by_hand.tach,
        stories=by_hand.stories,
        remarks=(*remarks, *by_hand.remarks),
        followed=followed[0],
    )


def _no_gears(followed: Followed) -> str:
    name = followed.samples.name
    if not followed.turns.usable.any():
        return f"{name}: no engine speed while the car was moving, so no gears"
    return (
        f"{name}: engine speed does not keep to fixed ratios with road speed, so no gears are "
        "told (a slipping torque converter, or a clock that could not be matched)"
    )


def _from_log(followed: Followed, evidence: Evidence, road: Road, logs: int) -> GearingMeasured:
    sheet, rng = evidence.sheet, np.random.default_rng([evidence.seed, _SEED_TAG])
    pulls = slips(followed, evidence, road, rng)
    fit = pulls.fit
    followed = replace(followed, fit=fit)
    if fit is None or followed.blocks is None:
        raise ValueError("no gears were fitted")
    k = fit.count
    seen = Seen(fit.log_turns, fit.covariance[:k, :k])
    stories = compare(seen, candidates(sheet))
    best = stories[0]
    drawn = figures.draw(seen, best, sheet, rng)
    trace = GearTrace.of(followed.turns.time_s, followed.sequence.gear, best.gears)
    seconds = followed.blocks.seconds[fit.gears].tolist()
    at_speed = as_logged(followed, drawn.tach_after.size)
    result = GearingResult(
        gears=figures.gear_rows(drawn, best, sheet, seconds),
        revs_per_metre_top=figures.turns_top(drawn),
        steps=figures.steps(drawn, best, sheet),
        gearbox_shown=figures.shown(stories, "box"),
        axle=figures.axle_ratio(drawn, best),
        axle_shown=figures.shown(stories, "axle"),
        circumference=figures.circumference(drawn, best),
        clutch_slip=pulls.largest,
        cruise=()
        if at_speed is None
        else cruise_rows(at_speed, best.gears, road, sheet, drawn.tach_after),
        stories=_rows(stories),
        slips=pulls.named(best.gears),
    )
    offset, clock_remarks = _offset(followed)
    several = () if logs < 2 else (f"{logs} tach logs: gears are from {followed.samples.name}",)
    return GearingMeasured(
        result=result,
        tach=TachInfo(
            offset_s=offset,
            noise=_noise(followed),
            scale=figures.tach_scale(drawn, best),
            drift=Quantity(
                followed.clock.drift + fit.drift,
                COVERAGE_FACTOR_95 * float(np.sqrt(fit.covariance[k + 1, k + 1])),
                "1",
            )
            if offset is not None
            else None,
        ),
        gear_of={made.id: trace.gear_in(made) for made in evidence.manoeuvres},
        gear_s=trace,
        stories=stories,
        remarks=(
            *followed.samples.remarks,
            *several,
            *clock_remarks,
            *tach_told(stories),
            *told(stories, sheet),
        ),
        followed=followed,
    )


def _offset(followed: Followed) -> tuple[Quantity | None, tuple[str, ...]]:
    """Return the tach's clock offset, or why it can't be told."""
    fit, name = followed.fit, followed.samples.name
    if fit is None:
        return None, ()
    sure = followed.fixed and followed.shifts[0].probability >= _SURE
    if fit.u_shift_s > _MOST_U_OFFSET_S or not sure:
        why = (
            f"{name}: this drive does not fix the tach's clock; it takes pulling away and slowing "
            "down a few times in gear"
        )
        return None, (why,)
    offset_s = followed.clock.offset_s + fit.shift_s
    return Quantity(offset_s, COVERAGE_FACTOR_95 * fit.u_shift_s, "s"), ()


def _noise(followed: Followed) -> Quantity | None:
    fit, blocks = followed.fit, followed.blocks
    if fit is None or blocks is None:
        return None
    count = max(blocks.gear.size - fit.count, 2)
    return Quantity(
        fit.noise_rpm, COVERAGE_FACTOR_95 * fit.noise_rpm / float(np.sqrt(2.0 * count)), "r/min"
    )


def _rows(stories: tuple[Story, ...]) -> tuple[StoryRow, ...]:
    kept = [s for s in stories[:_STORIES_KEPT] if s.probability >= _LEAST_PROBABILITY]
    return tuple(
        StoryRow(
            label=story.label,
            probability=story.probability,
            gearbox=story.box.label,
            axle=story.axle.label,
            tach=story.tach.label,
            tyre=story.tyre.label,
        )
        for story in kept
    )


def _from_notes(evidence: Evidence, road: Road) -> GearingMeasured:
    """Return what tach readings noted by hand show; empty without any."""
    readings = noted_readings(evidence, road)
    if not readings:
        return GearingMeasured()
    seen, sheet = seen_by_hand(readings), evidence.sheet
    stories = compare(seen, candidates(sheet))
    best = stories[0]
    drawn = figures.draw(seen, best, sheet, np.random.default_rng([evidence.seed, _SEED_TAG]))
    at_speed = as_noted(drawn.turns, max(reading.rpm for reading in readings))
    result = GearingResult(
        gears=figures.gear_rows(drawn, best, sheet, [None] * seen.count),
        revs_per_metre_top=figures.turns_top(drawn),
        steps=figures.steps(drawn, best, sheet),
        gearbox_shown=figures.shown(stories, "box"),
        axle=figures.axle_ratio(drawn, best),
        axle_shown=figures.shown(stories, "axle"),
        circumference=figures.circumference(drawn, best),
        cruise=cruise_rows(at_speed, best.gears, road, sheet, drawn.tach_after),
        stories=_rows(stories),
    )
    what = "reading" if len(readings) == 1 else "readings"
    remarks = (
        f"No engine speed was logged: gearing is from {len(readings)} tach {what} noted by hand",
    )
    return GearingMeasured(
        result=result,
        tach=TachInfo(scale=figures.tach_scale(drawn, best)),
        gear_of={},
        stories=stories,
        remarks=(*remarks, *tach_told(stories), *told(stories, sheet)),
    )
