"""How good the log was: how well speed is known, and how far apart the fixes are."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from roadtest.charts.model import Axis, Chart, Line, Panel
from roadtest.charts.source import Source, counted, u95
from roadtest.wording import duration_text, number_text


def log_charts(source: Source) -> tuple[Chart, ...]:
    """Return what shows whether the log was good enough."""
    return tuple(_quality(source))


def _quality(source: Source) -> Iterator[Chart]:
    motion = source.evidence.motion
    fixes = source.evidence.gps.time_s - source.evidence.start_unix_s
    fixes = fixes[(fixes >= motion.time_s[0]) & (fixes <= motion.time_s[-1])]
    if fixes.size < 3:
        return
    apart = np.diff(fixes)
    middle = 0.5 * (fixes[1:] + fixes[:-1])
    lost = np.zeros(apart.size, dtype=bool)
    for gap in source.gaps:
        lost |= (middle > gap.start_s) & (middle < gap.end_s)
    half = source.speeds(u95(motion.u_speed_mps))
    time, sure = source.broken(motion.time_s, half)
    yield Chart(
        id="log",
        title="How good the log was",
        says=_says(source, float(np.median(apart))),
        x=source.time_axis(),
        panels=(
            Panel(
                Axis("Half-width of the 95 % interval of speed", source.units, from_zero=True),
                (*source.gap_spans(), *source.spans(), Line(time, sure, "")),
            ),
            Panel(
                Axis("Time from fix to fix", "s", from_zero=True),
                (
                    *source.gap_spans(),
                    *source.spans(named=False),
                    Line(fixes[:-1], np.where(lost, np.nan, apart), "", "series 6", steps=True),
                ),
                share=0.8,
            ),
        ),
        subject="log",
        height=0.42,
    )


def _says(source: Source, apart_s: float) -> str:
    logs = [log for log in source.results.logs if log.speed_source is not None]
    said = f"A fix every {number_text(apart_s, 3)} s"
    noise = next((log.speed_noise for log in logs if log.speed_noise is not None), None)
    if noise is not None:
        said += f", speed noise {source.say(noise)}"
    gaps = source.gaps
    if not gaps:
        return f"{said}, no gap."
    longest = max(gap.end_s - gap.start_s for gap in gaps)
    return f"{said}, {counted(len(gaps), 'gap')}, the longest {duration_text(longest)}."
