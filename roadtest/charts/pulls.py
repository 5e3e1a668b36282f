"""Pulls and standing starts: speed against time, power at the wheels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from roadtest.build_sheet.targets import StandingLimit
from roadtest.charts.model import Axis, Band, Chart, Level, Line, Mark, Panel
from roadtest.charts.source import SPEED, Source, counted, looks, read_values
from roadtest.results import Manoeuvre, PullRun, Standing
from roadtest.wording import number_text

_AFTER_S: Final = 0.5
_SHADED: Final = "Shaded: 95 % intervals."


def pull_charts(source: Source) -> tuple[Chart, ...]:
    """Return what was measured of pulls and standing starts, as charts."""
    return (*_pulls(source), *_standing(source), *_power(source))


def _first_rows(source: Source) -> list[PullRun]:
    """Return the row of each pull that stands for the whole of it."""
    rows: dict[str, PullRun] = {}
    for run in source.results.pulls.runs:
        rows.setdefault(run.manoeuvre, run)
    return list(rows.values())


def _named(run: PullRun) -> str:
    return run.manoeuvre if run.gear is None else f"{run.manoeuvre}, gear {run.gear}"


def _made(source: Source, name: str | None) -> Manoeuvre | None:
    known = (m for m in source.results.manoeuvres if m.id == name)
    return next(known, None) if name in source.evidence.draws else None


def _lines(source: Source, rows: Sequence[tuple[str, Manoeuvre]]) -> tuple[Mark, ...]:
    marks: list[Mark] = []
    for (label, made), (role, dash, _) in zip(rows, looks(len(rows)), strict=True):
        draws = source.evidence.draws[made.id]
        inside = (draws.time_s >= made.start_s) & (draws.time_s <= made.end_s + _AFTER_S)
        time = draws.time_s[inside] - made.start_s
        speed = source.speeds(draws.speed_mps.mean(axis=0)[inside])
        marks.append(Line(time, speed, label, role, dash, manoeuvre=made.id))
    return tuple(marks)


def _pulls(source: Source) -> Iterator[Chart]:
    standing = {row.manoeuvre for row in source.results.pulls.standing}
    runs = [run for run in _first_rows(source) if run.manoeuvre not in standing]
    rows = [(_named(run), made) for run in runs if (made := _made(source, run.manoeuvre))]
    if not rows:
        return
    yield Chart(
        id="pulls-time",
        title="Pulls against time",
        says=_says_pulls(source, runs),
        x=Axis("Time from the beginning of the pull", "s", from_zero=True),
        panels=(Panel(source.speed_axis(from_zero=False), _lines(source, rows)),),
        findings=source.findings("through", "clutch_slip"),
        subject="pulls",
        height=0.42,
    )


def _says_pulls(source: Source, runs: Sequence[PullRun]) -> str:
    said = f"Speed in {counted(len(runs), 'pull')}, from where each began"
    timed = [run for run in runs if run.time is not None and run.from_ and run.to]
    if timed:
        run = timed[0]
        said += (
            f"; {_named(run)}: {source.say(run.time)} "
            f"from {source.say(run.from_)} to {source.say(run.to)}"
        )
    return f"{said}."


def _standing(source: Source) -> Iterator[Chart]:
    starts: dict[str, Standing] = {}
    for row in source.results.pulls.standing:
        if row.manoeuvre is not None:
            starts[row.manoeuvre] = row  # the last: the highest speed
    rows = [(name, made) for name in starts if (made := _made(source, name))]
    if not rows:
        return
    marks = [*_standing_limits(source), *_lines(source, rows)]
    best = next(iter(starts.values()))
    yield Chart(
        id="standing",
        title="Standing starts",
        says=(
            f"Speed from rest in {counted(len(rows), 'standing start')}; {best.manoeuvre}: "
            f"{source.say(best.time)} to {source.say(best.to)}."
        ),
        x=Axis("Time from first motion", "s", from_zero=True),
        panels=(Panel(source.speed_axis(), tuple(marks)),),
        findings=source.findings("standing"),
        subject="pulls",
        height=0.42,
    )


def _standing_limits(source: Source) -> Iterator[Mark]:
    for target in source.sheet.targets.named("standing"):
        if isinstance(target.value, StandingLimit):
            speed = number_text(source.speed(target.value.to_mps))
            label = f"allowed to {speed} {source.units}: {number_text(target.value.at_most_s)} s"
            yield Level(target.value.at_most_s, label, axis="x")
            yield Level(source.speed(target.value.to_mps), "", "expected", "dotted")


def _power(source: Source) -> Iterator[Chart]:
    runs = [run for run in _first_rows(source) if len(run.curve) > 1]
    if not runs:
        return
    by_speed = _curves(source, runs, against_engine=False)
    title, findings = "Power at the wheels", source.findings("clutch_slip")
    unit = read_values([point.power for point in runs[0].curve], source.units)[2]
    panel = Axis("Power at the wheels", unit, from_zero=True)
    yield Chart(
        id="power",
        title=title,
        says=_says_power(source, runs),
        x=Axis("True road speed", source.units, shared=SPEED),
        panels=(Panel(panel, by_speed),),
        findings=findings,
        subject="pulls",
        height=0.45,
        notes=(_SHADED,),
    )
    by_engine = _curves(source, runs, against_engine=True)
    if by_engine:
        yield Chart(
            id="power-engine",
            title=f"{title} against engine speed",
            says=_says_power(source, runs),
            x=Axis("Engine speed by road speed and gear", "rpm"),
            panels=(Panel(panel, by_engine),),
            findings=findings,
            subject="pulls",
            height=0.45,
            notes=(_SHADED,),
        )


def _curves(source: Source, runs: Sequence[PullRun], *, against_engine: bool) -> tuple[Mark, ...]:
    marks: list[Mark] = []
    for run, (role, dash, _) in zip(runs, looks(len(runs)), strict=True):
        points = [point for point in run.curve if point.power is not None]
        if against_engine:
            points = [point for point in points if point.rpm is not None]
        if len(points) < 2:
            continue
        value, half, _ = read_values([point.power for point in points], source.units)
        x = source.speeds(np.array([point.speed_mps for point in points]))
        if against_engine:
            x = np.array([point.rpm for point in points], dtype=np.float64)
        name = run.manoeuvre
        marks.append(Band(x, value - half, value + half, "", role, manoeuvre=name))
        marks.append(Line(x, value, _named(run), role, dash, manoeuvre=name))
    return tuple(marks)


def _says_power(source: Source, runs: Sequence[PullRun]) -> str:
    said = f"Power at the wheels in {counted(len(runs), 'pull')}, with 95 % intervals"
    known = [run for run in runs if run.peak_power is not None]
    if not known:
        return f"{said}."
    best = max(known, key=lambda run: run.peak_power.value if run.peak_power else 0.0)
    said += f"; most: {source.say(best.peak_power)} in {_named(best)}"
    if best.peak_power_speed is not None:
        said += f", at {source.say(best.peak_power_speed)}"
    return f"{said}."
