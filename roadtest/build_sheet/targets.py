"""What a car is to reach: one small value a target, in SI (engine speed in r/min)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from roadtest.units import Dimension


@dataclass(frozen=True)
class NamedRule:
    """A published rule, by its name in `roadtest.rules`: "un-r39"."""

    name: str


@dataclass(frozen=True)
class DialBand:
    """The dial may show up to `under_mps` less and up to `over_mps` more than the true speed."""

    under_mps: float
    over_mps: float


@dataclass(frozen=True)
class CruiseLimit:
    """In top gear at `speed_mps` the engine may turn at `at_most_rpm`."""

    speed_mps: float
    at_most_rpm: float


@dataclass(frozen=True)
class StoppingLimit:
    """From `from_mps` the car must stop within `at_most_m`."""

    from_mps: float
    at_most_m: float


@dataclass(frozen=True)
class Efficiency:
    """The least braking efficiency, a fraction: brake force over weight, deceleration over g."""

    share: float


@dataclass(frozen=True)
class BeddingWanted:
    """So many uses of the brakes, each from `from_mps` or faster down to `to_mps` or slower."""

    count: int
    from_mps: float
    to_mps: float


@dataclass(frozen=True)
class StandingLimit:
    """From rest the car must reach `to_mps` within `at_most_s`."""

    to_mps: float
    at_most_s: float


@dataclass(frozen=True)
class ThroughLimit:
    """In this gear the car must go from `from_mps` to `to_mps` within `at_most_s`."""

    gear: int
    from_mps: float
    to_mps: float
    at_most_s: float


@dataclass(frozen=True)
class ChannelLimit:
    """A logged channel must stay between `at_least` and `at_most` (either may be open).

    With a `dimension` the limits are SI and the channel's own unit must be of that dimension.
    Without one, `unit` is not in our table: limits and channel are compared as they stand, and only
    where the channel's unit is written the same.

    With a limit of its own at idle, an end holds at speed, and that one while the car stands.
    """

    channel: str
    at_least: float | None
    at_most: float | None
    unit: str  # as the sheet writes it
    dimension: Dimension | None
    at_least_idle: float | None = None
    at_most_idle: float | None = None


TargetValue = (
    NamedRule
    | DialBand
    | CruiseLimit
    | StoppingLimit
    | Efficiency
    | BeddingWanted
    | StandingLimit
    | ThroughLimit
    | ChannelLimit
    | float
)
"""A plain float is the limit itself: m/s² for mfdd, m for drift, else a fraction."""


@dataclass(frozen=True)
class Target:
    """One target; `id` is its name in results: "mfdd", "channel.coolant_temperature"."""

    id: str
    value: TargetValue


@dataclass(frozen=True)
class Targets:
    """The targets in the order of the table in the manual; two ids may be there several times.

    "standing" and "through" take a list. Iterating gives each `Target`.
    """

    items: tuple[Target, ...] = ()
    written: tuple[tuple[str, str], ...] = ()  # each id with its value as TOML text

    def __iter__(self) -> Iterator[Target]:
        return iter(self.items)

    def __len__(self) -> int:
        return len(self.items)

    def named(self, target_id: str) -> tuple[Target, ...]:
        """Return the targets with this id, () where the sheet has none."""
        return tuple(target for target in self.items if target.id == target_id)

    def moved(self, others: Targets) -> Targets:
        """Return these targets with `others` in place of those of the same id, or added."""
        fresh = {target.id for target in others}
        order = list(dict.fromkeys([*(t.id for t in self), *(t.id for t in others)]))
        items = [t for name in order for t in (others if name in fresh else self).named(name)]
        return Targets(tuple(items), tuple((dict(self.written) | dict(others.written)).items()))
