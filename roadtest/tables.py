"""Results as flat CSV tables: SI units in the heads, one row a finding, a manoeuvre, a gear ..."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any, Final

from roadtest.quantity import Quantity
from roadtest.results import (
    CruiseRow,
    DecelerationAt,
    Finding,
    FindingItem,
    GearRow,
    Manoeuvre,
    PullRun,
    Reading,
    Results,
    Standing,
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
    DecelerationAt: {"speed": "m/s", "value": "m/s²"},
    PullRun: {"from_": "m/s", "to": "m/s", "time": "s", "peak_power": "W"},
    Standing: {"to": "m/s", "time": "s"},
}
_SAME: Final = {"rpm": "r/min", "m/s^2": "m/s²"}  # other spellings of a unit


def csv_tables(results: Results) -> dict[str, str]:
    """Return the text of each table by file name; a table without rows is its head alone.

    No name begins with tach, notes or channels, so that the tables of a drive, left in its folder,
    are not taken for logs.
    """
    gearing, pulls = results.gearing, results.pulls
    return {
        "findings.csv": _findings(results.findings),
        "manoeuvres.csv": _manoeuvres(results.manoeuvres),
        "speedometer.csv": _figures(Reading, results.speedometer.readings),
        "gears.csv": _figures(GearRow, gearing.gears),
        "steps.csv": _figures(Step, gearing.steps),
        "cruise.csv": _figures(CruiseRow, gearing.cruise),
        "stops.csv": _figures(StopResult, results.braking.stops),
        "coasting.csv": _figures(DecelerationAt, results.coasting.deceleration),
        "pulls.csv": _figures(PullRun, pulls.runs),
        "standing.csv": _figures(Standing, pulls.standing),
    }


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


def _figures(kind: type, rows: Sequence[Any]) -> str:
    """One row a dataclass of `kind`; a quantity takes two columns, its value and its u95."""
    units = _UNITS[kind]
    names = [item.name for item in fields(kind)]
    heads: list[str] = []
    for name in names:
        key = name.rstrip("_")
        if name in units:
            key, unit = key.removesuffix("_s"), _plain_unit(units[name])
            heads += [f"{key} [{unit}]", f"{key}_u95 [{unit}]"]
        else:
            heads.append("seconds [s]" if key == "seconds" else key)
    return _csv(heads, [_cells(row, names, units) for row in rows])


def _cells(row: Any, names: Sequence[str], units: Mapping[str, str]) -> list[Cell]:
    cells: list[Cell] = []
    for name in names:
        value = getattr(row, name)
        if name not in units:
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
