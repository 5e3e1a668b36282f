"""Ranges and ticks of axes, the same for every drawer."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.charts.model import Axis, Band, Bars, Chart, Level, Line, Mark, Note, Panel, Points
from roadtest.charts.model import Span as UprightSpan
from roadtest.quantity import Floats

Range = tuple[float, float]

_PADDING: Final = 0.05  # of the range, beyond what is drawn
_CLOCK_STEPS_S: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 21600)
_CLOCK_PARTS: Final = {15: 3, 30: 3, 60: 4, 120: 4, 900: 3, 1800: 3, 3600: 4, 7200: 4, 21600: 6}
_PARTS: Final = {1: 5, 2: 4, 5: 5}  # of a step, for the minor grid


@dataclass(frozen=True)
class Ticks:
    """Where an axis is labelled, with the words, and where the minor grid lies between."""

    major: tuple[tuple[float, str], ...]
    minor: tuple[float, ...] = ()


def x_range(chart: Chart) -> Range:
    """Return the range of the x axis: as given, or round what is drawn in any panel."""
    return chart.x.range or _padded(chart.x, _ends(_xs(chart.marks)), snug=True)


def y_range(chart: Chart, panel: Panel) -> Range:
    """Return the range of a panel's y axis: as given, or round what is drawn where x is seen."""
    return panel.y.range or _padded(panel.y, _ends(_ys(panel.marks, chart.x.range)), snug=False)


def _ends(parts: Iterable[Floats]) -> Range | None:
    finite = [part[np.isfinite(part)] for part in parts]
    finite = [part for part in finite if part.size]
    if not finite:
        return None
    return min(float(part.min()) for part in finite), max(float(part.max()) for part in finite)


def _padded(axis: Axis, ends: Range | None, *, snug: bool) -> Range:
    if ends is None:
        return 0.0, 1.0
    low, high = ends
    if axis.from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        half = max(0.1 * abs(low), 0.5)
        return low - half, high + half
    more = (high - low) * _PADDING * (0.4 if snug else 1.0)
    keep_low = axis.from_zero and low == 0.0
    keep_high = axis.from_zero and high == 0.0
    return low if keep_low else low - more, high if keep_high else high + more


def _xs(marks: Iterable[Mark]) -> Iterator[Floats]:
    for mark in marks:
        if isinstance(mark, Line | Band):
            yield mark.x
        elif isinstance(mark, Points):
            yield from _with_interval(mark.x, mark.x_u95)
        elif isinstance(mark, Bars):
            yield np.append(mark.length, 0.0)
        elif isinstance(mark, UprightSpan):
            yield np.array([mark.start, mark.end])
        elif isinstance(mark, Note):
            yield np.array([mark.x])
        elif isinstance(mark, Level) and mark.axis == "x" and mark.in_view:
            yield np.array([mark.value])


def _ys(marks: Iterable[Mark], seen: Range | None) -> Iterator[Floats]:
    for mark in marks:
        if isinstance(mark, Line | Points | Band):
            low, high = seen or (-math.inf, math.inf)
            rows = (mark.x >= low) & (mark.x <= high)
            if isinstance(mark, Band):
                yield mark.low[rows]
                yield mark.high[rows]
            elif isinstance(mark, Points) and mark.y_u95 is not None:
                yield from _with_interval(mark.y[rows], mark.y_u95[rows])
            else:
                yield mark.y[rows]
        elif isinstance(mark, Bars):
            yield np.concatenate([mark.y - 0.5, mark.y + 0.5])
        elif isinstance(mark, Note):
            yield np.array([mark.y])
        elif isinstance(mark, Level) and mark.axis == "y" and mark.in_view:
            yield np.array([mark.value])


def _with_interval(values: Floats, u95: Floats | None) -> Iterator[Floats]:
    yield values
    if u95 is not None:
        yield values - u95
        yield values + u95


def ticks(axis: Axis, between: Range, fits: Callable[[tuple[str, ...], float], bool]) -> Ticks:
    """Return the ticks of `axis` within `between`.

    `fits` says whether labels that stand a distance apart (in units of the axis) have room; the
    finest step of 1, 2 or 5 times a power of ten that has is taken. A clock steps by seconds,
    minutes and hours that people count in.
    """
    low, high = between
    if axis.labels:
        return Ticks(tuple(label for label in axis.labels if low <= label[0] <= high))
    if axis.scale == "none" or not high > low:
        return Ticks(())
    found: list[tuple[float, str]] = []
    minor: tuple[float, ...] = ()
    for step, parts in _steps(axis, high - low):
        found = [(value, _label(axis, value, step)) for value in _multiples(step, low, high)]
        minor = _between(step, parts, between) if _may_part(axis, step, parts) else ()
        if fits(tuple(label for _, label in found), step):
            break
    return Ticks(tuple(found), minor)


def _between(step: float, parts: int, between: Range) -> tuple[float, ...]:
    """Return the parts of a step that are no whole steps."""
    values = _multiples(step / parts, *between)
    return tuple(value for value in values if round(value / step * parts) % parts)


def _may_part(axis: Axis, step: float, parts: int) -> bool:
    return parts > 1 and (axis.scale != "whole" or step / parts >= 1.0)


def _steps(axis: Axis, width: float) -> Iterator[tuple[float, int]]:
    """Yield steps with the parts they divide into, the finest first."""
    if axis.scale == "clock" and width > 5.0:
        for seconds in _CLOCK_STEPS_S:
            if seconds >= width / 40.0:
                yield float(seconds), _CLOCK_PARTS.get(seconds, _PARTS.get(_lead(seconds), 1))
        return
    power = math.floor(math.log10(width)) - 2
    for exponent in range(power, power + 5):
        for lead, parts in _PARTS.items():
            step = lead * 10.0**exponent
            if step < width / 40.0 or (axis.scale == "whole" and step < 1.0):
                continue
            yield step, parts


def _lead(seconds: int) -> int:
    return int(str(seconds)[0])


def _multiples(step: float, low: float, high: float) -> list[float]:
    slack = 1e-6
    first, last = math.ceil(low / step - slack), math.floor(high / step + slack)
    return [count * step for count in range(first, last + 1)]


def _label(axis: Axis, value: float, step: float) -> str:
    if axis.scale == "clock":
        return clock_label(value, step)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    text = f"{value:.{decimals}f}"
    if not text.strip("-0."):
        text = text.removeprefix("-")
    return text.replace("-", "−")


def clock_label(seconds: float, step: float = 1.0) -> str:
    """Return a time into the drive as "2:05", "1:02:05", or "2:05.4" where steps are fine."""
    sign = "−" if seconds < -0.5 * step else ""
    decimals = 0 if step >= 1.0 else max(1, -math.floor(math.log10(step) + 1e-9))
    whole, fraction = divmod(round(abs(seconds) * 10**decimals), 10**decimals)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    text = f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"
    return f"{sign}{text}.{fraction:0{decimals}}" if decimals else f"{sign}{text}"
