"""Results as flat CSV tables: SI units in the heads, one row a finding, a manoeuvre, a gear ..."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any, Final

from roadtest.quantity import Quantity
from roadtest.results import (
    BeddingRow,
    ChannelPart,
    ChannelResult,
    CoastRun,
    CruiseRow,
    DecelerationAt,
    Finding,
    FindingItem,
    GearRow,
    Manoeuvre,
    PowerPoint,
    PullRun,
    Reading,
    Repeat,
    Results,
    Standing,
    StandingDistance,
    Step,
    StopResult,
)
from roadtest.terminal import clean

Cell = str | float | int | None

_UNITS: Final[dict[type, dict[str, str]]] = {  # of the figures of each kind of row
    Reading: {"indicated": "m/s", "true": "m/s", "error": "m/s"},
    GearRow: {"overall": "1", "ratio": "1"},
    Step: {"step": "1"},
    CruiseRow: {"speed": "m/s", "rpm": "r/min"},
    StopResult: {
        "initial_speed": "m/s",
        "mfdd": "m/s²",
        "mfdd_level": "m/s²",
        "peak": "m/s²",
        "mean": "m/s²",
        "distance": "m",
        "distance_nominal": "m",
        "nominal_speed": "m/s",
        "build_up_s": "s",
        "drift": "m",
        "heading_change": "rad",
        "grade": "1",
        "road_curvature": "1/m",
    },
    BeddingRow: {"from_speed": "m/s", "to_speed": "m/s", "energy": "J"},
    CoastRun: {
        "f0": "N",
        "f1": "N/(m/s)",
        "f2": "N/(m/s)²",
        "rolling_coefficient": "1",
        "drag_area": "m²",
    },
    DecelerationAt: {"speed": "m/s", "value": "m/s²", "force": "N"},
    PullRun: {
        "from_": "m/s",
        "to": "m/s",
        "time": "s",
        "peak_power": "W",
        "peak_power_speed": "m/s",
        "peak_power_rpm": "r/min",
        "power_standard_air": "W",
        "peak_force": "N",
        "peak_acceleration": "m/s²",
        "grade": "1",
    },
    PowerPoint: {"force": "N", "power": "W"},
    Standing: {"to": "m/s", "time": "s", "after_rollout": "s"},
    StandingDistance: {"distance": "m", "time": "s", "speed": "m/s", "after_rollout": "s"},
    Repeat: {"from_": "m/s", "to": "m/s", "best": "s", "mean": "s"},
}
_PLAIN_UNITS: Final = {  # of columns that are numbers, not quantities
    "seconds": "seconds [s]",
    "from_speed_mps": "from [m/s]",
    "to_speed_mps": "to [m/s]",
    "speed_mps": "speed [m/s]",
    "rpm": "rpm [r/min]",
    "start_s": "start [s]",
    "since_last_s": "since_last [s]",
}
_SAME: Final = {"rpm": "r/min", "m/s^2": "m/s²"}  # other spellings of a unit


def csv_tables(results: Results) -> dict[str, str]:
    """Return the text of each table by file name; a table without rows is its head alone.

    No name begins with tach, notes or channels, so that the tables of a drive, left in its folder,
    are not taken for logs.
    """
    gearing, pulls, braking = results.gearing, results.pulls, results.braking
    return {
        "findings.csv": _findings(results.findings),
        "manoeuvres.csv": _manoeuvres(results.manoeuvres),
        "speedometer.csv": _figures(Reading, results.speedometer.readings),
        "gears.csv": _figures(GearRow, gearing.gears),
        "steps.csv": _figures(Step, gearing.steps),
        "cruise.csv": _figures(CruiseRow, gearing.cruise),
        "stops.csv": _figures(StopResult, braking.stops),
        "brakings.csv": _figures(BeddingRow, braking.bedding.rows if braking.bedding else ()),
        "coasting.csv": _figures(DecelerationAt, results.coasting.deceleration),
        "coast_runs.csv": _figures(CoastRun, results.coasting.runs),
        "pulls.csv": _figures(PullRun, pulls.runs),
        "power.csv": _power(pulls.runs),
        "standing.csv": _figures(Standing, pulls.standing),
        "distances.csv": _figures(StandingDistance, pulls.distances),
        "repeats.csv": _figures(Repeat, pulls.repeats),
        "logged.csv": _logged(results.channels),
    }


def _power(runs: Sequence[PullRun]) -> str:
    """One row a point of each pull's curve."""
    points = [(run.manoeuvre, point) for run in runs for point in run.curve]
    return _figures(PowerPoint, [p for _, p in points], ("manoeuvre", [m for m, _ in points]))


def _logged(channels: Sequence[ChannelResult]) -> str:
    """One row a channel over the whole drive, at idle and at speed, in the channel's own unit."""
    heads = ["channel", "unit", "where", "min", "mean", "max", "at_min [s]", "at_max [s]"]
    heads += ["seconds [s]", "limit_low", "limit_high", "below [s]", "above [s]"]
    rows: list[list[Cell]] = []
    for one in channels:
        parts: list[tuple[str, ChannelResult | ChannelPart | None]] = [
            ("drive", one),
            ("at idle", one.at_rest),
            ("at speed", one.at_speed),
        ]
        rows += [
            [
                one.name,
                one.unit,
                where,
                part.min,
                part.mean if isinstance(part, ChannelPart) else None,
                part.max,
                part.at_min_s,
                part.at_max_s,
                part.seconds if isinstance(part, ChannelPart) else None,
                part.limit_low,
                part.limit_high,
                part.seconds_below,
                part.seconds_above,
            ]
            for where, part in parts
            if part is not None
        ]
    return _csv(heads, rows)


def _manoeuvres(manoeuvres: Sequence[Manoeuvre]) -> str:
    heads = ["id", "kind", "start [s]", "end [s]", "gear", "used", "why_not"]
    rows: list[list[Cell]] = [
        [m.id, m.kind, m.start_s, m.end_s, m.gear, "yes" if m.used else "no", m.why_not]
        for m in manoeuvres
    ]
    return _csv(heads, rows)


def _findings(findings: Sequence[Finding]) -> str:
    """One row a finding, and below it one for each of its items."""
    heads = ["id", "manoeuvre", "verdict", "value", "u95", "low", "high", "unit"]
    rows: list[list[Cell]] = []
    for finding in findings:
        parts: list[Finding | FindingItem] = [finding, *finding.items]
        for part in parts:
            measured, limit = part.measured, part.limit
            source = measured or limit
            rows.append(
                [
                    finding.id,
                    getattr(part, "manoeuvre", None),
                    part.verdict,
                    measured.value if measured else None,
                    measured.u95 if measured else None,
                    limit.low if limit else None,
                    limit.high if limit else None,
                    _plain_unit(source.unit) if source else None,
                    part.probability,
                    *(
                        (finding.basis, finding.reason)
                        if isinstance(part, Finding)
                        else (None, None)
                    ),
                ]
            )
    return _csv([*heads, "probability", "basis", "reason"], rows)


def _figures(
    kind: type, rows: Sequence[Any], first: tuple[str, Sequence[str]] | None = None
) -> str:
    """One row a dataclass of `kind`; a quantity takes two columns, its value and its u95.

    `first` puts a column before them: its head, and a cell for each row.
    """
    units = _UNITS[kind]
    names = [item.name for item in fields(kind) if item.name != "curve"]  # a table of its own
    heads: list[str] = [first[0]] if first else []
    for name in names:
        key = name.rstrip("_")
        if name in units:
            key, unit = key.removesuffix("_s"), _plain_unit(units[name])
            heads += [f"{key} [{unit}]", f"{key}_u95 [{unit}]"]
        else:
            heads.append(_PLAIN_UNITS.get(key, key))
    before: Sequence[list[Cell]] = [[cell] for cell in first[1]] if first else [[] for _ in rows]
    return _csv(
        heads,
        [[*start, *_cells(row, names, units)] for start, row in zip(before, rows, strict=True)],
    )


def _cells(row: Any, names: Sequence[str], units: Mapping[str, str]) -> list[Cell]:
    cells: list[Cell] = []
    for name in names:
        value = getattr(row, name)
        if isinstance(value, bool):
            cells.append("yes" if value else "no")
        elif isinstance(value, tuple):
            cells.append(" ".join(value))
        elif name not in units:
            cells.append(value)
        elif value is None:
            cells += [None, None]
        else:
            cells += _in_unit(value, units[name])
    return cells


def _in_unit(figure: Quantity, unit: str) -> list[Cell]:
    """Return value and u95, refusing a unit other than the one the head of the column states."""
    if _SAME.get(figure.unit, figure.unit) != unit:
        raise ValueError(f"a figure in {figure.unit} for a column in {unit}")
    return [float(figure.value), float(figure.u95)]


def _plain_unit(unit: str) -> str:
    """Return a unit in ASCII, for spreadsheets that guess the encoding wrong."""
    return _SAME.get(unit, unit).replace("²", "^2").replace("°", "deg")


def _csv(heads: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows([_harmless(cell) for cell in row] for row in rows)
    return text.getvalue()


def _harmless(cell: Cell) -> Cell:
    """Keep a spreadsheet from taking text out of a user's file for a formula."""
    if isinstance(cell, str):
        tidy = clean(cell)
        return f"'{tidy}" if tidy.startswith(("=", "+", "-", "@")) else tidy
    return cell
