"""Coast-downs of a drive as results: rolling coefficient, drag area, deceleration at speeds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.air import Air, air_of_the_day
from roadtest.measures.coasting.free import RunLoad, not_free, with_noted_gears
from roadtest.measures.coasting.model import GUESSES, OF_POSITIONS, CoastModel, Fit, Guess
from roadtest.measures.coasting.passes import Passes, passes_over
from roadtest.measures.coasting.places import from_places
from roadtest.measures.coasting.runs import coast_runs, pairs
from roadtest.measures.inertia import coasting_factor_draws, mass_draws
from roadtest.measures.road_load import drag_area
from roadtest.measures.stretch import Stretch
from roadtest.measures.windows import Readings, read_windows
from roadtest.motion.lateness import lateness
from roadtest.quantity import Quantity
from roadtest.results import CoastingResult, CoastRun, DecelerationAt
from roadtest.units import STANDARD_GRAVITY_MPS2, to_si

Floats = NDArray[np.float64]

DRAWS: Final = 1000
_SEED_TAG: Final = 510
_WINDOW_S: Final = 2.0  # a coast changes by 1 m/s meanwhile: means keep all there is to know
# A third term is taken up when the readings make it three times as likely as not: "substantial"
# on the scale of H. Jeffreys, Theory of Probability, appendix B (value from memory).
_LOG_ODDS_FOR_LINEAR: Final = float(np.log(3.0))
# As large as what is usual: rolling coefficients of handbooks' tyres, drag areas of small open cars
# (values from memory). An interval wider than that says nothing. Its width alone decides: to leave
# out what reaches down to zero would keep the high ones of many, and hold the truth too seldom.
_WIDEST_ROLLING: Final = 0.015
_WIDEST_AREA_M2: Final = 0.65


@dataclass(frozen=True)
class SpecificRoadLoad:
    """Road load over mass: draws [c, 3] of f0/m (m/s²), f1/m (1/s) and f2/m (1/m)."""

    terms: Floats
    from_mps: float  # measured between these speeds
    to_mps: float
    beta: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    """Draws [c, 3] of the deceleration's own terms: road load over effective mass."""


@dataclass(frozen=True)
class CoastingMeasured:
    """What the coasts showed. `set_aside`: why a coast was not used, by manoeuvre."""

    result: CoastingResult
    remarks: tuple[str, ...] = ()
    set_aside: Mapping[str, str] = field(default_factory=dict)
    road_load: SpecificRoadLoad | None = None


@dataclass(frozen=True)
class _Car:
    """What turns β into forces: draws [c]."""

    mass_kg: Floats | None
    factor: Floats  # effective mass over mass, out of gear
    air: Air


def measure_coasting(evidence: Evidence, gear_of: Mapping[str, int | None]) -> CoastingMeasured:
    """Return what the drive's coasts show.

    gear_of : gear by manoeuvre as the tach shows it; 0 is out of gear, None or missing not known

    A run not known to be out of gear is measured too, unless it slows so much harder, or so much
    less, than a free car that it can't be one. That it was out of gear it does not show: each run
    says whether it did (`out_of_gear`), for whoever judges the figures.

    All runs are explained together by `CoastModel`; each run's own figures come from the speeds of
    that run alone, with the doubt about its grade and wind in their intervals. Two terms (f0, f2),
    unless the readings ask for f1.
    """
    rng = np.random.default_rng([evidence.seed, _SEED_TAG])
    evidence = places_as_late_as_speeds(evidence)
    gear_of = with_noted_gears(evidence, gear_of)
    runs, aside = coast_runs(evidence, gear_of)
    readings = tuple(_read(evidence, run) for run in runs)
    car = _car(evidence, rng)
    guesses = OF_POSITIONS if evidence.motion.source == "position" else GUESSES
    single = {r.run.id: _fit((r,), passes_over(evidence, (r.run,)), guesses, rng) for r in readings}
    free = frozenset(r.run.id for r in readings if gear_of.get(r.run.id) == 0)
    aside |= not_free(
        {r.run.id: RunLoad.of(r.run, single[r.run.id], car.factor) for r in readings}, free
    )
    readings = tuple(r for r in readings if r.run.id not in aside)
    if not readings:
        return CoastingMeasured(CoastingResult(), _none_remark(aside), aside)
    passes = passes_over(evidence, tuple(r.run for r in readings))
    fit = single[readings[0].run.id]
    if len(readings) > 1:
        fit = _fit(readings, passes, guesses, rng)
    partner = pairs(tuple(r.run for r in readings))
    rows = tuple(
        replace(
            _row(r, single[r.run.id], car),
            paired_with=partner.get(r.run.id),
            out_of_gear=r.run.id in free,
        )
        for r in readings
    )
    speeds = np.concatenate([r.run.speed_mps for r in readings])
    low, high = float(speeds.min()), float(speeds.max())
    rolling, area = _coefficients(fit, car)
    result = CoastingResult(
        runs=rows,
        rolling_coefficient=rolling,
        drag_area=area,
        deceleration=_decelerations(fit, car, (low, high), evidence.sheet.units),
    )
    remarks = _remarks(result, fit, car, partner)
    load = SpecificRoadLoad(fit.beta * car.factor[:, None], low, high, fit.beta)
    return CoastingMeasured(result, remarks, aside, load)


def _read(evidence: Evidence, run: Stretch) -> Readings:
    readings = read_windows(evidence, run, _WINDOW_S)
    return from_places(evidence, readings) if evidence.motion.source == "position" else readings


def places_as_late_as_speeds(evidence: Evidence) -> Evidence:
    """Return the evidence with places and altitudes at the times when their speeds are shown.

    Else the hills of a receiver that is late with its speeds lie beside the speeds that they act
    on: to one side on the way there, to the other on the way back.
    """
    late_s = lateness(evidence.motion, evidence.ground).value_s
    return replace(
        evidence,
        gps=replace(evidence.gps, time_s=evidence.gps.time_s + late_s),
        ground=replace(evidence.ground, time_s=evidence.ground.time_s + late_s),
    )


def _car(evidence: Evidence, rng: np.random.Generator) -> _Car:
    altitude = evidence.ground.altitude_m
    height = float(np.nanmean(altitude)) if np.isfinite(altitude).any() else float("nan")
    return _Car(
        mass_draws(evidence.sheet, DRAWS, rng),
        coasting_factor_draws(evidence.sheet, DRAWS, rng),
        air_of_the_day(evidence.sheet, height, DRAWS, rng),
    )


def _fit(
    readings: tuple[Readings, ...],
    passes: Passes,
    guesses: tuple[Guess, ...],
    rng: np.random.Generator,
) -> Fit:
    """Return the two-term fit, or the three-term one where the readings ask for it."""
    two = CoastModel(readings, passes, linear_term=False).fit(guesses, DRAWS, rng)
    three = CoastModel(readings, passes, linear_term=True).fit(two.guesses, DRAWS, rng)
    return three if three.log_evidence - two.log_evidence > _LOG_ODDS_FOR_LINEAR else two


def _coefficients(fit: Fit, car: _Car) -> tuple[Quantity | None, Quantity | None]:
    """Return rolling coefficient and drag area, None where the coasts do not show them."""
    coefficient = fit.beta[:, 0] * car.factor / STANDARD_GRAVITY_MPS2
    rolling = _shown(coefficient, "1", _WIDEST_ROLLING)
    if car.mass_kg is None:
        return rolling, None
    f2 = fit.beta[:, 2] * car.factor * car.mass_kg
    area = np.asarray(drag_area(f2, car.air.density_kgpm3))
    return rolling, _shown(area, "m²", _WIDEST_AREA_M2)


def _shown(draws: Floats, unit: str, widest: float) -> Quantity | None:
    """Return the quantity, or None where its interval is wider than `widest` to either side."""
    quantity = Quantity.from_draws(draws, unit)
    return quantity if quantity is not None and quantity.u95 <= widest else None


def _row(reading: Readings, fit: Fit, car: _Car) -> CoastRun:
    run = reading.run
    rolling, area = _coefficients(fit, car)
    forces: list[Quantity | None] = [None, None, None]
    if car.mass_kg is not None:
        draws = fit.beta * (car.factor * car.mass_kg)[:, None]
        forces = [
            Quantity.from_draws(row, unit)
            for row, unit in zip(draws.T, ("N", "N/(m/s)", "N/(m/s)²"), strict=True)
        ]
    return CoastRun(
        manoeuvre=run.id,
        from_speed_mps=float(run.speed_mps[0]),
        to_speed_mps=float(run.speed_mps[-1]),
        f0=forces[0],
        f1=forces[1] if fit.terms == 3 else None,
        f2=forces[2],
        rolling_coefficient=rolling,
        drag_area=area,
    )


def _decelerations(
    fit: Fit, car: _Car, covered: tuple[float, float], units: str
) -> tuple[DecelerationAt, ...]:
    """Return the deceleration on the level in still air, at every 10 mph or 20 km/h covered."""
    low, high = covered
    step = to_si(10.0, "mph") if units == "mph" else to_si(20.0, "km/h")
    rows = []
    for k in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1):
        speed = k * step
        draws = fit.beta @ np.array([1.0, speed, speed**2])
        force = None
        if car.mass_kg is not None:
            force = Quantity.from_draws(draws * car.factor * car.mass_kg, "N")
        value = Quantity.from_draws(draws, "m/s²")
        rows.append(DecelerationAt(Quantity(speed, 0.0, "m/s"), value, force))
    return tuple(rows)


def _none_remark(aside: Mapping[str, str]) -> tuple[str, ...]:
    return ("no coast could be used",) if aside else ()


def _remarks(
    result: CoastingResult, fit: Fit, car: _Car, partner: Mapping[str, str]
) -> tuple[str, ...]:
    remarks = []
    alone = [run.manoeuvre for run in result.runs if run.manoeuvre not in partner]
    if alone:
        them = ", ".join(alone)
        remarks.append(
            f"no run the other way over the same road: {them}. Grade and wind do not cancel there; "
            "the intervals allow for them"
        )
    doubtful = [run.manoeuvre for run in result.runs if not run.out_of_gear]
    if doubtful:
        remarks.append(
            f"no engine speed and no note (gear N) shows that these were out of gear: "
            f"{', '.join(doubtful)}. The drag of an engine would make them look less free than the "
            "car rolls, a throttle not quite shut more"
        )
    if fit.terms == 3:
        remarks.append("the runs ask for a term in plain speed beside f0 and f2")
    if result.rolling_coefficient is None:
        remarks.append(
            "rolling resistance can't be told from "
            + (
                "grade and wind: coast the other way too"
                if len(alone) == len(result.runs)
                else "drag: coast down to a lower speed"
            )
        )
    if car.mass_kg is None:
        remarks.append("no mass on the build sheet: no drag area and no forces")
    elif result.drag_area is None:
        remarks.append("drag can't be told from rolling resistance: coast from a higher speed")
    if not car.air.known:
        remarks.append(
            "air density partly from the standard atmosphere: "
            "give temperature and pressure under [conditions]"
        )
    return tuple(remarks)
