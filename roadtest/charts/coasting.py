"""Coast-downs: what holds the car back, against speed, and the runs themselves."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from roadtest.charts.model import Axis, Band, Chart, Line, Mark, Panel, Points
from roadtest.charts.source import Source, counted, looks
from roadtest.motion.estimate import Draws
from roadtest.quantity import COVERAGE_FACTOR_95, Floats
from roadtest.results import CoastRun, Manoeuvre

_WINDOW_S: Final = 5.0  # over which a run's own deceleration is the mean
_STEPS: Final = 60


def coasting_charts(source: Source) -> tuple[Chart, ...]:
    """Return what was measured of coasting, as charts."""
    runs = [
        (run, made)
        for run in source.results.coasting.runs
        for made in source.results.manoeuvres
        if made.id == run.manoeuvre and run.manoeuvre in source.evidence.draws
    ]
    if not runs:
        return ()
    return (*_deceleration(source, runs), _speed(source, runs))


def _deceleration(source: Source, runs: list[tuple[CoastRun, Manoeuvre]]) -> Iterator[Chart]:
    marks: list[Mark] = list(_fit(source))
    for (run, made), (role, _, marker) in zip(runs, looks(len(runs)), strict=True):
        speed, value, half = _windows(source.evidence.draws[run.manoeuvre], made)
        if not speed.size:
            continue
        marks.append(
            Points(
                source.speeds(speed),
                value,
                f"{run.manoeuvre} as driven",
                role,
                marker,
                hollow=True,
                y_u95=half,
                size=0.8,
                names=(run.manoeuvre,) * speed.size,
                manoeuvres=(run.manoeuvre,) * speed.size,
            )
        )
    yield Chart(
        id="coasting",
        title="What holds the car back",
        says=_says(source),
        x=source.speed_axis("True speed", from_zero=False),
        panels=(Panel(Axis("Deceleration out of gear", "m/s²", from_zero=True), tuple(marks)),),
        findings=source.findings("rolling_coefficient"),
        subject="coasting",
        height=0.5,
        notes=(
            "The runs are as driven, grade and wind in them; the line is for a level road in "
            "still air.",
        ),
    )


def _says(source: Source) -> str:
    found = source.results.coasting
    said = f"Deceleration out of gear against speed in {counted(len(found.runs), 'run')}"
    if found.rolling_coefficient is not None:
        said += f"; rolling coefficient {source.say(found.rolling_coefficient)}"
    if found.drag_area is not None:
        said += f", drag area {source.say(found.drag_area)}"
    finding = source.finding("rolling_coefficient")
    return f"{said}; verdict: {finding.verdict}." if finding is not None else f"{said}."


def _fit(source: Source) -> Iterator[Mark]:
    """Yield the deceleration found, with its interval, over the speeds measured."""
    load = source.traces.road_load
    if load is None or not load.beta.size:
        return
    speed = np.linspace(load.from_mps, load.to_mps, _STEPS)
    curve = load.beta @ np.vstack([np.ones_like(speed), speed, speed**2])
    middle, half = curve.mean(axis=0), COVERAGE_FACTOR_95 * curve.std(axis=0, ddof=1)
    x = source.speeds(speed)
    yield Band(x, middle - half, middle + half, "its 95 % interval", "fit")
    yield Line(x, middle, "found: level road, still air", "fit")


def _windows(draws: Draws, made: Manoeuvre) -> tuple[Floats, Floats, Floats]:
    """Return mean speed, deceleration and its half-width over even windows of a run; [k] each."""
    count = int((made.end_s - made.start_s) / _WINDOW_S)
    edges = made.start_s + _WINDOW_S * np.arange(count + 1)
    if count < 1:
        return np.empty(0), np.empty(0), np.empty(0)
    at = np.array([np.interp(edges, draws.time_s, row) for row in draws.speed_mps])
    lost = -np.diff(at, axis=1) / _WINDOW_S
    speed = 0.5 * (at[:, 1:] + at[:, :-1]).mean(axis=0)
    return speed, lost.mean(axis=0), COVERAGE_FACTOR_95 * lost.std(axis=0, ddof=1)


def _speed(source: Source, runs: list[tuple[CoastRun, Manoeuvre]]) -> Chart:
    marks: list[Mark] = []
    for (run, made), (role, dash, _) in zip(runs, looks(len(runs)), strict=True):
        draws = source.evidence.draws[run.manoeuvre]
        rows = (draws.time_s >= made.start_s) & (draws.time_s <= made.end_s)
        speed = source.speeds(draws.speed_mps.mean(axis=0)[rows])
        time = draws.time_s[rows] - made.start_s
        marks.append(Line(time, speed, run.manoeuvre, role, dash, manoeuvre=run.manoeuvre))
    return Chart(
        id="coasts-time",
        title="Coast-downs against time",
        says=f"Speed in {counted(len(runs), 'run')} out of gear, from where each began.",
        x=Axis("Time from the beginning of the run", "s", from_zero=True),
        panels=(Panel(source.speed_axis(from_zero=False), tuple(marks)),),
        findings=source.findings("rolling_coefficient"),
        subject="coasting",
        height=0.4,
    )
