"""The odometer: how far what it counted is off, against the distance driven."""

from __future__ import annotations

import numpy as np

from roadtest.charts.model import Axis, Band, Chart, Level, Line, Mark, Panel, Points, Role
from roadtest.charts.source import Source, counted, values
from roadtest.quantity import Floats
from roadtest.results import OdometerReading
from roadtest.units import from_si
from roadtest.wording import clock_text


def odometer_charts(source: Source) -> tuple[Chart, ...]:
    """Return the chart of the readings that the scale was found between; none without a scale."""
    found = source.results.odometer
    readings = _compared(source)
    if found.scale is None or found.true is None or len(readings) < 2:
        return ()
    unit = "miles" if source.units == "mph" else "km"
    at = np.array([reading.at_s for reading in readings])
    driven = from_si(_driven_m(source, at, found.true.value), unit)
    shown, half = values([reading.shown for reading in readings])
    more = from_si(shown - shown[0], unit) - driven
    end = float(driven[-1])
    judged = source.finding("odometer")
    marks: list[Mark] = []
    if judged is not None and judged.limit is not None and judged.limit.low and judged.limit.high:
        low, high = judged.limit.low, judged.limit.high
        marks.append(_wedge(end, low - 1.0, high - 1.0, "allowed", "allowed"))
    scale, u95 = found.scale.value, found.scale.u95
    marks += [
        Level(0.0, "as driven", "other", "dotted"),
        _wedge(end, scale - u95 - 1.0, scale + u95 - 1.0, "its 95 % interval", "fit"),
        Line(np.array([0.0, end]), np.array([0.0, (scale - 1.0) * end]), "scale found", "fit"),
        Points(
            driven,
            more,
            "readings, their last digit",
            y_u95=np.asarray(from_si(half, unit)),
            names=tuple(f"read at {clock_text(reading.at_s)}" for reading in readings),
        ),
    ]
    return (
        Chart(
            id="odometer",
            title="What the odometer counts",
            says=_says(source, len(readings)),
            x=Axis("Driven since the first reading", unit, from_zero=True),
            panels=(Panel(Axis("Counted less driven", unit), tuple(marks)),),
            findings=source.findings("odometer"),
            subject="odometer",
            height=0.42,
        ),
    )


def _compared(source: Source) -> tuple[OdometerReading, ...]:
    """Return the readings from the first to the last that the results compare."""
    used = [reading for reading in source.results.odometer.readings if reading.used]
    counted_m = source.results.odometer.indicated
    if counted_m is None:
        return ()
    for first, start in enumerate(used):
        for last in range(len(used) - 1, first, -1):
            if abs(used[last].shown.value - start.shown.value - counted_m.value) < 1e-6:
                return tuple(used[first : last + 1])
    return ()


def _driven_m(source: Source, at_s: Floats, whole_m: float) -> Floats:
    """Return the distance driven [n] since the first of `at_s`; the last has the results' own."""
    motion = source.evidence.motion
    along = np.interp(at_s, motion.time_s, motion.distance_m)
    along -= along[0]
    return np.asarray(along * (whole_m / along[-1]))


def _wedge(end: float, low: float, high: float, label: str, role: Role) -> Band:
    x = np.array([0.0, end])
    return Band(x, low * x, high * x, label, role)


def _says(source: Source, readings: int) -> str:
    found = source.results.odometer
    said = (
        f"Between {counted(readings, 'reading')} the odometer counted "
        f"{source.say(found.indicated)} over {source.say(found.true)} driven, "
        f"{source.say(found.scale)} times as much"
    )
    judged = source.finding("odometer")
    return f"{said}; verdict: {judged.verdict}." if judged is not None else f"{said}."
