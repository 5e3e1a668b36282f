"""Simulated stops measured, and how far each figure is from the truth."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from roadtest.evidence import Evidence
from roadtest.manoeuvres import find_manoeuvres
from roadtest.measures.braking import BrakingMeasured, measure_braking
from roadtest.motion.estimate import Span
from roadtest.quantity import Quantity
from tests.evidence_from_truth import DRAWS, MARGIN_S, evidence_from
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Manoeuvre, Truth

Row = tuple[str, float, float]  # figure, error, half-width of the interval

FIGURES = {
    "initial_speed": "initial_mps",
    "mfdd": "mfdd_mps2",
    "mfdd_level": "mfdd_level_mps2",
    "distance": "distance_m",
    "build_up_s": "build_up_s",
    "peak": "peak_mps2",
    "drift": "drift_m",
    "heading_change": "heading_change_rad",
    "grade": "grade",
}


def found_evidence(
    truth: Truth,
    receiver: Receiver,
    seed: int,
    *,
    sheet: str = "",
    with_speed: bool = True,
) -> Evidence:
    """Return the evidence of a drive with the manoeuvres that are found in its log."""
    bare = evidence_from(truth, receiver, seed, sheet=sheet, manoeuvres=(), with_speed=with_speed)
    found = find_manoeuvres(bare.motion)
    stops = tuple(m for m in found if m.kind == "stop")
    spans = [Span(m.start_s - MARGIN_S, m.end_s + MARGIN_S) for m in stops]
    drawn = bare.motion.draws(spans, DRAWS, np.random.default_rng([seed, 98]))
    draws = {m.id: d for m, d in zip(stops, drawn, strict=True)}
    return dataclasses.replace(bare, manoeuvres=found, draws=draws)


def true_stop(truth: Truth, evidence: Evidence, name: str) -> Manoeuvre | None:
    """Return the true stop that the manoeuvre called `name` is, None where it is none."""
    late = evidence.start_unix_s - truth.start_utc_s
    (made,) = (m for m in evidence.manoeuvres if m.id == name)
    middle = 0.5 * (made.start_s + made.end_s) + late
    # A receiver that lags shows a stop up to a second late.
    fitting = [m for m in truth.of_kind("stop") if m.start_s <= middle <= m.end_s + 1.0]
    return fitting[0] if fitting else None


def errors(truth: Truth, evidence: Evidence, measured: BrakingMeasured) -> Iterator[Row]:
    """Yield the error and half-width of every figure of every stop, and of the series."""
    result = measured.result
    true_of = {s.manoeuvre: true_stop(truth, evidence, s.manoeuvre) for s in result.stops}
    for stop in result.stops:
        true = true_of[stop.manoeuvre]
        if true is None:
            continue
        for name, key in FIGURES.items():
            figure = getattr(stop, name)
            if figure is not None:
                yield _row(name, figure, true.figures[key])
    like = [true_of[name] for name in result.like_stops]
    level = np.array([m.figures["mfdd_level_mps2"] for m in like if m is not None])
    if level.size != len(like):
        return
    if result.fade is not None:
        yield _row("fade", result.fade, float(level[-1] / level[0]))
    if result.spread is not None:
        yield _row("spread", result.spread, float(level.std(ddof=1) / level.mean()))


def _row(name: str, figure: Quantity, truth: float) -> Row:
    return name, figure.value - truth, figure.u95


def trial(
    truth: Truth, receiver: Receiver, seed: int, *, with_speed: bool = True
) -> tuple[list[Row], int, int]:
    """Return the errors of one drive, how many stops were driven, and how many were measured."""
    evidence = found_evidence(truth, receiver, seed, with_speed=with_speed)
    measured = measure_braking(evidence)
    rows = list(errors(truth, evidence, measured))
    return rows, len(truth.of_kind("stop")), len(measured.result.stops)
