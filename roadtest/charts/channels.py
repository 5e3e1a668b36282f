"""Further logged quantities, each against time with its limits."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from roadtest.charts.model import Axis, Chart, Level, Line, Mark, Panel, Points
from roadtest.charts.source import Source
from roadtest.logs.model import Channel, ChannelsLog
from roadtest.quantity import Floats
from roadtest.results import ChannelResult
from roadtest.wording import clock_text, number_text


def channel_charts(source: Source) -> tuple[Chart, ...]:
    """Return one chart a channel whose place in the drive is known."""
    return tuple(
        Chart(
            id=f"channel-{row.name}",
            title=_title(row),
            says=_says(row),
            x=source.time_axis(),
            panels=(_panel(source, row, channel, time, with_worst=True),),
            findings=source.findings(f"channel.{row.name}"),
            subject="channels",
            height=0.3,
        )
        for row, channel, time in _placed(source)
    )


def channel_panels(source: Source) -> tuple[Panel, ...]:
    """Return one panel a channel, to stand beneath others on the same time axis."""
    return tuple(
        _panel(source, row, channel, time, with_worst=False)
        for row, channel, time in _placed(source)
    )


def _placed(source: Source) -> Iterator[tuple[ChannelResult, Channel, Floats]]:
    """Yield the channels with their results and times since the start of the drive."""
    for log in source.evidence.channels:
        for channel in log.channels:
            row = _row(source, log, channel)
            if row is not None and row.at_max_s is not None and np.isfinite(channel.values).any():
                yield row, channel, _drive_time(log, channel, row.at_max_s)


def _row(source: Source, log: ChannelsLog, channel: Channel) -> ChannelResult | None:
    for row in source.results.channels:
        if row.name == channel.name and row.file in (log.name, None):
            return row
    return None


def _drive_time(log: ChannelsLog, channel: Channel, at_max_s: float) -> Floats:
    """Return the rows' times in the drive: the measure has placed the first largest value there."""
    largest = int(np.nanargmax(channel.values))
    return np.asarray(log.time_s - log.time_s[largest] + at_max_s)


def _panel(
    source: Source, row: ChannelResult, channel: Channel, time_s: Floats, *, with_worst: bool
) -> Panel:
    unit = _unit(row)
    marks: list[Mark] = [*source.spans(named=with_worst)]
    marks.append(Line(time_s, channel.values, "", "series 5"))
    if row.limit_high is not None:
        label = f"at most {number_text(row.limit_high)} {unit}"
        marks.append(Level(row.limit_high, label, allowed="below"))
    if row.limit_low is not None:
        label = f"at least {number_text(row.limit_low)} {unit}"
        marks.append(Level(row.limit_low, label, allowed="above"))
    for part, where in ((row.at_rest, "at idle"), (row.at_speed, "at speed")):
        if part is not None and part.limit_high is not None:
            label = f"at most {number_text(part.limit_high)} {unit} {where}"
            marks.append(Level(part.limit_high, label))
        if part is not None and part.limit_low is not None:
            label = f"at least {number_text(part.limit_low)} {unit} {where}"
            marks.append(Level(part.limit_low, label))
    if with_worst:
        marks += _worst(row)
    return Panel(Axis(_title(row), unit), tuple(marks), share=1.0)


def _worst(row: ChannelResult) -> Iterator[Mark]:
    ends = ((row.at_max_s, row.max, "triangle up"), (row.at_min_s, row.min, "triangle down"))
    for at, value, marker in ends:
        if at is not None and value is not None:
            name = number_text(value)
            x, y = np.array([at]), np.array([value])
            if marker == "triangle up":
                yield Points(x, y, "highest", marker="triangle up", names=(name,), named=True)
            else:
                yield Points(x, y, "lowest", marker="triangle down", names=(name,), named=True)


def _title(row: ChannelResult) -> str:
    words = " ".join(row.name.replace("_", " ").split())
    return words[:1].upper() + words[1:]


def _unit(row: ChannelResult) -> str:
    """Return the unit's symbol; the values stay as logged."""
    return {"degC": "°C", "degF": "°F"}.get(row.unit, row.unit)


def _says(row: ChannelResult) -> str:
    unit, title = _unit(row), _title(row)
    if row.min is None or row.max is None or row.at_max_s is None:
        return f"{title} against time."
    low, high = number_text(row.min), number_text(row.max)
    said = f"{title} ran from {low} to {high} {unit}, highest at {clock_text(row.at_max_s)}"
    for limit, seconds, word in (
        (row.limit_high, row.seconds_above, "above"),
        (row.limit_low, row.seconds_below, "below"),
    ):
        if limit is not None and seconds is not None:
            time = f"for {number_text(seconds, 2)} s" if seconds > 0.0 else "never"
            said += f", {time} {word} its limit of {number_text(limit)} {unit}"
    return f"{said}."
