"""The odometer: distance shown against distance driven over the same stretch."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.clock import BESIDE_S, Stretch, notes_in_utc
from roadtest.evidence import Evidence
from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.motion.distance import distance_driven
from roadtest.motion.estimate import Motion
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import Limit, OdometerReading, OdometerResult
from roadtest.units import to_si
from roadtest.verdicts import judge
from roadtest.wording import number_text, plural

Floats = NDArray[np.float64]

_DRAWS: Final = 4000
_STANDING_MPS: Final = 0.5
_WHEELS: Final = (1e3, 1e4, 1e5, 1e6)  # what a counter may go round at, in its own unit
_MOST_RISE: Final = 2.0  # times the way driven: beyond it, it is another counter (our choice)
_ROUND_SHARE: Final = 0.2  # of the way driven, that a counter gone round may be off by
_LEAST_WAY_M: Final = 100.0
_LEAST_VARIANCE_M2: Final = 1.0  # a reading is not known closer than to a metre
_TOO_FAR_M: Final = to_si(200.0, "mile")  # no shakedown drive is longer; our choice
_MARGIN: Final = 1.2  # asked for on top of the distance that would just do
_U_TRIANGLE_95: Final = 1.0 - math.sqrt(0.05)  # of the difference of two readings to a step
_HOW: Final = "note it where the car stands, as the last digit turns over"
_TOO_NEAR: Final = (
    "The odometer lies so near its limit that no drive of a sensible length will tell on which side"
)
_UNITS_MIXED: Final = math.sqrt(1.609344)  # middle between right and km taken for miles


@dataclass(frozen=True)
class OdometerMeasured:
    """The results; the advice is in them too."""

    result: OdometerResult

    doubt: str = ""  # what to look at before any of it is believed

    @property
    def advice(self) -> str:
        """What to drive next, or ""."""
        return self.result.advice


@dataclass(frozen=True)
class _Read:
    """One reading: `run` counts the times the counter was set back before it."""

    at_s: float
    u_time_s: float
    shown_m: float
    step_m: float
    place: str
    run: int = 0
    why_not: str = ""
    jumped_m: float = 0.0  # beyond what was driven since the one before: another counter's


def measure_odometer(evidence: Evidence) -> OdometerMeasured:
    """Return what the drive shows of the odometer.

    scale = distance shown / distance driven between the first and the last reading; with more than
    two, the slope of shown over driven by weighted least squares. `indicated` and `true` are from
    the first to the last reading of the longest run.

    Uncertainty, by draws: each reading's last digit (all of a step as likely, whether the wheel
    jumps or rolls), the time of each note (nothing while the car stands), the distance driven.
    """
    motion = evidence.motion
    reads = _with_runs(tuple(_readings(evidence)), motion, evidence.sheet)
    used = [read for read in reads if not read.why_not]
    jumps = tuple(_told_jump(read, evidence.sheet) for read in used if read.jumped_m)
    result = OdometerResult(
        readings=tuple(_told(read) for read in reads),
        since_reset=_since_reset(used, evidence),
        notes=(*(f"{read.place}: {read.why_not}" for read in reads if read.why_not), *jumps),
    )
    ends = _longest(used, motion)
    if ends is not None:
        result = _compared(result, evidence, used, ends)
    mixed = _mixed(result.scale)
    doubts = (*(jumps if result.scale is None else ()), *mixed)
    alone = _why_not_compared(used) if ends is None and not jumps else ()
    result = _advised(replace(result, notes=(*result.notes, *mixed, *alone)), evidence.sheet)
    return OdometerMeasured(result, doubts[0] if doubts else "")


def odometer_limit(sheet: BuildSheet) -> Limit | None:
    """Return the sheet's target as a limit on the scale, None without one."""
    for target in sheet.targets.named("odometer"):
        if isinstance(target.value, float):
            return Limit(1.0 - target.value, 1.0 + target.value, "1")
    return None


def _readings(evidence: Evidence) -> Iterator[_Read]:
    """Yield the readings in the order of their times; the sheet's only where few were noted."""
    noted = sorted(_noted(evidence), key=lambda read: read.at_s)
    start = evidence.sheet.car.odometer
    usable = sum(not read.why_not for read in noted)
    if start is not None and usable < 2:
        step = to_si(0.1, "mile" if evidence.sheet.units == "mph" else "km")
        if start.u95 is not None:
            step = math.sqrt(12.0) * start.u95 / COVERAGE_FACTOR_95
        standing = evidence.motion.speed_mps[0] < _STANDING_MPS
        why_not = "" if standing else "the log begins on the move: not the start of the drive"
        yield _Read(0.0, 0.0, start.value, step, "the build sheet's odometer", why_not=why_not)
    yield from noted


def _noted(evidence: Evidence) -> Iterator[_Read]:
    if evidence.notes is None:
        return
    motion, start_s = evidence.motion, evidence.start_unix_s
    end_s = float(motion.time_s[-1])
    notes = notes_in_utc(
        evidence.notes, Stretch(start_s, start_s + end_s), evidence.sheet.utc_offset_s
    )
    for note in notes.rows:
        if note.item != "odometer" or note.value is None:
            continue
        at_s = 0.0 if note.time_s is None else note.time_s - start_s
        why_not = ""
        if note.time_s is None:
            why_not = "no time noted, so there is no distance to compare it with"
        elif not -BESIDE_S <= at_s <= end_s + BESIDE_S:
            why_not = "its time lies outside the drive"
        elif at_s < 0.0 and motion.speed_mps[0] >= _STANDING_MPS:
            why_not = "noted before the log begins, and the log begins on the move"
        elif at_s > end_s and motion.speed_mps[-1] >= _STANDING_MPS:
            why_not = "noted after the log ends, and the log ends on the move"
        place = f"{notes.name} line {note.line}"
        yield _Read(at_s, note.u_time_s, note.value, note.resolution or 0.0, place, why_not=why_not)


def _with_runs(reads: Sequence[_Read], motion: Motion, sheet: BuildSheet) -> tuple[_Read, ...]:
    """Return the readings with counters gone round made to go on, and resets counted.

    A reading below the one before it is that of a counter gone round where a whole turn of its
    wheels puts it near where it should be, else of one set back. A reading far above it is that
    of another counter (total and trip in turn), or miswritten.
    """
    unit_m = to_si(1.0, "mile" if sheet.units == "mph" else "km")
    made: list[_Read] = []
    last: _Read | None = None
    added_m, run = 0.0, 0
    for read in reads:
        if read.why_not:
            made.append(read)
            continue
        shown = read.shown_m + added_m
        if last is not None and shown < last.shown_m - read.step_m:
            gone = _roughly(motion, last.at_s, read.at_s)
            short = last.shown_m + gone - shown
            slack = _ROUND_SHARE * gone + 2.0 * read.step_m
            turn = next((w * unit_m for w in _WHEELS if abs(w * unit_m - short) <= slack), None)
            if turn is None:
                read = replace(read, jumped_m=shown - last.shown_m)
                added_m, run = 0.0, run + 1
            else:
                added_m += turn
        elif last is not None:
            gone = _roughly(motion, last.at_s, read.at_s)
            if shown - last.shown_m > _MOST_RISE * gone + 4.0 * read.step_m:
                read = replace(read, jumped_m=shown - last.shown_m)
                added_m, run = 0.0, run + 1
        last = replace(read, shown_m=read.shown_m + added_m, run=run)
        made.append(last)
    return tuple(made)


def _told_jump(read: _Read, sheet: BuildSheet) -> str:
    """Say that a reading is not compared with the one before it, and what may be behind it."""
    unit = "mile" if sheet.units == "mph" else "km"
    way = number_text(abs(read.jumped_m) / to_si(1.0, unit), 4)
    way += " miles" if unit == "mile" else " km"
    if read.jumped_m < 0.0:
        why = f"{way} less than the reading before it, so not compared with that: set back,"
    else:
        why = f"{way} more than the reading before it, far beyond the way driven, so not compared:"
    return f"{read.place}: {why} another counter, another unit, or miswritten?"


def _mixed(scale: Quantity | None) -> tuple[str, ...]:
    """Return the question to ask where no odometer is off by as much."""
    if scale is None or 1.0 / _UNITS_MIXED < scale.value < _UNITS_MIXED:
        return ()
    return (
        f"the odometer counted {number_text(scale.value, 3)} times the way driven: were miles and "
        "km mixed up, or a figure miswritten?",
    )


def _why_not_compared(used: Sequence[_Read]) -> tuple[str, ...]:
    """Return why readings in order give no distance to hold against the one driven."""
    if not used:
        return ()
    if len(used) == 1:
        return (f"only one reading ({used[0].place}): it takes one at each end of a drive",)
    return ("the readings stand too close to each other: it takes one at each end of a drive",)


def _told(read: _Read) -> OdometerReading:
    shown = Quantity(read.shown_m, 0.475 * read.step_m, "m")  # 95 % of half a step either side
    return OdometerReading(read.at_s, shown, not read.why_not, read.why_not or read.place)


def _roughly(motion: Motion, from_s: float, to_s: float) -> float:
    """Return the distance between two moments, m, the ends of the log holding beyond them."""
    ends = np.interp([from_s, to_s], motion.time_s, motion.distance_m)
    return float(ends[1] - ends[0])


def _driven(evidence: Evidence, from_s: float, to_s: float) -> Quantity:
    """Return the distance along the road between two moments, those beyond the log at its ends."""
    first, last = float(evidence.motion.time_s[0]), float(evidence.motion.time_s[-1])
    start, end = (min(max(at, first), last) for at in (from_s, to_s))
    smoothed = smoothed_by_receiver(evidence)
    return distance_driven(evidence.motion, evidence.ground, start, end, smoothed)


def _since_reset(reads: Sequence[_Read], evidence: Evidence) -> Quantity | None:
    """Return the way from the last reset (the first reading without one) to the end of the log."""
    if not reads:
        return None
    first = next(read for read in reads if read.run == reads[-1].run)
    return _driven(evidence, first.at_s, float(evidence.motion.time_s[-1]))


def _longest(reads: Sequence[_Read], motion: Motion) -> tuple[int, int] | None:
    """Return which are the first and last reading of the run with the longest way, None if short.

    Runs follow one another, so that all readings of one stand together.
    """
    best, longest = None, _LEAST_WAY_M
    for run in {read.run for read in reads}:
        own = [k for k, read in enumerate(reads) if read.run == run]
        length = _roughly(motion, reads[own[0]].at_s, reads[own[-1]].at_s)
        if length >= longest:
            best, longest = (own[0], own[-1]), length
    return best


def _compared(
    result: OdometerResult, evidence: Evidence, reads: Sequence[_Read], ends: tuple[int, int]
) -> OdometerResult:
    """Return the result with shown, driven and scale; `ends` as `_longest` has them."""
    rng = np.random.default_rng([evidence.seed, 42])
    run = np.array([read.run for read in reads])
    shown = np.array([read.shown_m for read in reads])
    steps = np.array([read.step_m for read in reads])
    legs = [_driven(evidence, a.at_s, b.at_s) for a, b in itertools.pairwise(reads)]
    way = np.concatenate([[0.0], np.cumsum([leg.value for leg in legs])])
    moved, along = _way_errors(evidence.motion, reads, legs, rng)
    true = way + moved + along
    drawn = shown + steps * rng.uniform(-0.5, 0.5, true.shape)
    # What is a reading's own, last digit and time, gives it its weight.
    weight = 1.0 / np.maximum(steps**2 / 12.0 + moved.var(axis=0), _LEAST_VARIANCE_M2)
    scale = float(_slope(way[None], shown[None], weight, run)[0])
    first, last = ends
    whole = _driven(evidence, reads[first].at_s, reads[last].at_s).value
    counted = float(shown[last] - shown[first])
    gone = true[:, last] - true[:, first] - (way[last] - way[first])
    return replace(
        result,
        indicated=Quantity(counted, _half_width(drawn[:, last] - drawn[:, first] - counted), "m"),
        true=Quantity(whole, _half_width(gone), "m"),
        scale=Quantity(scale, _half_width(_slope(true, drawn, weight, run) - scale), "1"),
    )


def _way_errors(
    motion: Motion, reads: Sequence[_Read], legs: Sequence[Quantity], rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return [draws, n] twice: errors of the distance at each reading, of its time and of the log.

    A note's time may be off by any amount while the car stands.
    """
    at = np.array([read.at_s for read in reads])
    late = np.array([read.u_time_s for read in reads]) * rng.normal(size=(_DRAWS, at.size))
    moved = np.interp(at + late, motion.time_s, motion.distance_m)
    moved -= np.interp(at, motion.time_s, motion.distance_m)
    u_legs = np.array([0.0, *(leg.u95 / COVERAGE_FACTOR_95 for leg in legs)])
    return moved, np.cumsum(u_legs * rng.normal(size=(_DRAWS, at.size)), axis=1)


def _slope(true: Floats, shown: Floats, weight: Floats, run: NDArray[np.int64]) -> Floats:
    """Return the weighted slope of shown over true [k, n], each run about its own means."""
    above, below = np.zeros(shown.shape[0]), np.zeros(shown.shape[0])
    for number in np.unique(run):
        own = run == number
        share = weight[own] / weight[own].sum()
        x = true[:, own] - (true[:, own] @ share)[:, None]
        y = shown[:, own] - (shown[:, own] @ share)[:, None]
        above += (x * y) @ weight[own]
        below += (x * x) @ weight[own]
    return above / below


def _half_width(departures: Floats) -> float:
    """Return half the width of the symmetric 95 % interval about 0 (JCGM 101:2008, 7.7)."""
    return float(np.quantile(np.abs(departures), 0.95))


def _advised(result: OdometerResult, sheet: BuildSheet) -> OdometerResult:
    """Return the result with how many more miles would settle the target."""
    limit, scale, true = odometer_limit(sheet), result.scale, result.true
    if scale is None or true is None:
        return result if limit is None else replace(result, advice=_first_advice(limit, sheet))
    if limit is None or judge(scale, limit).verdict != "not proven":
        return result
    ends = [end for end in (limit.low, limit.high) if end is not None]
    margin = min(abs(scale.value - end) for end in ends)
    # The last digit and the times of the notes weigh as one over the way between the readings.
    needed = math.inf if margin == 0.0 else true.value * scale.u95 / margin * _MARGIN
    if needed > _TOO_FAR_M:
        return replace(result, advice=f"{_TOO_NEAR}; {_HOW}")
    more = needed - true.value
    said = _rounded_up(more, sheet.units)
    way = f"Drive {said} more between the first and the last reading of the odometer"
    return replace(result, more=more, advice=f"{way}; {_HOW}")


def _first_advice(limit: Limit, sheet: BuildSheet) -> str:
    """Return how far to drive when there is nothing yet: half of the limit for the last digit."""
    units = sheet.units
    step = to_si(0.1, "mile" if units == "mph" else "km")
    share = min(abs(1.0 - end) for end in (limit.low, limit.high) if end is not None)
    way = 2.0 * _U_TRIANGLE_95 * step / share
    said = _rounded_up(way, units)
    return f"Note the odometer to the tenth, with the time, at two stops {said} or more apart"


def _rounded_up(way_m: float, units: str) -> str:
    """Return a way rounded up to whole units, "1 mile", "42 miles" or "42 km"."""
    unit = "mile" if units == "mph" else "km"
    count = max(1, math.ceil(way_m / to_si(1.0, unit)))
    return plural(count, unit) if units == "mph" else f"{count} {unit}"
