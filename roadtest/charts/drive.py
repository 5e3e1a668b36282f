"""The whole drive: everything against time, and the path from above."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from roadtest.charts.channels import channel_panels
from roadtest.charts.model import CAPS, Axis, Band, Chart, Level, Line, Mark, Note, Panel, Points
from roadtest.charts.source import Source, counted, listed, u95
from roadtest.quantity import Floats
from roadtest.results import Manoeuvre
from roadtest.wording import duration_text

_MOST_CHANNELS: Final = 4  # beside the rest; each has a chart of its own as well
_LEAST_PATH_M: Final = 20.0  # a path shorter than what a receiver wanders says nothing


def drive_charts(source: Source) -> tuple[Chart, ...]:
    """Return the drive against time, and its path where the log has positions."""
    return (_over_time(source), *_path(source))


def _over_time(source: Source) -> Chart:
    panels = [
        _speed(source),
        *_engine(source),
        *_gear(source),
        *_grade(source),
        *channel_panels(source)[:_MOST_CHANNELS],
    ]
    height = 0.22 + 0.13 * sum(panel.share for panel in panels)
    return Chart(
        id="drive",
        title="The whole drive",
        says=_says(source),
        x=source.time_axis(),
        panels=tuple(panels),
        subject="drive",
        height=height,
    )


def _says(source: Source) -> str:
    drive = source.results.drive
    parts = [f"Speed over {duration_text(drive.duration_s or 0.0)} of driving"]
    if drive.distance is not None:
        parts.append(f"{source.say(drive.distance)} far")
    if drive.top_speed is not None:
        parts.append(f"up to {source.say(drive.top_speed)}")
    marked = [
        counted(len(source.used(kind)), kind)
        for kind in ("hold", "pull", "stop", "coast")
        if source.used(kind)
    ]
    said = ", ".join(parts)
    return f"{said}; marked: {listed(marked)}." if marked else f"{said}; no manoeuvre was used."


def _speed(source: Source) -> Panel:
    motion = source.evidence.motion
    half = u95(motion.u_speed_mps)
    time, speed, low, high = source.broken(
        motion.time_s,
        source.speeds(motion.speed_mps),
        source.speeds(np.maximum(motion.speed_mps - half, 0.0)),
        source.speeds(motion.speed_mps + half),
    )
    return Panel(
        source.speed_axis(),
        (
            *source.gap_spans(),
            *source.spans(),
            Band(time, low, high, "95 % interval of speed"),
            Line(time, speed, "speed"),
        ),
        share=2.2,
    )


def _engine(source: Source) -> Iterator[Panel]:
    engine = source.traces.engine
    if engine is None or engine.time_s.size == 0:
        return
    time, rpm = _with_breaks(engine.time_s, engine.rpm)
    marks: list[Mark] = [*source.spans(named=False), Line(time, rpm, "engine speed", "series 2")]
    limit = source.sheet.engine.limit_rpm
    if limit is not None:
        label = f"limit of the build sheet, {limit:.0f} rpm"
        marks.append(Level(limit, label, allowed="below"))
    yield Panel(Axis("Engine speed as the tach shows it", "rpm", from_zero=True), tuple(marks))


def _gear(source: Source) -> Iterator[Panel]:
    trace = source.traces.gears
    if trace is None or not (trace.gear > 0).any():
        return
    top = int(trace.gear.max())
    gear = np.where(trace.gear >= 0, trace.gear, np.nan).astype(np.float64)
    time, gear = _with_breaks(trace.time_s, gear)
    names = ((0.0, "none"), *((float(k), str(k)) for k in range(1, top + 1)))
    axis = Axis("Gear engaged", range=(-0.5, top + 0.5), labels=names)
    line = Line(time, gear, "gear", "series 4", steps=True)
    yield Panel(axis, (*source.spans(named=False), line), share=0.9)


def _grade(source: Source) -> Iterator[Panel]:
    ground = source.evidence.ground
    known = np.isfinite(ground.grade)
    if not known.any() or not np.isfinite(ground.altitude_m).any():
        return
    half = u95(ground.u_grade)
    time, grade, low, high = source.broken(
        ground.time_s,
        100.0 * ground.grade,
        100.0 * (ground.grade - half),
        100.0 * (ground.grade + half),
    )
    yield Panel(
        Axis("Grade of the road, uphill positive", "%"),
        (
            *source.spans(named=False),
            Band(time, low, high, "95 % interval of grade", "series 3"),
            Line(time, grade, "grade", "series 3"),
        ),
        share=0.9,
    )


def _with_breaks(time_s: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return a curve with a NaN wherever rows are missing."""
    if time_s.size < 3:
        return time_s, values
    step = np.diff(time_s)
    at = np.flatnonzero(step > max(3.0 * float(np.median(step)), 1.0)) + 1
    return np.insert(time_s, at, time_s[at]), np.insert(values, at, np.nan)


def _path(source: Source) -> Iterator[Chart]:
    ground = source.evidence.ground
    known = np.isfinite(ground.east_m) & np.isfinite(ground.north_m)
    if np.count_nonzero(known) < 2:
        return
    east, north = ground.east_m[known], ground.north_m[known]
    if max(np.ptp(east), np.ptp(north)) < _LEAST_PATH_M:
        return
    time, east, north = source.broken(ground.time_s, ground.east_m, ground.north_m)
    marks: list[Mark] = [Line(east, north, "path", "other", width=0.8, time_s=time)]
    marks += _on_path(source)
    seen = ground.east_m[known], ground.north_m[known]
    marks += [_end(*seen, "start"), _end(seen[0][::-1], seen[1][::-1], "end")]
    wide, high = float(np.ptp(seen[0])), float(np.ptp(seen[1]))
    yield Chart(
        id="path",
        title="The path driven",
        says=(
            f"The path from above, {wide:.0f} m from west to east and {high:.0f} m from south to "
            "north, with the manoeuvres marked where they were driven."
        ),
        x=Axis("East of the first fix", "m", equal=True),
        panels=(Panel(Axis("North of the first fix", "m", equal=True), tuple(marks)),),
        subject="drive",
        height=float(np.clip(high / max(wide, 1.0), 0.25, 0.9)) + 0.12,
    )


def _end(east_m: Floats, north_m: Floats, text: str) -> Note:
    """Return the words at the first point of a path, on the side that the path leads away from."""
    away = np.hypot(east_m - east_m[0], north_m - north_m[0])
    near = int(np.argmax(away > 0.05 * away.max()))
    x, y = float(east_m[0] - east_m[near]), float(north_m[0] - north_m[near])
    if abs(x) > abs(y):
        return Note(float(east_m[0]), float(north_m[0]), text, side="right" if x > 0 else "left")
    return Note(float(east_m[0]), float(north_m[0]), text, side="above" if y > 0 else "below")


def _on_path(source: Source) -> Iterator[Mark]:
    """Yield each used manoeuvre as a thick piece of path, with its kind's marker where it began."""
    for kind in CAPS:
        pieces = [_piece(source, made) for made in source.used(kind)]
        for made, (east, north, time) in zip(source.used(kind), pieces, strict=True):
            yield Line(east, north, "", made.kind, width=2.4, manoeuvre=made.id, time_s=time)
        begun = [(made, piece) for made, piece in zip(source.used(kind), pieces, strict=True)]
        begun = [(made, piece) for made, piece in begun if piece[0].size]
        if begun:
            yield Points(
                np.array([piece[0][0] for _, piece in begun]),
                np.array([piece[1][0] for _, piece in begun]),
                f"{kind}, from where it began",
                kind,
                CAPS[kind],
                names=tuple(made.id for made, _ in begun),
                manoeuvres=tuple(made.id for made, _ in begun),
                named=True,
            )


def _piece(source: Source, made: Manoeuvre) -> tuple[Floats, Floats, Floats]:
    ground = source.evidence.ground
    inside = (ground.time_s >= made.start_s) & (ground.time_s <= made.end_s)
    inside &= np.isfinite(ground.east_m) & np.isfinite(ground.north_m)
    return ground.east_m[inside], ground.north_m[inside], ground.time_s[inside]
