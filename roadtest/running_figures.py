"""The figures of coasting, pulls and channels, put down."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from roadtest.figure_lines import Sheet, is_measured, pair, put_line, put_table, put_text
from roadtest.quantity import Quantity
from roadtest.results import (
    ChannelPart,
    ChannelResult,
    CoastingResult,
    CoastRun,
    PullRun,
    PullsResult,
    ReadIn,
    Repeat,
)
from roadtest.units import MILE_M
from roadtest.wording import (
    clock_text,
    duration_text,
    in_read_unit,
    number_text,
    plural,
    quantity_text,
)

_QUARTER_MILE_M: Final = MILE_M / 4.0
_ROLL_OUT: Final = (
    "Times from rest run from first motion. After 1 ft: the clock starts one foot (0.30 m) further "
    "on, as at a start line with a light beam."
)


def put_coasting(page: Sheet, coasting: CoastingResult, units: ReadIn) -> None:
    """Put down road load, its coefficients, and deceleration and drag at speeds."""
    if not is_measured(coasting):
        return
    page.heading("Coasting")
    put_line(page, "rolling coefficient", coasting.rolling_coefficient, units)
    put_line(page, "drag area", coasting.drag_area, units)
    if any(run.f0 for run in coasting.runs):
        page.gap()
        page.paragraph(
            "Each run by itself, on the level in still air: force f0 + f1·v + f2·v² in N, v in m/s."
        )
        _put_runs(page, coasting.runs, units)
    else:
        put_text(page, "runs", ", ".join(run.manoeuvre for run in coasting.runs))
    if coasting.deceleration:
        page.gap()
        forces = any(at.force for at in coasting.deceleration)
        rows = [
            [pair(at.speed, units), pair(at.value, units), *([pair(at.force, units)] * forces)]
            for at in coasting.deceleration
        ]
        heads = [f"at, {units}", "deceleration, m/s²", *(["drag, N"] * forces)]
        put_table(page, heads, rows, texts=0)


def _put_runs(page: Sheet, runs: Sequence[CoastRun], units: ReadIn) -> None:
    linear = any(run.f1 for run in runs)
    rows = [
        [
            run.manoeuvre,
            _speeds(run, units),
            pair(run.f0, units),
            *([pair(run.f1, units)] * linear),
            pair(run.f2, units),
            run.paired_with or "none",
        ]
        for run in runs
    ]
    put_table(page, ["run", units, "f0", *(["f1"] * linear), "f2", "other way"], rows)


def _speeds(run: CoastRun, units: ReadIn) -> str:
    ends = [
        number_text(in_read_unit(Quantity(v, 0.0, "m/s"), units).value, 2)
        for v in (run.from_speed_mps, run.to_speed_mps)
        if v is not None
    ]
    return " to ".join(ends)


def put_pulls(page: Sheet, pulls: PullsResult, mass: Quantity | None, units: ReadIn) -> None:
    """Put down times in gear and from rest, repeats, and what each pull gave.

    Power and force go with the sheet's mass, so that it stands beside them: a slip in it shows.
    """
    if not is_measured(pulls):
        return
    page.heading("Pulls")
    timed, left = _worth_a_line([run for run in pulls.runs if run.time])
    if timed:
        rows = [
            [
                run.manoeuvre,
                "" if run.gear is None else str(run.gear),
                pair(run.from_, units),
                pair(run.to, units),
                pair(run.time, units),
                "shown" if run.flat_out else "not shown",
            ]
            for run in timed
        ]
        put_table(
            page, ["pull", "gear", f"from, {units}", f"to, {units}", "time, s", "flat out"], rows
        )
    if left:
        are = "is" if left == 1 else "are"
        said = f"{plural(left, 'part')} of pulls not shown flat out {are} not listed here."
        page.paragraph(said)
    strong = [run for run in pulls.runs if run.peak_acceleration or run.peak_power]
    if strong:
        full = {run.manoeuvre for run in pulls.runs if run.flat_out}
        shown = [run for run in strong if run.manoeuvre in full] or strong
        which = "each pull shown flat out" if full else "each pull"
        page.gap()
        of = "" if mass is None else f", of a car of {quantity_text(mass, units)}"
        page.paragraph(f"The most that {which} gave; power and force at the wheels{of}.")
        _put_strengths(page, shown, units)
    _put_from_rest(page, pulls, units)
    if pulls.repeats:
        page.gap()
        rows = [_repeat(again, units) for again in pulls.repeats]
        put_table(page, ["again", units, "best, s", "mean, s", "runs"], rows, texts=2)


def _worth_a_line(runs: list[PullRun]) -> tuple[list[PullRun], int]:
    """Return the runs to list, and how many are not: parts of a pull that was not flat out.

    Of such a pull its first run is listed, which is the whole of it where there is one.
    """
    begun: set[str] = set()
    listed = []
    for run in runs:
        if run.flat_out or run.manoeuvre not in begun:
            listed.append(run)
        begun.add(run.manoeuvre)
    return listed, len(runs) - len(listed)


def _put_strengths(page: Sheet, runs: Sequence[PullRun], units: ReadIn) -> None:
    power = in_read_unit(Quantity(0.0, 0.0, "W"), units).unit
    corrected = any(run.power_standard_air for run in runs)
    rows = [
        [
            run.manoeuvre,
            pair(run.peak_acceleration, units),
            pair(run.peak_power, units),
            *([pair(run.power_standard_air, units)] * corrected),
            pair(run.peak_power_speed, units),
            pair(run.peak_force, units),
        ]
        for run in runs
    ]
    standard = [f"{power} ISO 1585"] * corrected
    put_table(page, ["pull", "m/s²", power, *standard, f"at, {units}", "force, N"], rows)


def _put_from_rest(page: Sheet, pulls: PullsResult, units: ReadIn) -> None:
    if pulls.standing:
        page.gap()
        page.paragraph(_ROLL_OUT)
        rows = [
            [
                run.manoeuvre or "standing start",
                pair(run.to, units),
                pair(run.time, units),
                pair(run.after_rollout, units),
                "shown" if run.flat_out else "not shown",
            ]
            for run in pulls.standing
        ]
        put_table(page, ["from rest", f"to, {units}", "time, s", "after 1 ft, s", "flat out"], rows)
    if pulls.distances:
        page.gap()
        rows = [
            [
                row.manoeuvre or "standing start",
                _distance(row.distance),
                pair(row.time, units),
                pair(row.after_rollout, units),
                pair(row.speed, units),
            ]
            for row in pulls.distances
        ]
        heads = ["from rest", "over", "time, s", "after 1 ft, s", f"speed then, {units}"]
        put_table(page, heads, rows, texts=2)


def _distance(distance: Quantity | None) -> str:
    if distance is None:
        return ""
    if abs(distance.value - _QUARTER_MILE_M) < 0.01:
        return "quarter mile"
    return f"{number_text(distance.value)} m"


def _repeat(again: Repeat, units: ReadIn) -> list[str]:
    start = "0" if again.from_ is None else pair(again.from_, units)
    return [
        "from rest" if again.from_ is None else f"gear {again.gear}",
        f"{start} to {pair(again.to, units)}",
        pair(again.best, units),
        pair(again.mean, units),
        str(len(again.manoeuvres)),
    ]


def put_channels(page: Sheet, channels: Sequence[ChannelResult], units: ReadIn) -> None:
    """Put down each channel's range, its time beyond limits, and its values by condition."""
    if not channels:
        return
    page.heading("Channels")
    rows = [
        [
            channel.name,
            in_read_unit(Quantity(0.0, 0.0, channel.unit), units).unit,
            _number(channel.min, channel, units),
            _clock(channel.at_min_s),
            _number(channel.max, channel, units),
            _clock(channel.at_max_s),
            _beyond(channel),
        ]
        for channel in channels
    ]
    put_table(
        page, ["channel", "unit", "lowest", "at", "highest", "at", "past limit"], rows, texts=2
    )
    split = [row for channel in channels for row in _parts(channel, units)]
    if split:
        page.gap()
        fast = "30 mph" if units == "mph" else "48 km/h"
        page.paragraph(f"Standing at idle, and at speed (above {fast}).")
        heads = ["channel", "where", "lowest", "mean", "highest", "for", "past limit"]
        put_table(page, heads, split, texts=2)


def _parts(channel: ChannelResult, units: ReadIn) -> Iterator[list[str]]:
    for where, part in (("at idle", channel.at_rest), ("at speed", channel.at_speed)):
        if part is not None:
            yield [
                channel.name,
                where,
                _number(part.min, channel, units),
                _number(part.mean, channel, units),
                _number(part.max, channel, units),
                "" if part.seconds is None else duration_text(part.seconds),
                _beyond(part),
            ]


def _beyond(row: ChannelResult | ChannelPart) -> str:
    """Say for how long a limit was passed; "" where there is none."""
    seconds = [s for s in (row.seconds_above, row.seconds_below) if s is not None]
    if not seconds:
        return ""
    return duration_text(sum(seconds)) if sum(seconds) > 0.0 else "never"


def _number(value: float | None, channel: ChannelResult, units: ReadIn) -> str:
    if value is None:
        return ""
    return number_text(in_read_unit(Quantity(value, 0.0, channel.unit), units).value)


def _clock(at_s: float | None) -> str:
    return "" if at_s is None else clock_text(at_s)
