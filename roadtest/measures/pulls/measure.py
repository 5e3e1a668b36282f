"""Pulls and standing starts of a drive as results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.manoeuvres.pulls import LEAST_ROTATING, MOST_ROTATING
from roadtest.measures.air import Air, air_of_the_day
from roadtest.measures.coasting import CoastingMeasured
from roadtest.measures.inertia import geared_factor_draws, mass_draws
from roadtest.measures.power_correction import (
    iso_1585_factor,
    outside_iso_1585,
    saturation_pressure_pa,
)
from roadtest.measures.pulls.change_up import change_up_s
from roadtest.measures.pulls.crossing import Path
from roadtest.measures.pulls.effort import Effort, Tried, efforts, peak_power
from roadtest.measures.pulls.power import PowerCurve, Resistance, power_curve
from roadtest.measures.pulls.repeats import Timed, repeats_of
from roadtest.measures.pulls.spans import Span, pull_path, span_times, spans_covered, through_spans
from roadtest.measures.pulls.standing import standing_rows
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import PowerPoint, PullRun, PullsResult, Standing, StandingDistance
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]
_Row = TypeVar("_Row", PullRun, Standing)

_SEED_TAG: Final = 520
# Typical of small open cars, for drives without a coast-down: rolling coefficients of handbooks'
# radials and cross-plies, 0.011 to 0.019, and drag areas of 0.55 to 0.80 m² (values from memory).
_TYPICAL_ROLLING: Final = (0.015, 0.005)  # value, half-width of the 95 % interval
_TYPICAL_AREA_M2: Final = (0.675, 0.20)


@dataclass(frozen=True)
class EngineSpeed:
    """True engine speed over the drive, [n] each."""

    time_s: Floats
    rpm: Floats

    def highest(self, from_s: float, to_s: float) -> float | None:
        """Return the highest between two times, None without a sample there."""
        inside = self.rpm[(self.time_s >= from_s) & (self.time_s <= to_s)]
        return float(np.nanmax(inside)) if np.isfinite(inside).any() else None


@dataclass(frozen=True)
class PullsMeasured:
    """What pulls and standing starts showed."""

    result: PullsResult
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Car:
    """Draws [c] of what turns motion into force."""

    mass_kg: Floats | None
    air: Air
    dry_pressure_pa: Floats
    resistance: Resistance
    correct: bool  # power may be brought to standard air, where that is within its limits

    @property
    def day(self) -> tuple[float, float]:
        """Dry pressure (Pa) and temperature (K) of the day."""
        return float(self.dry_pressure_pa.mean()), float(self.air.temperature_k.mean())


def measure_pulls(
    evidence: Evidence,
    gear_of: Mapping[str, int | None],
    coasting: CoastingMeasured,
    engine: EngineSpeed | None = None,
    smoothing_s: Floats | None = None,
) -> PullsMeasured:
    """Return times, wheel power and drive force of every pull used.

    gear_of : gear by manoeuvre, None or missing where not known
    coasting : gives the resistance where the drive's coasts show it
    engine : true engine speed, where it was logged
    smoothing_s : [c], with which time constant the receiver smooths its speed, taken out of the
        motion before anything is timed; None where nothing shows it

    Times in gear are between speeds as true speed rises through them; standing starts run from
    first motion (and, beside, from one foot further on). Power is at the wheels, as measured.
    """
    rng = np.random.default_rng([evidence.seed, _SEED_TAG])
    used = [m for m in evidence.manoeuvres if m.kind == "pull" and m.used]
    count = len(next(iter(evidence.draws.values())).speed_mps) if evidence.draws else 0
    if not used or not count:
        return PullsMeasured(PullsResult())
    car = _car(evidence, coasting, count, rng)
    lag_s = 0.0 if smoothing_s is None else float(np.median(smoothing_s))
    runs: list[PullRun] = []
    standing: list[Standing] = []
    distances: list[StandingDistance] = []
    tried: list[Tried] = []
    for manoeuvre in used:
        gear = None if manoeuvre.from_rest else gear_of.get(manoeuvre.id)
        path = pull_path(evidence, manoeuvre, smoothing_s, in_one_gear=gear is not None)
        if path is None or (manoeuvre.from_rest and evidence.motion.source == "position"):
            continue
        several = gear is None and not manoeuvre.from_rest and _seen(manoeuvre, engine)
        if several and engine is not None:
            path = _in_first_gear(path, manoeuvre, engine)
        if manoeuvre.from_rest:
            speeds, reached = standing_rows(manoeuvre.id, path, evidence.sheet, rng)
            standing += speeds
            distances += reached
            tried.append(_tried_start(evidence, manoeuvre, path, speeds, engine))
        else:
            factor = _factor(evidence, gear, count, rng)
            curve = None
            if not several:
                curve = power_curve(evidence, manoeuvre, factor, car.resistance, rng, smoothing_s)
            # Positions alone are better smoothed than fitted by a curve with next to no prior.
            by_curve = None if evidence.motion.source == "position" else curve
            # A filter shows the throttle opened by about its time constant later.
            opened = replace(manoeuvre, start_s=manoeuvre.start_s - lag_s)
            first, *others = _pull_rows(evidence, opened, path, gear, by_curve)
            runs += [first if curve is None else _with_power(first, curve, car, evidence), *others]
            tried.append(_tried_pull(evidence, manoeuvre, path, gear, curve))
    effort = efforts(tried)
    runs = [_with_effort(run, effort[run.manoeuvre]) for run in runs]
    standing = [_with_effort(row, effort[row.manoeuvre or ""]) for row in standing]
    timed = [Timed(r.gear, r.from_, r.to, r.time, r.manoeuvre, r.flat_out) for r in runs]
    timed += [Timed(None, None, s.to, s.time, s.manoeuvre, s.flat_out) for s in standing]
    result = PullsResult(tuple(runs), tuple(standing), tuple(distances), repeats_of(timed))
    return PullsMeasured(result, _remarks(result, evidence, car))


def _seen(manoeuvre: Manoeuvre, engine: EngineSpeed | None) -> bool:
    """Return whether the tach was read in a pull: where it shows no one gear, there are several.

    A slow log merges a short pull with the driving after it: together they have no one curve.
    """
    if engine is None:
        return False
    return engine.highest(manoeuvre.start_s, manoeuvre.end_s) is not None


def _in_first_gear(path: Path, manoeuvre: Manoeuvre, engine: EngineSpeed) -> Path:
    """Return a pull's path up to where it changes up."""
    speed = path.speed_mps.mean(axis=0)
    until = change_up_s(engine.time_s, engine.rpm, path.time_s, speed, manoeuvre.start_s)
    kept = max(int(np.searchsorted(path.time_s, until, "right")), 2)
    return Path(path.time_s[:kept], path.speed_mps[:, :kept], path.distance_m[:, :kept])


def _tried_start(
    evidence: Evidence,
    manoeuvre: Manoeuvre,
    path: Path,
    rows: Sequence[Standing],
    engine: EngineSpeed | None,
) -> Tried:
    limit = evidence.sheet.engine.limit_rpm
    rpm = None if engine is None else engine.highest(manoeuvre.start_s, manoeuvre.end_s)
    return Tried(
        manoeuvre.id,
        from_rest=True,
        peak_wpkg=peak_power(path),
        rpm_share=None if rpm is None or limit is None else rpm / limit,
        times={round(row.to.value, 3): row.time.value for row in rows if row.to and row.time},
    )


def _tried_pull(
    evidence: Evidence,
    manoeuvre: Manoeuvre,
    path: Path,
    gear: int | None,
    curve: PowerCurve | None,
) -> Tried:
    ratios = evidence.sheet.ratios
    tried = Tried(manoeuvre.id, from_rest=False, peak_wpkg=peak_power(path))
    if curve is None or gear is None or not 0 < gear <= len(ratios):
        return tried
    power = curve.push_mps2.mean(axis=0) * curve.speed_mps
    return replace(tried, turns=ratios[gear - 1] * curve.speed_mps, power_wpkg=power)


def _with_effort(row: _Row, effort: Effort) -> _Row:
    return replace(row, flat_out=effort.flat_out, effort=effort.why)


def _pull_rows(
    evidence: Evidence,
    manoeuvre: Manoeuvre,
    path: Path,
    gear: int | None,
    curve: PowerCurve | None,
) -> list[PullRun]:
    """Return a row for each span the pull is timed over; at least one, for its power."""
    sheet = evidence.sheet
    spans = spans_covered(path, manoeuvre.start_s, sheet.units, through_spans(sheet, gear))
    rows = []
    for span in spans:
        time = _time(path, curve, span)
        if time is not None:
            ends = [Quantity(speed, 0.0, "m/s") for speed in span]
            rows.append(PullRun(manoeuvre.id, gear, ends[0], ends[1], time))
    return rows or [PullRun(manoeuvre.id, gear)]


def _time(path: Path, curve: PowerCurve | None, span: Span) -> Quantity | None:
    """Return the time over a span: as the crossings show it, or the curve, whichever knows more."""
    crossed = Quantity.from_draws(span_times(path, span), "s")
    seconds = None if curve is None else _along(curve, path, span)
    fitted = None if seconds is None else Quantity.from_draws(seconds, "s")
    if crossed is None or fitted is None:
        return crossed or fitted
    return fitted if fitted.u95 < crossed.u95 else crossed


def _along(curve: PowerCurve, path: Path, span: Span) -> Floats | None:
    """Return draws of the time over a span by the curve, and by crossings beyond its ends."""
    inner = max(span[0], float(curve.speed_mps[0])), min(span[1], float(curve.speed_mps[-1]))
    if inner[1] <= inner[0]:
        return None
    seconds = curve.seconds(*inner)
    for outer in ((span[0], inner[0]), (inner[1], span[1])):
        if outer[1] > outer[0]:
            seconds = seconds + span_times(path, outer)
    return seconds


def _car(
    evidence: Evidence, coasting: CoastingMeasured, count: int, rng: np.random.Generator
) -> _Car:
    altitude = evidence.ground.altitude_m
    height = float(np.nanmean(altitude)) if np.isfinite(altitude).any() else float("nan")
    air = air_of_the_day(evidence.sheet, height, count, rng)
    mass = mass_draws(evidence.sheet, count, rng)
    # Humidity is not on the sheet: anything from dry to saturated.
    vapour = rng.uniform(0.0, 1.0, size=count) * saturation_pressure_pa(air.temperature_k)
    return _Car(
        mass,
        air,
        air.pressure_pa - vapour,
        _resistance(coasting, mass, air, rng),
        air.known and not evidence.sheet.boosted,
    )


def _resistance(
    coasting: CoastingMeasured, mass: Floats | None, air: Air, rng: np.random.Generator
) -> Resistance:
    count = air.temperature_k.size
    if coasting.road_load is not None:
        pick = rng.integers(coasting.road_load.terms.shape[0], size=count)
        return Resistance(coasting.road_load.terms[pick], measured=True)
    rolling, area = (
        value + u95 / COVERAGE_FACTOR_95 * rng.normal(size=count)
        for value, u95 in (_TYPICAL_ROLLING, _TYPICAL_AREA_M2)
    )
    heavy = np.full(count, np.nan) if mass is None else mass
    f2 = 0.5 * air.density_kgpm3 * area / heavy
    terms = np.stack([rolling * STANDARD_GRAVITY_MPS2, np.zeros(count), f2], axis=1)
    return Resistance(terms, measured=False)


def _factor(evidence: Evidence, gear: int | None, count: int, rng: np.random.Generator) -> Floats:
    """Return draws of effective mass over mass: by gear where it is known, else anything likely."""
    sheet = evidence.sheet
    if gear is None or not 0 < gear <= len(sheet.ratios) or sheet.axle_ratio is None:
        return rng.uniform(LEAST_ROTATING, MOST_ROTATING, size=count)
    return geared_factor_draws(sheet.ratios[gear - 1] * sheet.axle_ratio, count, rng)


def _with_power(row: PullRun, curve: PowerCurve, car: _Car, evidence: Evidence) -> PullRun:
    """Return the pull's first row with what belongs to the pull as a whole."""
    quick = int(np.argmax(curve.acceleration_mps2.mean(axis=0)))
    row = replace(
        row,
        peak_acceleration=Quantity.from_draws(curve.acceleration_mps2[:, quick], "m/s²"),
        grade=Quantity.from_draws(curve.grade, "1"),
    )
    if car.mass_kg is None:
        return row
    force = car.mass_kg[:, None] * curve.push_mps2
    power = force * curve.speed_mps
    highest = _highest(power)
    rpm_per_mps = _rpm_per_mps(evidence, row.gear)
    return replace(
        row,
        peak_power=Quantity.from_draws(highest, "W"),
        peak_power_speed=_where_highest(power, curve.speed_mps, 1.0, "m/s"),
        peak_power_rpm=None
        if rpm_per_mps is None
        else _where_highest(power, curve.speed_mps, rpm_per_mps, "r/min"),
        power_standard_air=_in_standard_air(highest, car),
        peak_force=Quantity.from_draws(_along_the_top(force), "N"),
        curve=_points(curve.speed_mps, force, power, rpm_per_mps),
    )


def _highest(power: Floats) -> Floats:
    """Return draws [c] of the highest power of draws [c, p] of a curve.

    Where that is comes from one draw, how much it is there from another: the largest value of one
    and the same would be its noise picked out.
    """
    where = np.roll(np.argmax(power, axis=1), 1)
    return np.asarray(power[np.arange(power.shape[0]), where])


def _along_the_top(force: Floats) -> Floats:
    """Return draws [c] of the highest of draws [c, p] of a curve that is flat there.

    The mean over where the draws have it highest: where its mean is highest, at the ends mostly, it
    is known worst, and noise would be picked out.
    """
    share = np.bincount(np.argmax(force, axis=1), minlength=force.shape[1]) / force.shape[0]
    return np.asarray(force @ share)


def _where_highest(power: Floats, speed_mps: Floats, factor: float, unit: str) -> Quantity | None:
    # Anywhere within half a step of the grid on which power was looked at.
    step = float(np.mean(np.diff(speed_mps)))
    within = step * np.linspace(-0.5, 0.5, power.shape[0])
    return Quantity.from_draws(factor * (speed_mps[np.argmax(power, axis=1)] + within), unit)


def _points(
    speed_mps: Floats, force: Floats, power: Floats, rpm_per_mps: float | None
) -> tuple[PowerPoint, ...]:
    return tuple(
        PowerPoint(
            speed_mps=float(speed),
            rpm=None if rpm_per_mps is None else float(rpm_per_mps * speed),
            force=Quantity.from_draws(force[:, k], "N"),
            power=Quantity.from_draws(power[:, k], "W"),
        )
        for k, speed in enumerate(speed_mps)
    )


def _rpm_per_mps(evidence: Evidence, gear: int | None) -> float | None:
    sheet = evidence.sheet
    if gear is None or not 0 < gear <= len(sheet.ratios):
        return None
    if sheet.axle_ratio is None or sheet.circumference is None:
        return None
    return 60.0 * sheet.ratios[gear - 1] * sheet.axle_ratio / sheet.circumference.value


def _in_standard_air(power_w: Floats, car: _Car) -> Quantity | None:
    pressure, temperature = car.dry_pressure_pa, car.air.temperature_k
    if not car.correct or outside_iso_1585(*car.day):
        return None
    return Quantity.from_draws(power_w * iso_1585_factor(pressure, temperature), "W")


def _remarks(result: PullsResult, evidence: Evidence, car: _Car) -> tuple[str, ...]:
    remarks = []
    starts = any(m.from_rest and m.used and m.kind == "pull" for m in evidence.manoeuvres)
    if starts and evidence.motion.source == "position":
        remarks.append("positions alone do not show when a car first moves: no times from rest")
    if not any(run.time or run.peak_acceleration for run in result.runs):
        return tuple(remarks)
    if car.mass_kg is None:
        remarks.append("no mass on the build sheet: no wheel power")
    elif not car.resistance.measured:
        remarks.append(
            "no coast-down to take resistance from: that of small open cars taken, from 0.010 to "
            "0.020 rolling and 0.48 to 0.88 m² of drag"
        )
    if car.mass_kg is not None:
        remarks.append(_about_air(result, evidence, car))
    shown = {run.manoeuvre for run in result.runs if run.peak_power}
    gearless = dict.fromkeys(run.manoeuvre for run in result.runs if run.gear is None)
    bare = [name for name in gearless if name not in shown]
    if bare and car.mass_kg is not None:
        remarks.append(
            f"no wheel power of {', '.join(bare)}: too short, or not in one gear throughout"
        )
    if any(run.gear is None and run.peak_power for run in result.runs):
        remarks.append("gear of a pull not known: what rotating parts add is taken widely")
    return tuple(remark for remark in remarks if remark)


def _about_air(result: PullsResult, evidence: Evidence, car: _Car) -> str:
    if evidence.sheet.boosted:
        return "wheel power as measured: the formulas for standard air are not for boosted engines"
    if not car.air.known:
        return "wheel power as measured: temperature and pressure of the day are not on the sheet"
    if any(run.peak_power and run.power_standard_air is None for run in result.runs):
        return f"wheel power as measured: {outside_iso_1585(*car.day)}"
    return ""
