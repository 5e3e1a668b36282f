"""The speedometer: dial against true speed, and its error, with what is allowed and advised."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.charts.model import Axis, Band, Chart, Level, Line, Mark, Panel, Points, Slope
from roadtest.charts.source import SPEED, Source, counted, values
from roadtest.measures.speedometer.target import DialTarget, dial_target
from roadtest.quantity import Floats
from roadtest.results import Correction, Reading
from roadtest.units import to_si

_STEPS: Final = 121  # of curves over the dial
_BEYOND: Final = 10.0  # mph or km/h past the fastest reading


@dataclass(frozen=True)
class _Dial:
    """Readings with both speeds, in order of speed, and the true speeds to draw over, m/s."""

    source: Source
    readings: tuple[Reading, ...]
    grid_mps: Floats

    def column(self, name: str) -> tuple[Floats, Floats]:
        """Return values and half-widths of one column of the readings, as people read them."""
        value, half = values([getattr(reading, name) for reading in self.readings])
        return self.source.speeds(value), self.source.speeds(half)

    @property
    def names(self) -> tuple[str, ...]:
        """The manoeuvres of the readings."""
        return tuple(reading.manoeuvre for reading in self.readings)


def speedometer_charts(source: Source) -> tuple[Chart, ...]:
    """Return the dial and its error against true speed; nothing without a reading."""
    readings = tuple(
        reading
        for reading in source.results.speedometer.readings
        if reading.true is not None and reading.error is not None and reading.indicated is not None
    )
    if not readings:
        return ()
    true, half = values([reading.true for reading in readings])
    top = float((true + half).max()) + to_si(_BEYOND, source.units)
    dial = _Dial(source, readings, np.linspace(0.0, top, _STEPS))
    return (_shown(dial), _error(dial))


def _shown(dial: _Dial) -> Chart:
    source = dial.source
    true, true_half = dial.column("true")
    shown, shown_half = dial.column("indicated")
    marks: list[Mark] = [
        *_allowed(dial, as_error=False),
        Slope(1.0, 0.0, "dial = true", "other", "dotted"),
        *_law(dial, as_error=False),
        *_advised(dial, as_error=False),
        Points(
            true,
            shown,
            "readings",
            x_u95=true_half,
            y_u95=shown_half,
            names=dial.names,
            manoeuvres=dial.names,
        ),
    ]
    top = source.speed(float(dial.grid_mps[-1]))
    return Chart(
        id="dial",
        title="What the dial shows",
        says=_says(dial),
        x=Axis("True speed", source.units, range=(0.0, top), shared=SPEED),
        panels=(Panel(Axis("Dial", source.units, from_zero=True), tuple(marks)),),
        findings=source.findings("speedometer"),
        subject="speedometer",
        height=0.62,
    )


def _error(dial: _Dial) -> Chart:
    source = dial.source
    true, true_half = dial.column("true")
    error, error_half = dial.column("error")
    marks: list[Mark] = [
        *_allowed(dial, as_error=True),
        Level(0.0, "", "other", "dotted"),
        *_law(dial, as_error=True),
        *_advised(dial, as_error=True),
        Points(
            true,
            error,
            "error of each reading",
            x_u95=true_half,
            y_u95=error_half,
            names=dial.names,
            manoeuvres=dial.names,
        ),
    ]
    top = source.speed(float(dial.grid_mps[-1]))
    return Chart(
        id="dial-error",
        title="Error of the dial",
        says=_says_error(dial),
        x=Axis("True speed", source.units, range=(0.0, top), shared=SPEED),
        panels=(Panel(Axis("Dial less true speed", source.units), tuple(marks)),),
        findings=source.findings("speedometer"),
        subject="speedometer",
        height=0.5,
    )


def _says(dial: _Dial) -> str:
    found, source = dial.source.results.speedometer, dial.source
    said = f"{counted(len(dial.readings), 'reading')} of the dial against true speed"
    if found.scale is not None and found.offset is not None:
        offset = source.say(found.offset, signed=True)
        said += f": it shows {source.say(found.scale)} times the true speed, {offset}"
    finding = source.finding("speedometer")
    return f"{said}; verdict: {finding.verdict}." if finding else f"{said}."


def _says_error(dial: _Dial) -> str:
    source = dial.source
    worst = max(dial.readings, key=lambda reading: abs(reading.error.value if reading.error else 0))
    said = (
        f"The dial is off by {source.say(worst.error, signed=True)} at worst, "
        f"at a true {source.say(worst.true)}"
    )
    best = _best(dial)
    return f"{said}; drawn beside it: after {_change(best)}." if best else f"{said}."


def _allowed(dial: _Dial, *, as_error: bool) -> Iterator[Mark]:
    """Yield the band that the target allows, where it speaks of the speed."""
    target = dial_target(dial.source.sheet)
    if target is None:
        return
    true = dial.grid_mps
    low, high = target.limits_at(true, true)
    start = np.zeros(true.size) if as_error else true
    source = dial.source
    yield Band(
        source.speeds(true),
        source.speeds(start + low),
        source.speeds(start + high),
        f"allowed: {_rule_name(target)}",
        "allowed",
        edged=True,
    )


def _rule_name(target: DialTarget) -> str:
    return "own target" if target.rule.name == "own" else target.rule.title


def _law(dial: _Dial, *, as_error: bool) -> Iterator[Mark]:
    """Yield the line through the readings with its interval, over the speeds held."""
    fit, source = dial.source.traces.dial, dial.source
    if fit is None:
        return
    inside = (dial.grid_mps >= fit.law.lowest_mps) & (dial.grid_mps <= fit.law.highest_mps)
    for true, dash, name in (
        (dial.grid_mps, "dotted", ""),
        (dial.grid_mps[inside], "solid", "line through the readings"),
    ):
        errors = [fit.law.error_at(speed) for speed in true.tolist()]
        value, half = values(errors)
        start = np.zeros(true.size) if as_error else true
        x, middle = source.speeds(true), source.speeds(start + value)
        if dash == "solid":
            low, high = source.speeds(start + value - half), source.speeds(start + value + half)
            yield Band(x, low, high, "its 95 % interval", "fit")
            yield Line(x, middle, name, "fit", "solid")
        else:
            yield Line(x, middle, name, "fit", "dotted", width=0.8)


def _best(dial: _Dial) -> Correction | None:
    corrections = dial.source.results.speedometer.corrections
    return next((c for c in corrections if c.errors_after), None)


def _advised(dial: _Dial, *, as_error: bool) -> Iterator[Mark]:
    """Yield what the dial would show after the change that is advised first."""
    best = _best(dial)
    if best is None:
        return
    source = dial.source
    rows = sorted(best.errors_after, key=lambda row: row.speed.value)
    true, _ = values([row.speed for row in rows])
    error, half = values([row.error for row in rows])
    start = np.zeros(true.size) if as_error else true
    x, y = source.speeds(true), source.speeds(start + error)
    label = f"after {_change(best)}"
    yield Line(x, y, "", "advised", "dash-dot")
    yield Points(
        x, y, label, "advised", "diamond", hollow=True, y_u95=source.speeds(half), size=0.9
    )


_WORDS: Final = {
    "driven_teeth": "a driven gear of {} teeth",
    "drive_teeth": "a drive gear of {} teeth",
    "ratio_adapter": "a ratio adapter of {}",
    "pulses_per_km": "setting {} pulses per km",
    "turns_per_mile": "a head of {} turns per mile",
}


def _change(correction: Correction) -> str:
    """Return the change advised, in a few words."""
    words = _WORDS.get(correction.kind)
    if words is None or correction.advised is None:
        said = "setting the needle"
    else:
        said = words.format(f"{correction.advised:.5g}")
    return f"{said} and another change" if correction.also is not None else said
