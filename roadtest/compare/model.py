"""What a comparison gives. SI units, as in the results it is made from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from roadtest.quantity import Quantity
from roadtest.results import CarInfo, ReadIn, Software

FORMAT: Final = "roadtest comparison 1"

Change = Literal["changed", "runs differ", "no change shown", "no interval"]
"""`changed`: the 95 % interval of the difference excludes 0. `runs differ`: it does, but with one
run on each drive nothing is known of how much such runs vary by themselves. `no interval`: a
channel is taken at its sender's word."""


@dataclass(frozen=True)
class Difference:
    """A later drive's figure less the first drive's."""

    value: Quantity
    change: Change


@dataclass(frozen=True)
class Row:
    """One figure on every drive; None where a drive doesn't have it.

    `differences` has one for each drive after the first.
    """

    section: str
    name: str
    figures: tuple[Quantity | None, ...]
    differences: tuple[Difference | None, ...]


@dataclass(frozen=True)
class ComparedDrive:
    """Which drive a figure belongs to, and what of it a person left out, with the reason."""

    name: str
    start_utc: str | None = None
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Comparison:
    """Two or more drives of one car; the first is the one that the others are compared with."""

    format: Literal["roadtest comparison 1"] = FORMAT
    software: Software = field(default_factory=Software)
    units: ReadIn = "mph"
    car: CarInfo = field(default_factory=CarInfo)
    drives: tuple[ComparedDrive, ...] = ()
    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()
