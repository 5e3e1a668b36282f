"""Stops: laid over one another, their deceleration against the limit, fade, drift from above."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from roadtest.charts.model import Axis, Chart, Level, Line, Mark, Panel, Points, Slope
from roadtest.charts.source import MOST_TOLD_APART, Source, counted, looks, values
from roadtest.quantity import Floats
from roadtest.results import Finding, Limit, StopResult

_BEFORE_S: Final = 1.0  # of driving shown before a stop
_AFTER_S: Final = 0.5


@dataclass(frozen=True)
class _Trace:
    """The mean motion of one stop: time and way from its beginning, speed; [k] each."""

    stop: StopResult
    time_s: Floats
    way_m: Floats
    speed_mps: Floats


def braking_charts(source: Source) -> tuple[Chart, ...]:
    """Return what was measured of the brakes, as charts."""
    stops = source.results.braking.stops
    if not stops:
        return ()
    traces = [trace for stop in stops if (trace := _trace(source, stop)) is not None]
    return (
        *_overlaid(source, traces),
        *_decelerations(source),
        *_fade(source),
        *_drift(source, traces),
    )


def _trace(source: Source, stop: StopResult) -> _Trace | None:
    draws = source.evidence.draws.get(stop.manoeuvre)
    made = next((m for m in source.results.manoeuvres if m.id == stop.manoeuvre), None)
    if draws is None or made is None:
        return None
    way = draws.distance_m.mean(axis=0)
    start = float(np.interp(made.start_s, draws.time_s, way))
    rows = (draws.time_s >= made.start_s - _BEFORE_S) & (draws.time_s <= made.end_s + _AFTER_S)
    time = draws.time_s[rows] - made.start_s
    return _Trace(stop, time, way[rows] - start, draws.speed_mps.mean(axis=0)[rows])


def _overlaid(source: Source, traces: Sequence[_Trace]) -> Iterator[Chart]:
    if not traces:
        return
    slowest, quickest = _extremes([trace.stop for trace in traces])
    said = f"{counted(len(traces), 'stop')} laid over one another from where braking began"
    if slowest is not None and quickest is not None:
        said += (
            f", decelerating by {source.say(slowest.mfdd_level)} in {slowest.manoeuvre} "
            f"to {source.say(quickest.mfdd_level)} in {quickest.manoeuvre}"
        )
    by_time = [(trace.time_s, trace) for trace in traces]
    by_way = [(trace.way_m, trace) for trace in traces]
    yield Chart(
        id="stops-time",
        title="Stops against time",
        says=f"{said}.",
        x=Axis("Time from the beginning of braking", "s"),
        panels=(Panel(source.speed_axis(), _lines(source, by_time)),),
        findings=source.findings("mfdd", "spread", "fade"),
        subject="braking",
        height=0.45,
    )
    yield Chart(
        id="stops-distance",
        title="Stops against distance",
        says=_says_distance(source, traces),
        x=Axis("Distance from the beginning of braking", "m"),
        panels=(Panel(source.speed_axis(), (*_distance_limit(source), *_lines(source, by_way))),),
        findings=source.findings("stopping_distance"),
        subject="braking",
        height=0.45,
    )


def _says_distance(source: Source, traces: Sequence[_Trace]) -> str:
    known = [trace.stop for trace in traces if trace.stop.distance is not None]
    if not known:
        return f"Speed over distance in {counted(len(traces), 'stop')}."
    longest = max(known, key=lambda stop: stop.distance.value if stop.distance else 0.0)
    length = source.say(longest.distance)
    said = f"Speed over distance; the longest, {longest.manoeuvre}, took {length}"
    if longest.initial_speed is not None:
        said += f" from {source.say(longest.initial_speed)}"
    return f"{said}."


def _lines(source: Source, curves: Sequence[tuple[Floats, _Trace]]) -> tuple[Mark, ...]:
    marks: list[Mark] = [Level(0.0, "braking begins", "other", "dotted", axis="x")]
    told = len(curves) <= MOST_TOLD_APART
    for (x, trace), (role, dash, _) in zip(curves, looks(len(curves)), strict=True):
        name = trace.stop.manoeuvre
        speed = source.speeds(trace.speed_mps)
        if told:
            marks.append(Line(x, speed, name, role, dash, manoeuvre=name))
        else:
            marks.append(Line(x, speed, "", "measured", width=0.6, manoeuvre=name))
    return tuple(marks)


def _distance_limit(source: Source) -> Iterator[Mark]:
    finding = source.finding("stopping_distance")
    if finding is not None and finding.limit is not None and finding.limit.high is not None:
        label = source.say_limit(finding.limit)
        yield Level(finding.limit.high, f"allowed: {label}", axis="x")


def _extremes(stops: Sequence[StopResult]) -> tuple[StopResult | None, StopResult | None]:
    known = [stop for stop in stops if stop.mfdd_level is not None]
    if not known:
        return None, None
    known.sort(key=lambda stop: stop.mfdd_level.value if stop.mfdd_level else 0.0)
    return known[0], known[-1]


def _categories(names: Sequence[str], title: str) -> Axis:
    labels = tuple((k + 1.0, name.removeprefix("stop-")) for k, name in enumerate(names))
    return Axis(title, range=(0.4, len(names) + 0.6), labels=_thinned(labels))


def _thinned(labels: tuple[tuple[float, str], ...]) -> tuple[tuple[float, str], ...]:
    """Return no more labels than stand side by side."""
    return labels[:: len(labels) // 21 + 1]


def _decelerations(source: Source) -> Iterator[Chart]:
    stops = [s for s in source.results.braking.stops if s.mfdd_level is not None]
    if not stops:
        return
    names = tuple(stop.manoeuvre for stop in stops)
    x = np.arange(1.0, len(stops) + 1.0)
    level, half = values([stop.mfdd_level for stop in stops])
    driven, _ = values([stop.mfdd for stop in stops])
    finding = source.finding("mfdd")
    marks: list[Mark] = list(_limits(source, finding))
    marks.append(
        Points(
            x + 0.12,
            driven,
            "as driven, the road's grade in it",
            "other",
            "square",
            hollow=True,
            names=names,
            manoeuvres=names,
            size=0.85,
        )
    )
    marks.append(
        Points(
            x,
            level,
            "on the level, 95 % interval",
            y_u95=half,
            names=names,
            manoeuvres=names,
        )
    )
    slowest, _ = _extremes(stops)
    worst = source.say(slowest.mfdd_level) if slowest is not None else ""
    name = slowest.manoeuvre if slowest is not None else ""
    count = counted(len(stops), "stop")
    said = f"Mean fully developed deceleration of {count}; least: {worst} in {name}"
    if finding is not None:
        said += f"; verdict: {finding.verdict}"
    yield Chart(
        id="mfdd",
        title="Deceleration of each stop",
        says=f"{said}.",
        x=_categories(names, "Stop"),
        panels=(Panel(Axis("Mean fully developed deceleration", "m/s²"), tuple(marks)),),
        findings=source.findings("mfdd", "spread"),
        subject="braking",
        height=0.4,
    )


def _limits(source: Source, finding: Finding | None) -> Iterator[Mark]:
    """Yield the limits of a finding, or of the items where each has the same."""
    limit = None if finding is None else finding.limit
    if limit is None and finding is not None:
        limits = [item.limit for item in finding.items if item.limit is not None]
        limit = limits[0] if limits and all(other == limits[0] for other in limits) else None
    if limit is None:
        return
    if limit.low is not None:
        said = source.say_limit(Limit(limit.low, None, limit.unit))
        yield Level(limit.low, f"allowed: {said}", allowed="above")
    if limit.high is not None:
        said = source.say_limit(Limit(None, limit.high, limit.unit))
        yield Level(limit.high, f"allowed: {said}", allowed="below")


def _fade(source: Source) -> Iterator[Chart]:
    """Yield the like stops in order, against the first of them."""
    braking = source.results.braking
    like = [s for s in braking.stops if s.manoeuvre in braking.like_stops and s.mfdd_level]
    if braking.fade is None or len(like) < 2:
        return
    names = tuple(stop.manoeuvre for stop in like)
    x = np.arange(1.0, len(like) + 1.0)
    level, half = values([stop.mfdd_level for stop in like])
    first = float(level[0])
    marks: list[Mark] = [Level(100.0, "the first stop", "expected", "dotted")]
    finding = source.finding("fade")
    share = next((limit for limit in _limits_of(finding) if limit.unit == "1"), None)
    if share is not None and share.low is not None:
        label = f"allowed for the last: {source.say_limit(share, percent=True)}"
        marks.append(Level(100.0 * share.low, label, allowed="above"))
    if braking.fade_per_stop is not None:
        slope = 100.0 * braking.fade_per_stop.value
        middle = float((100.0 * level / first).mean())
        straight = middle - slope * float(x.mean())
        marks.append(Slope(slope, straight, "trend from stop to stop", "fit", "solid"))
    marks.append(
        Points(
            x,
            100.0 * level / first,
            "like stops, 95 % interval",
            y_u95=100.0 * half / first,
            names=names,
            manoeuvres=names,
        )
    )
    kept = source.say(braking.fade, percent=True)
    said = f"The last of {len(like)} like stops braked {kept} as hard as the first"
    if finding is not None:
        said += f"; verdict: {finding.verdict}"
    yield Chart(
        id="fade",
        title="Fade over like stops",
        says=f"{said}.",
        x=_categories(names, "Stop, in the order driven"),
        panels=(Panel(Axis("Deceleration on the level, of the first stop's", "%"), tuple(marks)),),
        findings=source.findings("fade", "spread"),
        subject="braking",
        height=0.4,
    )


def _limits_of(finding: Finding | None) -> Iterator[Limit]:
    """Yield the limits of a finding and of its items: a rule may ask for two things."""
    if finding is not None:
        yield from filter(None, (finding.limit, *(item.limit for item in finding.items)))


def _drift(source: Source, traces: Sequence[_Trace]) -> Iterator[Chart]:
    """Yield the stops from above: the place aside of the line of approach against the way."""
    told = [trace for trace in traces if trace.stop.drift is not None]
    if not told:
        return
    marks: list[Mark] = [Level(0.0, "line of approach", "expected", "dotted")]
    marks += _limits(source, source.finding("drift"))
    for trace, (role, dash, marker) in zip(told, looks(len(told)), strict=True):
        drift, way = trace.stop.drift, trace.stop.distance
        if drift is None or way is None:
            continue
        name = trace.stop.manoeuvre
        label = name if len(told) <= MOST_TOLD_APART else ""
        path = _path(source, trace, drift.value, way.value)
        marks.append(replace(path, role=role, dash=dash, width=0.8))
        marks.append(
            Points(
                np.array([way.value]),
                np.array([drift.value]),
                label,
                role,
                marker,
                y_u95=np.array([drift.u95]),
                names=(name,),
                manoeuvres=(name,),
            )
        )
    yield Chart(
        id="drift",
        title="Drift while braking, from above",
        says=_says_drift(source, [trace.stop for trace in told]),
        x=Axis("Distance from the beginning of braking", "m"),
        panels=(
            Panel(
                Axis("Off the line of approach, right positive", "m", reverse=True),
                tuple(marks),
            ),
        ),
        findings=source.findings("drift"),
        subject="braking",
        height=0.45,
    )


def _path(source: Source, trace: _Trace, drift_m: float, way_m: float) -> Line:
    """Return the path of one stop, a straight line to where it ended where that is all we have."""
    name = trace.stop.manoeuvre
    found = source.traces.from_above.get(name)
    if found is None:
        return Line(np.array([0.0, way_m]), np.array([0.0, drift_m]), "", manoeuvre=name)
    return Line(found.way_m, found.aside_m, "", manoeuvre=name)


def _says_drift(source: Source, stops: Sequence[StopResult]) -> str:
    worst = max(stops, key=lambda stop: abs(stop.drift.value) if stop.drift else 0.0)
    side = "right" if worst.drift is not None and worst.drift.value > 0.0 else "left"
    said = (
        f"Place aside of the line of approach in {counted(len(stops), 'stop')}; most: "
        f"{source.say(worst.drift, signed=True)} in {worst.manoeuvre}, to the {side}"
    )
    finding = source.finding("drift")
    return f"{said}; verdict: {finding.verdict}." if finding is not None else f"{said}."
