"""Of the runs that were driven: stops, pulls, standing starts, on several drives at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import chain, pairwise
from typing import Final

import numpy as np

from roadtest.charts.model import Axis, Chart, Mark, Panel
from roadtest.charts.source import SPEED, read_values, values
from roadtest.compare.side import Drive, Side
from roadtest.quantity import Quantity
from roadtest.results import PullRun, ReadIn, Results, StopResult
from roadtest.units import from_si
from roadtest.wording import number_text

_MARKS_A_CURVE: Final = 6
_Timed = tuple[int, float, float]  # gear, from and to, m/s to 0.01


def stops_chart(side: Side) -> Iterator[Chart]:
    """Yield the deceleration of each stop used, and the mean of each drive's stops."""
    rows = side.with_any(_used_stops)
    if not rows:
        return
    means = side.row("stops", "MFDD level")
    marks: list[Mark] = []
    for drive, stops in rows:
        level, half = values([stop.mfdd_level for stop in stops])
        x = np.arange(1.0, level.size + 1.0) + drive.aside
        marks.append(drive.points(x, level, [stop.manoeuvre for stop in stops], y_u95=half))
        mean = None if means is None else means.figures[drive.number]
        if mean is not None:
            ends = np.array([0.6, level.size + 0.4])
            marks.append(drive.line(ends, np.full(2, mean.value), width=0.8))
    most = max(len(stops) for _, stops in rows)
    yield Chart(
        id="compare-mfdd",
        title="Deceleration of each stop",
        says=side.says("Mean fully developed deceleration of each stop, grade out", "stops"),
        x=Axis("Stop, in the order driven", range=(0.5, most + 0.5), scale="whole"),
        panels=(Panel(Axis("MFDD, level road", "m/s²"), tuple(marks)),),
        subject="braking",
        height=0.45,
        notes=("Lines: the mean of each drive's stops.",),
    )


def _used_stops(results: Results) -> list[StopResult]:
    used = {made.id for made in results.manoeuvres if made.used}
    stops = results.braking.stops
    return [stop for stop in stops if stop.manoeuvre in used and stop.mfdd_level is not None]


def pull_times_chart(side: Side) -> Iterator[Chart]:
    """Yield the times between two speeds that two drives or more were timed over, by gear."""
    rows = side.with_any(_timed)
    having = Counter(chain.from_iterable({kind for kind, _ in times} for _, times in rows))
    common = sorted(kind for kind, drives in having.items() if drives > 1)
    if not common:
        return
    place = {kind: float(len(common) - k) for k, kind in enumerate(common)}
    names = {kind: _span(kind, side.units) for kind in common}
    marks: list[Mark] = []
    for drive, times in rows:
        shown = [(kind, time) for kind, time in times if kind in place]
        if shown:
            value, half = values([time for _, time in shown])
            y = np.array([place[kind] for kind, _ in shown]) - drive.aside
            said = [f"gear {names[kind]}" for kind, _ in shown]
            marks.append(drive.points(value, y, said, x_u95=half))
    yield Chart(
        id="compare-pull-times",
        title="Times of pulls",
        says=side.says("Times of pulls between two speeds", "pulls", about="gear"),
        x=Axis("Time", "s", from_zero=True),
        panels=(
            Panel(
                Axis(
                    "Gear, and between what speeds",
                    range=(0.4, len(common) + 0.6),
                    labels=tuple((place[kind], names[kind]) for kind in common),
                ),
                tuple(marks),
            ),
        ),
        subject="pulls",
        height=0.12 + 0.05 * len(common),
    )


def _timed(results: Results) -> list[tuple[_Timed, Quantity]]:
    """Return the times of pulls, each with what it is the time of."""
    return [
        ((run.gear, round(run.from_.value, 2), round(run.to.value, 2)), run.time)
        for run in results.pulls.runs
        if run.gear is not None and run.time is not None and run.from_ and run.to
    ]


def _span(kind: _Timed, units: ReadIn) -> str:
    gear, start, end = kind
    low, high = (number_text(float(from_si(speed, units)), 2) for speed in (start, end))
    return f"{gear}: {low} to {high} {units}"


def power_charts(side: Side) -> Iterator[Chart]:
    """Yield power at the wheels against speed for each gear that two drives were pulled in."""
    for gear in sorted({run.gear or 0 for d in side.drives for run in _curves(d.results)}):
        rows = side.with_any(lambda results, g=gear: _curves(results, g))  # type: ignore[misc]
        if not rows:
            continue
        marks: list[Mark] = []
        unit = ""
        for drive, runs in rows:
            for k, run in enumerate(runs):
                unit, drawn = _curve(side, drive, run, "" if k else drive.name)
                marks += drawn
        what = f"Power at the wheels against speed in gear {gear}"
        yield Chart(
            id=f"compare-power-{gear}",
            title=f"Power at the wheels in gear {gear}",
            says=side.says(what, "pulls", about=f"gear {gear}, power"),
            x=Axis("True road speed", side.units, shared=SPEED),
            panels=(Panel(Axis("Power at the wheels", unit, from_zero=True), tuple(marks)),),
            subject="pulls",
            height=0.45,
        )


def _curves(results: Results, gear: int | None = None) -> list[PullRun]:
    """Return the pulls with a curve of power, in one gear or in any that is known."""
    return [
        run
        for run in results.pulls.runs
        if run.gear is not None
        and gear in (None, run.gear)
        and sum(point.power is not None for point in run.curve) > 1
    ]


def _curve(side: Side, drive: Drive, run: PullRun, label: str) -> tuple[str, list[Mark]]:
    """Return the unit of one pull's power, and its line with some markers on it."""
    points = [point for point in run.curve if point.power is not None]
    power, half, unit = read_values([point.power for point in points], side.units)
    speed = side.read(np.array([point.speed_mps for point in points]))
    some = slice(None, None, max(speed.size // _MARKS_A_CURVE, 1))
    names = [run.manoeuvre] * speed[some].size
    markers = drive.points(speed[some], power[some], names, y_u95=half[some], label=label)
    return unit, [drive.line(speed, power), markers]


def standing_chart(side: Side) -> Iterator[Chart]:
    """Yield speed against time from first motion in standing starts."""
    rows = side.with_any(
        lambda results: [row for row in results.pulls.standing if row.to and row.time]
    )
    if not rows:
        return
    marks: list[Mark] = []
    for drive, starts in rows:
        time, half = values([row.time for row in starts])
        speed, _ = side.speeds([row.to for row in starts])
        pairs = enumerate(pairwise(starts), 1)
        ends = [k for k, (one, after) in pairs if one.manoeuvre != after.manoeuvre]
        marks.append(drive.line(np.insert(time, ends, np.nan), np.insert(speed, ends, np.nan)))
        names = [row.manoeuvre or "standing start" for row in starts]
        marks.append(drive.points(time, speed, names, x_u95=half))
    yield Chart(
        id="compare-standing",
        title="Standing starts",
        says=side.says("Speed against time from first motion", "pulls", about="standing"),
        x=Axis("Time from first motion", "s", from_zero=True),
        panels=(Panel(Axis("Speed", side.units, from_zero=True), tuple(marks)),),
        subject="pulls",
        height=0.42,
    )
