"""One dial reading worked out: true speed, error, and what it gives to the fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.speedometer.dial_law import DialPoints
from roadtest.measures.speedometer.hold_speed import (
    Look,
    mean_over,
    part_around,
    slope_factor,
    speed_at_look,
    wander_over,
    whole_part,
)
from roadtest.measures.speedometer.readings import DialReading
from roadtest.quantity import Quantity
from roadtest.results import Reading

Floats = NDArray[np.float64]

_DRAWS: Final = 4000  # of one reading: enough for the end of an interval to 2 %


@dataclass(frozen=True)
class Point:
    """A hold with its reading, if it has one; u are standard uncertainties, m/s."""

    result: Reading
    u_true_mps: float
    u_indicated_mps: float = 0.0


def point_of(
    evidence: Evidence, hold: Manoeuvre, reading: DialReading | None, rng: np.random.Generator
) -> Point:
    """Return a hold's true speed, and its error where there is a reading.

    The true speed is that at the reading, the mean over all moments at which it may have been taken
    (all of the steady part, where nothing was noted). Its interval holds the log's doubt, the
    wander of the hold and the time's. The reading's own interval is half a graduation either side.
    """
    draws = evidence.draws[hold.id]
    look = Look() if reading is None else Look(reading.time_s, reading.u_time_s)
    part = part_around(whole_part(hold, draws), look)
    factor = slope_factor(evidence.ground, part)
    if reading is not None and reading.source == "channel":
        # A mean reading wanders along with the speed: its truth is the mean.
        true = factor * np.resize(mean_over(draws, part), _DRAWS)
    else:
        true = factor * speed_at_look(draws, part, look, _DRAWS, rng)
    mean = float(true.mean())
    result = Reading(
        manoeuvre=hold.id,
        true=Quantity(mean, _half_width(true - mean), "m/s"),
        start_s=part.start_s,
        end_s=part.end_s,
        wander=wander_over(draws, part),
    )
    if reading is None:
        return Point(result, float(true.std()))
    doubt = reading.doubt(_DRAWS, rng)
    result = replace(
        result,
        indicated=Quantity(reading.shown_mps, _half_width(doubt), "m/s"),
        error=Quantity(reading.shown_mps - mean, _half_width(doubt - (true - mean)), "m/s"),
        source=reading.source,
        note=reading.place,
    )
    return Point(result, float(true.std()), float(doubt.std()))


def dial_points(points: Sequence[Point]) -> DialPoints:
    """Return the points that have a reading, as the fit wants them."""
    read = [point for point in points if point.result.error is not None]
    pairs = [
        (point.result.true, point.result.indicated)
        for point in read
        if point.result.true is not None and point.result.indicated is not None
    ]
    return DialPoints(
        np.array([true.value for true, _ in pairs]),
        np.array([indicated.value for _, indicated in pairs]),
        np.array([point.u_true_mps for point in read]),
        np.array([point.u_indicated_mps for point in read]),
    )


def _half_width(departures: Floats) -> float:
    """Return half the width of the symmetric 95 % interval about 0 (JCGM 101:2008, 7.7)."""
    return float(np.quantile(np.abs(departures), 0.95))
