"""Everything the drive shows of the brakes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.braking.bedding import Use, bedding_record
from roadtest.measures.braking.bends import off_the_road, road_curvature
from roadtest.measures.braking.from_above import FromAbove, from_above
from roadtest.measures.braking.lateral import Path
from roadtest.measures.braking.level import grades_of, level_of
from roadtest.measures.braking.nominal import brought_to, nominal_speed
from roadtest.measures.braking.paths import paths_of
from roadtest.measures.braking.series import (
    LEAST_FOR_FADE,
    Trend,
    like_stops,
    spread_of,
    trend_of,
)
from roadtest.measures.braking.shown import LEAST_FIXES, TooSlow, too_slow
from roadtest.measures.braking.sideways import straightness
from roadtest.measures.braking.stop import StopDraws, measure_stop
from roadtest.measures.inertia import coasting_factor_draws, mass_draws
from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.motion.estimate import Motion
from roadtest.motion.smoothed import Smoothed
from roadtest.quantity import Quantity
from roadtest.results import BrakingResult, SnubResult, StopResult
from roadtest.wording import quantity_text

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_SEED_TAG: Final = 51
_LONGEST_STEP_S: Final = 2.5
"""Between fixes. Whole stops last 2 to 5 s: what lies between fixes further apart is guessed."""
_SMOOTHED_S: Final = 0.05  # less changes nothing that a stop is judged on
_NOT_SHOWN: Final = "too few fixes around the beginning of braking"


@dataclass(frozen=True)
class BrakingMeasured:
    """What the stops showed. `set_aside`: why a stop was not measured, by manoeuvre."""

    result: BrakingResult
    remarks: tuple[str, ...] = ()
    set_aside: Mapping[str, str] = field(default_factory=dict)
    from_above: Mapping[str, FromAbove] = field(default_factory=dict)
    """The path of each stop that the log shows it of, by manoeuvre."""
    smoothing_s: Floats = field(default_factory=lambda: np.zeros(0), compare=False)
    """Draws [c] of the time constant with which the receiver smooths its speed."""


@dataclass(frozen=True)
class _Series:
    """All stops to rest, their grades and level decelerations [n, c].

    `slow`: why the log is too slow to judge a stop; `like`: which of the others are alike [n].
    """

    stops: tuple[StopDraws, ...]
    slow: tuple[TooSlow | None, ...]
    like: Bools
    grades: Floats
    level: Floats


@dataclass(frozen=True)
class _Sideways:
    """What one stop did sideways; None where the log does not show it."""

    drift: Quantity | None = None
    heading_change: Quantity | None = None
    curvature: Quantity | None = None
    path: FromAbove | None = None


def measure_braking(evidence: Evidence) -> BrakingMeasured:
    """Return what the drive shows of the brakes.

    Stops that are used are measured in full. Snubs are measured as far as they can be, whether or
    not they are used. The bedding-in record lists every use of the brakes.
    """
    brakings = [m for m in evidence.manoeuvres if m.kind == "stop"]
    wanted = [m for m in brakings if m.used and m.to_rest]
    smoothed = _smoothed(evidence)
    smoothing = smoothed.time_s
    shown = {
        m.id: made for m in brakings if (made := _measured(evidence, m, smoothing)) is not None
    }
    set_aside = {m.id: _NOT_SHOWN for m in wanted if m.id not in shown}
    series = _series(evidence, [shown[m.id] for m in wanted if m.id in shown], smoothing)
    snubs = [shown[m.id] for m in brakings if not m.to_rest and m.id in shown]
    paths = paths_of(evidence, series.stops, smoothed, _rng(evidence, "paths"))
    sideways = {
        stop.manoeuvre.id: _sideways(evidence, stop, path)
        for stop, path in zip(series.stops, paths, strict=True)
    }
    results = tuple(
        _stop_result(evidence, series, k, sideways[stop.manoeuvre.id])
        for k, stop in enumerate(series.stops)
    )
    uses = [_use(evidence, m, shown.get(m.id)) for m in brakings]
    mass = _effective_mass(evidence)
    per_stop, per_energy = _trends(evidence, series, uses, mass)
    result = BrakingResult(
        stops=results,
        fade=_fade(series),
        spread=_spread(evidence, series),
        like_stops=tuple(
            s.manoeuvre.id for s, like in zip(series.stops, series.like, strict=True) if like
        ),
        fade_per_stop=None if per_stop is None else Quantity.from_draws(per_stop.slope, "1"),
        fade_per_energy=None
        if per_energy is None
        else Quantity.from_draws(per_energy.slope, "1/J"),
        snubs=tuple(_snub_result(snub) for snub in snubs),
        bedding=bedding_record(uses, mass),
        smoothing=_told(smoothing) if results else None,
    )
    return BrakingMeasured(
        result,
        _remarks(result),
        set_aside,
        {name: found.path for name, found in sideways.items() if found.path is not None},
        smoothing,
    )


def _smoothed(evidence: Evidence) -> Smoothed:
    """Return draws of the receiver's smoothing, as many as there are of the motion."""
    counts = {draws.speed_mps.shape[0] for draws in evidence.draws.values()}
    return smoothed_by_receiver(evidence).draws(max(counts, default=1))


def _told(smoothing_s: Floats) -> Quantity | None:
    """Return the receiver's smoothing where it is told from none, else None."""
    told = Quantity.from_draws(smoothing_s, "s")
    return told if told is not None and np.quantile(smoothing_s, 0.025) > _SMOOTHED_S else None


def _measured(evidence: Evidence, manoeuvre: Manoeuvre, smoothing_s: Floats) -> StopDraws | None:
    """Return a stop or snub in draws, None where the fixes do not show it."""
    draws = evidence.draws.get(manoeuvre.id)
    if draws is None or manoeuvre.left_out or not _is_seen(evidence, manoeuvre):
        return None
    if not manoeuvre.to_rest and _too_few_places(evidence, manoeuvre):
        return None
    rng = _rng(evidence, manoeuvre.id)
    made = measure_stop(manoeuvre, draws, smoothing_s, evidence.motion, rng)
    if made is None or Quantity.from_draws(made.distance_m, "m") is None:
        return None
    if manoeuvre.to_rest and Quantity.from_draws(made.mfdd_mps2, "m/s²") is None:
        return None
    return made


def _is_seen(evidence: Evidence, manoeuvre: Manoeuvre) -> bool:
    motion = evidence.motion
    time = motion.time_s[motion.observed.seen | motion.observed.knots.still]
    inside = (time > manoeuvre.start_s - 1.0) & (time < manoeuvre.end_s)
    ends = (manoeuvre.start_s - 1.0, manoeuvre.end_s)
    steps = np.diff(np.concatenate([ends[:1], time[inside], ends[1:]]))
    return bool(steps.max() <= _LONGEST_STEP_S)


def _too_few_places(evidence: Evidence, manoeuvre: Manoeuvre) -> bool:
    """Return whether places alone show too little of a snub: as many mean speeds as a stop needs.

    With one less, the moment at which the pedal was let go is a guess between fixes.
    """
    motion = evidence.motion
    time = motion.time_s[motion.observed.seen]
    count = np.count_nonzero((time >= manoeuvre.start_s) & (time <= manoeuvre.end_s))
    return motion.source == "position" and bool(count - 1 < LEAST_FIXES)


def _rng(evidence: Evidence, name: str) -> np.random.Generator:
    """Return a generator that gives the same for the same manoeuvre, whatever else is measured."""
    return np.random.default_rng([evidence.seed, _SEED_TAG, *name.encode()])


def _series(evidence: Evidence, stops: Sequence[StopDraws], smoothing_s: Floats) -> _Series:
    slow = tuple(too_slow(evidence.motion, stop, smoothing_s) for stop in stops)
    judged = np.array([one is None for one in slow], dtype=bool)
    like = np.zeros(len(stops), dtype=bool)
    initial = np.array([np.nanmean(stop.initial_mps) for stop in stops])
    like[judged] = like_stops(initial[judged])
    if not stops:
        return _Series((), (), like, np.zeros((0, 0)), np.zeros((0, 0)))
    grades = grades_of(evidence, stops, like, _rng(evidence, "grades"))
    return _Series(tuple(stops), slow, like, grades, level_of(stops, grades))


def _stop_result(
    evidence: Evidence, series: _Series, index: int, sideways: _Sideways
) -> StopResult:
    stop = series.stops[index]
    nominal = nominal_speed(evidence.sheet, float(np.nanmean(stop.initial_mps)))
    brought = brought_to(stop.distance_m, stop.initial_mps, nominal)
    slow = series.slow[index]
    return StopResult(
        manoeuvre=stop.manoeuvre.id,
        initial_speed=Quantity.from_draws(stop.initial_mps, "m/s"),
        mfdd=Quantity.from_draws(stop.mfdd_mps2, "m/s²"),
        mfdd_level=Quantity.from_draws(series.level[index], "m/s²"),
        peak=Quantity.from_draws(stop.peak_mps2, "m/s²"),
        mean=Quantity.from_draws(stop.mean_mps2, "m/s²"),
        distance=Quantity.from_draws(stop.distance_m, "m"),
        distance_nominal=None if brought is None else Quantity.from_draws(brought, "m"),
        nominal_speed=None if brought is None else Quantity(nominal, 0.0, "m/s"),
        build_up_s=Quantity.from_draws(stop.build_up_s, "s"),
        drift=sideways.drift,
        heading_change=sideways.heading_change,
        grade=Quantity.from_draws(series.grades[index], "1"),
        road_curvature=sideways.curvature,
        not_judged="" if slow is None else slow.why,
        judged_from_hz=None if slow is None else slow.rate_hz,
    )


def _sideways(evidence: Evidence, stop: StopDraws, path: Path | None) -> _Sideways:
    """Return drift, heading change, curvature of the road where it was allowed for, and path."""
    if path is None:
        return _Sideways()
    rng = _rng(evidence, f"{stop.manoeuvre.id} bend")
    found = straightness(path, stop)
    curvature = road_curvature(evidence, stop, found, rng)
    if curvature is not None:
        found = off_the_road(found, curvature)
    return _Sideways(
        Quantity.from_draws(found.drift_m, "m"),
        Quantity.from_draws(found.heading_change_rad, "rad"),
        None if curvature is None else Quantity.from_draws(curvature, "1/m"),
        from_above(path, stop, curvature),
    )


def _snub_result(snub: StopDraws) -> SnubResult:
    return SnubResult(
        manoeuvre=snub.manoeuvre.id,
        initial_speed=Quantity.from_draws(snub.initial_mps, "m/s"),
        final_speed=Quantity.from_draws(snub.final_mps, "m/s"),
        mean=Quantity.from_draws(snub.mean_mps2, "m/s²"),
        peak=Quantity.from_draws(snub.peak_mps2, "m/s²"),
        distance=Quantity.from_draws(snub.distance_m, "m"),
    )


def _use(evidence: Evidence, manoeuvre: Manoeuvre, made: StopDraws | None) -> Use:
    if made is not None:
        return Use(manoeuvre, made.initial_mps, made.final_mps)
    counts = {draws.speed_mps.shape[0] for draws in evidence.draws.values()}
    if len(counts) != 1 or not _is_seen(evidence, manoeuvre):
        return Use(manoeuvre, None, None)
    # Everyday braking is not drawn: for the record its speeds at either end will do.
    rng = _rng(evidence, f"{manoeuvre.id} ends")
    (count,) = counts
    before = _speed_near(evidence.motion, manoeuvre.start_s, count, rng)
    after = _speed_near(evidence.motion, manoeuvre.end_s, count, rng)
    return Use(manoeuvre, before, np.zeros_like(before) if manoeuvre.to_rest else after)


def _speed_near(motion: Motion, at_s: float, count: int, rng: np.random.Generator) -> Floats:
    """Return `count` draws of the speed at one moment, from its mean and standard uncertainty."""
    speed = float(np.interp(at_s, motion.time_s, motion.speed_mps))
    u_speed = float(np.interp(at_s, motion.time_s, motion.u_speed_mps))
    return np.maximum(rng.normal(speed, u_speed, count), 0.0)


def _effective_mass(evidence: Evidence) -> Floats | None:
    """Return draws of mass and rotating parts, kg, as many as there are of the motion."""
    counts = {draws.speed_mps.shape[0] for draws in evidence.draws.values()}
    if len(counts) != 1:
        return None
    (count,) = counts
    rng = _rng(evidence, "mass")
    mass = mass_draws(evidence.sheet, count, rng)
    return None if mass is None else mass * coasting_factor_draws(evidence.sheet, count, rng)


def _fade(series: _Series) -> Quantity | None:
    level = series.level[series.like]
    if level.shape[0] < LEAST_FOR_FADE:
        return None
    return Quantity.from_draws(level[-1] / level[0], "1")


def _spread(evidence: Evidence, series: _Series) -> Quantity | None:
    level = series.level[series.like]
    if level.shape[0] < 2:
        return None
    return Quantity.from_draws(spread_of(_whole(level), _rng(evidence, "spread")), "1")


def _whole(draws: Floats) -> Floats:
    """Return draws [n, c] with the few that do not exist set to their stop's mean."""
    mean = np.nanmean(draws, axis=1, keepdims=True)
    return np.where(np.isfinite(draws), draws, mean)


def _trends(
    evidence: Evidence, series: _Series, uses: Sequence[Use], mass_kg: Floats | None
) -> tuple[Trend | None, Trend | None]:
    """Return the trends of the like stops against their number and the energy put in before."""
    level = _whole(series.level[series.like]) if series.like.any() else np.zeros((0, 0))
    if level.shape[0] < LEAST_FOR_FADE:
        return None, None
    rng = _rng(evidence, "trend")
    per_stop = trend_of(level, np.arange(level.shape[0], dtype=np.float64), rng)
    specific = [use.energy_jpkg for use in uses]
    if mass_kg is None or any(energy is None for energy in specific):
        return per_stop, None
    energy = [float(np.nanmean(mass_kg * e)) for e in specific if e is not None]
    before = dict(zip((u.manoeuvre.id for u in uses), np.cumsum([0.0, *energy]), strict=False))
    ids = [s.manoeuvre.id for s, like in zip(series.stops, series.like, strict=True) if like]
    return per_stop, trend_of(level, np.array([before[i] for i in ids]), rng)


def _remarks(result: BrakingResult) -> tuple[str, ...]:
    said = [
        f"{stop.manoeuvre}: the road bends; drift and heading change are against its bend"
        for stop in result.stops
        if (bend := stop.road_curvature) is not None and abs(bend.value) > bend.u95
    ]
    if result.smoothing is not None:
        said.append(
            f"the receiver smooths its speed over {quantity_text(result.smoothing, 'mph')}, as the "
            "ends of the stops show; that is taken out of every figure of them"
        )
    return tuple(said)
