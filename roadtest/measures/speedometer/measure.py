"""The speedometer over a whole drive: readings, the dial's law, its meaning and the remedy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.odometer import odometer_limit
from roadtest.measures.speedometer.advice import advice, as_corrections
from roadtest.measures.speedometer.cautions import cautions, doubt
from roadtest.measures.speedometer.channel import DialLog, dial_log
from roadtest.measures.speedometer.corrections import Before, advise
from roadtest.measures.speedometer.dial_law import DialFit, fit_dial
from roadtest.measures.speedometer.head import head_result
from roadtest.measures.speedometer.hold_speed import mean_over, whole_part
from roadtest.measures.speedometer.matching import HoldSpeeds
from roadtest.measures.speedometer.meaning import Meaning, explain
from roadtest.measures.speedometer.pairing import Pairing, pair
from roadtest.measures.speedometer.points import Point, dial_points, point_of
from roadtest.measures.speedometer.readings import dial_readings, graduation_of
from roadtest.measures.speedometer.target import dial_target, errors_at_test_speeds
from roadtest.results import OdometerResult, SpeedometerResult


@dataclass(frozen=True)
class SpeedometerMeasured:
    """The results, and the fit behind them (None without two speeds) for whatever draws it."""

    result: SpeedometerResult
    fit: DialFit | None = None
    doubt: str = ""  # what to look at before any of it is believed


def measure_speedometer(
    evidence: Evidence, odometer: OdometerResult | None = None
) -> SpeedometerMeasured:
    """Return what the drive shows of the speedometer.

    `odometer` is what it shows of the odometer, which goes along with most changes to the dial.

    Every hold used is listed with its true speed, and with the error where a dial reading belongs
    to it (see `point_of` for what the intervals hold). Two speeds or more give the dial's law, what
    it means, and what to change.
    """
    sheet, target = evidence.sheet, dial_target(evidence.sheet)
    # A reading belongs to the hold it was taken in, left out by hand or not.
    holds = [m for m in evidence.manoeuvres if m.kind == "hold" and m.id in evidence.draws]
    pairing = _paired(evidence, holds)
    log, log_notes = dial_log(evidence)
    points = list(_points(evidence, holds, pairing, log))
    readings = tuple(point.result for point in points)
    doubtful = doubt(readings)
    fit = fit_dial(dial_points(points), graduation_of(sheet.speedometer))
    result = SpeedometerResult(
        readings=readings,
        head=head_result(sheet, fit.scale if fit else None),
        notes=(
            *((doubtful,) if doubtful else ()),
            *pairing.notes,
            *log_notes,
            *cautions(sheet, readings, fit, target),
        ),
    )
    if fit is not None:
        result = _explained(evidence, result, fit, odometer or OdometerResult())
    return SpeedometerMeasured(result, fit, doubtful)


def _paired(evidence: Evidence, holds: Sequence[Manoeuvre]) -> Pairing:
    draws = [evidence.draws[hold.id] for hold in holds]
    speeds = [mean_over(d, whole_part(hold, d)) for hold, d in zip(holds, draws, strict=True)]
    return pair(
        dial_readings(evidence),
        holds,
        HoldSpeeds(
            np.array([hold.start_s for hold in holds]),
            np.array([hold.end_s for hold in holds]),
            np.array([speed.mean() for speed in speeds]),
            np.array([speed.std() for speed in speeds]),
        ),
        float(evidence.motion.time_s[-1]),
        evidence.sheet.units,
    )


def _points(
    evidence: Evidence, holds: Sequence[Manoeuvre], pairing: Pairing, log: DialLog | None
) -> Iterator[Point]:
    """Yield every hold used with each of its readings, or once without one.

    The continuous log serves where nobody noted anything.
    """
    for number, hold in enumerate(holds):
        if not hold.used:
            continue
        rng = np.random.default_rng([evidence.seed, 41, number])
        readings = pairing.of_hold.get(hold.id, ())
        if not readings and log is not None:
            logged = log.reading_over(whole_part(hold, evidence.draws[hold.id]))
            readings = () if logged is None else (logged,)
        for reading in readings or (None,):
            yield point_of(evidence, hold, reading, rng)


def _explained(
    evidence: Evidence, result: SpeedometerResult, fit: DialFit, odometer: OdometerResult
) -> SpeedometerResult:
    """Return the result with the law, what it means, and what to change."""
    sheet, target = evidence.sheet, dial_target(evidence.sheet)
    meaning = explain(fit, sheet.units)
    advised = advise(
        Before(
            fit.law,
            fit.scale,
            target,
            tuple(fit.points.true_mps.tolist()),
            odometer.scale,
            odometer_limit(sheet),
        ),
        sheet.speedometer,
        np.random.default_rng([evidence.seed, 43]),
        needle=_needle_suspected(meaning),
    )
    return replace(
        result,
        scale=fit.scale,
        offset=fit.offset,
        curvature=fit.bow,
        meaning=meaning.sentence,
        meanings=meaning.stories,
        test_speeds=errors_at_test_speeds(fit.law, target) if target else (),
        corrections=as_corrections(advised, sheet.units),
        advice=advice(advised, target.rule.title if target else "", sheet.units),
    )


def _needle_suspected(meaning: Meaning) -> bool:
    return meaning.best in ("constant", "both")
