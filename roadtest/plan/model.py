"""A plan as plain data: what to drive, and what it will show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from roadtest.build_sheet import BuildSheet
from roadtest.plan.foreseen import Logger
from roadtest.quantity import Quantity
from roadtest.results import Limit
from roadtest.work_checks import HandCheck

StepKind = Literal["gentle", "bedding", "warm", "look", "hold", "coast", "stop", "pull", "standing"]


@dataclass(frozen=True)
class Step:
    """One thing to drive. Speeds in m/s; a stop ends at 0."""

    kind: StepKind
    what: str
    count: int = 1  # runs of it, at each of its speeds
    from_mps: tuple[float, ...] = ()
    to_mps: float | None = None
    gears: tuple[int | None, ...] = ()  # one for each speed, None: not known
    seconds: float | None = None  # how long each is held, or may take
    straight_m: float | None = None  # of the longest of its runs
    note: str = ""


@dataclass(frozen=True)
class Predicted:
    """What the drive will show of one target, before it is driven.

    `expected` is the planned figure with its predicted 95 % interval, None where none is foreseen.
    """

    id: str
    title: str
    expected: Quantity | None
    limit: Limit | None
    runs: str  # what is driven for it: "4 stops"
    proves: str  # what the car must then do; or why this logger can't prove it
    provable: bool


@dataclass(frozen=True)
class Change:
    """A figure before and after a change that is only considered, as text."""

    what: str
    before: str
    after: str


@dataclass(frozen=True)
class EngineSpeeds:
    """Engine speed (r/min) by road speed and gear; None beyond the engine's limit."""

    gears: tuple[int, ...]
    rows: tuple[tuple[float, tuple[float | None, ...]], ...]  # m/s, one a gear
    u95_share: float  # of every figure: the tyre's


@dataclass(frozen=True)
class Plan:
    """The whole drive card."""

    sheet: BuildSheet
    logger: Logger
    steps: tuple[Step, ...]
    predicted: tuple[Predicted, ...]
    engine_speeds: EngineSpeeds | None
    hand_checks: Mapping[str, tuple[HandCheck, ...]] = field(default_factory=dict)  # by when
    changes: tuple[Change, ...] = ()
    changed: tuple[str, ...] = ()  # "axle=3.9", as asked for
    assumed: tuple[str, ...] = ()  # what the plan takes for granted, in words
