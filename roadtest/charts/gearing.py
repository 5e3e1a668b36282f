"""Gearing: engine speed against road speed, the steps between gears, and which story fits."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from roadtest.charts.model import (
    MARKERS,
    SERIES,
    Axis,
    Bars,
    Chart,
    Level,
    Mark,
    Panel,
    Points,
    Slope,
)
from roadtest.charts.source import Source, values
from roadtest.units import to_si
from roadtest.wording import probability_text

_MOST_SAMPLES: Final = 200  # drawn of one gear: more would be one blot
_MOST_STORIES: Final = 6


def gearing_charts(source: Source) -> tuple[Chart, ...]:
    """Return what was measured of the gearing, as charts."""
    return (*_gears(source), *_steps(source), *_stories(source))


def _gears(source: Source) -> Iterator[Chart]:
    engine, trace, turns = source.traces.engine, source.traces.gears, source.traces.turns_per_metre
    if engine is None or trace is None or not turns:
        return
    marks: list[Mark] = list(_sheet_lines(source))
    for gear, per_metre in sorted(turns.items()):
        role = SERIES[(gear - 1) % len(SERIES)]
        marker = MARKERS[(gear - 1) % len(MARKERS)]
        rows = np.flatnonzero((trace.gear == gear) & engine.usable)
        rows = rows[:: max(rows.size // _MOST_SAMPLES, 1)]
        speed = source.speeds(engine.speed_mps[rows])
        marks.append(
            Points(speed, engine.rpm[rows], f"in gear {gear}", role, marker, hollow=True, size=0.5)
        )
        slope = 60.0 * per_metre * to_si(1.0, source.units)
        marks.append(Slope(slope, 0.0, f"gear {gear}", role, "solid", at_end=True))
    limit = source.sheet.engine.limit_rpm
    if limit is not None:
        label = f"limit of the build sheet, {limit:.0f} rpm"
        marks.append(Level(limit, label, allowed="below", in_view=False))
    top_speed = source.speed(float(engine.speed_mps.max())) * 1.05
    top_rpm = 1.1 * float(engine.rpm[trace.gear > 0].max())
    yield Chart(
        id="gears",
        title="Engine speed against road speed",
        says=_says(source),
        x=Axis(
            "True road speed",
            source.units,
            range=(0.0, top_speed),
            shared=source.speed_axis().shared,
        ),
        panels=(
            Panel(
                Axis("Engine speed as the tach shows it", "rpm", range=(0.0, top_rpm)),
                tuple(marks),
            ),
        ),
        findings=source.findings("gearbox", "axle", "tach", "cruise_rpm", "clutch_slip"),
        subject="gearing",
        height=0.62,
        notes=_notes(source),
    )


def _sheet_lines(source: Source) -> Iterator[Mark]:
    """Yield the lines that the build sheet's gearbox, axle and tyre would give."""
    sheet = source.sheet
    circumference, axle = sheet.circumference, sheet.axle_ratio
    if circumference is None or axle is None:
        return
    for number, ratio in enumerate(sheet.ratios):
        per_metre = ratio * axle / circumference.value
        label = "by the build sheet" if number == 0 else ""
        slope = 60.0 * per_metre * to_si(1.0, source.units)
        yield Slope(slope, 0.0, label, "expected", "dashed", width=1.9)


def _says(source: Source) -> str:
    found = source.results.gearing
    gears = ", ".join(str(row.gear) for row in found.gears)
    said = f"Engine speed keeps to fixed ratios with road speed in the gears {gears}"
    if len(found.gears) == 1:
        said = f"Engine speed keeps to one ratio with road speed, in gear {gears}"
    if found.gearbox_shown is not None:
        how = probability_text(found.gearbox_shown.probability)
        said += f"; the gearbox shown is {found.gearbox_shown.label} ({how})"
    return f"{said}."


def _notes(source: Source) -> tuple[str, ...]:
    stories = source.results.gearing.stories
    if not stories:
        return ()
    return (f"Most probable: {stories[0].label} ({probability_text(stories[0].probability)}).",)


def _steps(source: Source) -> Iterator[Chart]:
    """Yield the steps between gears against the build sheet, which need neither tyre nor axle."""
    rows = [s for s in source.results.gearing.steps if s.step is not None and s.expected]
    if not rows:
        return
    step, half = values([row.step for row in rows])
    expected = np.array([row.expected for row in rows], dtype=np.float64)
    deviation, half = 100.0 * (step / expected - 1.0), 100.0 * half / expected
    x = np.arange(1.0, len(rows) + 1.0)
    names = tuple(f"{row.from_} to {row.to}" for row in rows)
    marks: list[Mark] = [
        *_step_limits(source),
        Level(0.0, "as on the build sheet", "expected", "dotted"),
        Points(x, deviation, "step measured, 95 % interval", y_u95=half, names=names),
    ]
    largest = int(np.argmax(np.abs(deviation)))
    yield Chart(
        id="gear-steps",
        title="Steps between the gears",
        says=(
            f"The steps between gears against the build sheet; the largest deviation is "
            f"{deviation[largest]:+.2f} ± {half[largest]:.2f} %, from {names[largest]}."
        ),
        x=Axis(
            "Step from gear to gear",
            range=(0.5, len(rows) + 0.5),
            labels=tuple(zip(x.tolist(), names, strict=True)),
        ),
        panels=(Panel(Axis("Step, deviation from the build sheet", "%"), tuple(marks)),),
        findings=source.findings("gearbox"),
        subject="gearing",
        height=0.4,
    )


def _step_limits(source: Source) -> Iterator[Mark]:
    """Yield how far a step may be from the build sheet, in per cent of it."""
    for target in source.sheet.targets.named("gearbox"):
        if isinstance(target.value, float):
            share = 100.0 * target.value
            yield Level(-share, "", allowed="above")
            yield Level(share, f"allowed: ± {share:g} %", allowed="below")


def _stories(source: Source) -> Iterator[Chart]:
    stories = source.results.gearing.stories[:_MOST_STORIES]
    if len(stories) < 2:
        return
    y = np.arange(len(stories), 0.0, -1.0)
    per_cent = np.array([100.0 * story.probability for story in stories])
    names = tuple(f"{probability_text(story.probability)}: {story.label}" for story in stories)
    yield Chart(
        id="stories",
        title="Which gearing fits",
        says=(
            f"Of the gearings compared the most probable is: {stories[0].label}, "
            f"with {probability_text(stories[0].probability)}."
        ),
        x=Axis("Probability among those compared", "%", range=(0.0, 100.0)),
        panels=(
            Panel(
                Axis("", range=(0.4, len(stories) + 0.9), scale="none"),
                (Bars(y, per_cent, "", "measured", names),),
            ),
        ),
        findings=source.findings("gearbox", "axle", "tach"),
        subject="gearing",
        height=0.1 + 0.06 * len(stories),
    )
