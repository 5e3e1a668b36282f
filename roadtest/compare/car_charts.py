"""Of the car itself: the dial, the gearing, what holds it back, on several drives at once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from roadtest.charts.model import Axis, Chart, Level, Mark, Note, Panel
from roadtest.charts.source import SPEED, values
from roadtest.compare.side import Side
from roadtest.quantity import Floats
from roadtest.results import Results
from roadtest.units import to_si

_BEYOND: Final = 1.08  # of the fastest speed driven, for lines through the origin
_TOP_MPS, _TOP_RPM = to_si(70.0, "mph"), 5000.0  # where a drive doesn't say
_MARKED_AT: Final = 0.75  # of a gear's line


def dial_chart(side: Side) -> Iterator[Chart]:
    """Yield the dial's error against true speed, each drive with the line through its readings."""
    rows = side.with_any(
        lambda results: [r for r in results.speedometer.readings if r.error is not None and r.true]
    )
    if not rows:
        return
    marks: list[Mark] = [Level(0.0, "", "other", "dotted")]
    for drive, readings in rows:
        true, true_half = side.speeds([reading.true for reading in readings])
        error, half = side.speeds([reading.error for reading in readings])
        dial = drive.results.speedometer
        if dial.scale is not None and dial.offset is not None:
            ends = np.array([true.min(), true.max()])
            (offset,) = side.read(np.array([dial.offset.value]))
            # dial = scale · true + offset
            marks.append(drive.line(ends, (dial.scale.value - 1.0) * ends + offset))
        names = [reading.manoeuvre for reading in readings]
        marks.append(drive.points(true, error, names, x_u95=true_half, y_u95=half))
    yield Chart(
        id="compare-dial-error",
        title="Error of the dial",
        says=side.says("Dial less true speed", "speedometer"),
        x=Axis("True speed", side.units, shared=SPEED),
        panels=(Panel(Axis("Dial less true speed", side.units), tuple(marks)),),
        subject="speedometer",
        height=0.5,
    )


def gears_chart(side: Side) -> Iterator[Chart]:
    """Yield engine speed against road speed, a line for each gear found."""
    rows = side.with_any(
        lambda results: [g for g in results.gearing.gears if g.speed_per_1000_rpm is not None]
    )
    if not rows:
        return
    top = _BEYOND * max(_top_mps(drive.results) for drive, _ in rows)
    most = max(_top_rpm(drive.results) for drive, _ in rows)
    marks: list[Mark] = []
    for drive, gears in rows:
        per_1000, _ = values([row.speed_per_1000_rpm for row in gears])
        end = np.minimum(top, per_1000 * most / 1000.0)
        rpm = 1000.0 * end / per_1000
        marks.append(drive.line(side.read(_from_origin(end)), _from_origin(rpm), drive.name))
        names = [f"gear {row.gear}" for row in gears]
        at = _MARKED_AT * side.read(end)
        marks.append(drive.points(at, _MARKED_AT * rpm, names, label=""))
        if drive is rows[0][0]:
            ends = zip(side.read(end).tolist(), rpm.tolist(), gears, strict=True)
            marks += [Note(x, y, str(row.gear)) for x, y, row in ends]
    yield Chart(
        id="compare-gears",
        title="Engine speed against road speed, by gear",
        says=side.says("Engine speed against road speed in each gear", "gearing", "cruise"),
        x=Axis("True road speed", side.units, shared=SPEED, from_zero=True),
        panels=(Panel(Axis("Engine speed as the tach shows it", "rpm"), tuple(marks)),),
        subject="gearing",
        height=0.6,
        notes=(f"Numbers: the gears of {rows[0][0].name}.",),
    )


def _from_origin(ends: Floats) -> Floats:
    """Return [3·n] float: 0 and each of the ends, a gap behind it, for lines from the origin."""
    rows = np.column_stack([np.zeros(ends.size), ends, np.full(ends.size, np.nan)])
    return np.asarray(rows.ravel(), dtype=np.float64)


def _top_mps(results: Results) -> float:
    top = results.drive.top_speed
    return _TOP_MPS if top is None else top.value


def _top_rpm(results: Results) -> float:
    """Return about the highest engine speed of a drive: that at the end of its pulls."""
    rpm = [point.rpm for run in results.pulls.runs for point in run.curve if point.rpm is not None]
    return max(rpm, default=_TOP_RPM)


def coasting_chart(side: Side) -> Iterator[Chart]:
    """Yield deceleration out of gear against speed."""
    rows = side.with_any(
        lambda results: [row for row in results.coasting.deceleration if row.speed and row.value]
    )
    if not rows:
        return
    marks: list[Mark] = []
    for drive, found in rows:
        speed, _ = side.speeds([row.speed for row in found])
        value, half = values([row.value for row in found])
        marks.append(drive.line(speed, value))
        # Beside the line, for the drives have the same speeds and their intervals must be told.
        moved = speed + 4.0 * drive.aside
        marks.append(drive.points(moved, value, [""] * speed.size, y_u95=half))
    yield Chart(
        id="compare-coasting",
        title="What holds the car back",
        says=side.says("Deceleration out of gear against speed", "coasting"),
        x=Axis("True speed", side.units, shared=SPEED),
        panels=(Panel(Axis("Deceleration out of gear", "m/s²", from_zero=True), tuple(marks)),),
        subject="coasting",
        height=0.5,
        notes=("The markers stand a little aside of their speeds, so that the drives are told.",),
    )
