"""The table of targets as it stands in the file, and the targets it becomes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated, Final, Self

from pydantic import (
    Field,
    PlainValidator,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from roadtest.build_sheet import fields
from roadtest.build_sheet.fields import OneOrMore, SheetValueError, Span, describe, nearest
from roadtest.build_sheet.table import NestedFaultsError, Table
from roadtest.build_sheet.targets import (
    BeddingWanted,
    ChannelLimit,
    CruiseLimit,
    DialBand,
    Efficiency,
    NamedRule,
    StandingLimit,
    StoppingLimit,
    Target,
    Targets,
    TargetValue,
    ThroughLimit,
)
from roadtest.rules import BRAKING_RULES, SPEEDOMETER_RULES, braking_rule
from roadtest.units import (
    Dimension,
    UnknownUnitError,
    find_unit,
    parse_any_quantity,
    quoted,
    split_quantity,
    wanted,
)

_STOPPING_RULES: Final = tuple(name for name in BRAKING_RULES if braking_rule(name).distance)
_FADE_RULES: Final = tuple(name for name in BRAKING_RULES if braking_rule(name).hot)

_Error = Annotated[
    float,
    PlainValidator(fields.figure("speed", Span(0, 50, "mph", "3 mph"))),
    Field(description=wanted("speed", "3 mph")),
]
_Share = Annotated[float, PlainValidator(fields.figure("fraction", Span(0.01, 100, "%")))]
_Drift = Annotated[float, PlainValidator(fields.figure("length", Span(0.01, 20, "m", "1.0 m")))]
_Level = tuple[float, str, Dimension | None]  # SI and its dimension, or as it stands and None


def _rolling_coefficient(value: object) -> float:
    """A coefficient has no unit: 0.020, "0.020" and "2 %" are all plain enough."""
    span = Span(0.001, 0.2)
    if isinstance(value, str):
        try:
            value = float(value) if value.isascii() else value
        except ValueError:
            return fields.figure("fraction", Span(0.1, 20, "%"))(value)
    return fields.number('a rolling coefficient such as "0.020"', span)(value)


def _level(value: object) -> _Level:
    """Return a channel's limit: value, unit as written, and the dimension where we know it."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return fields.number("a limit", Span(-1e12, 1e12))(value), "", None
    if not isinstance(value, str):
        raise SheetValueError(describe(value), 'a limit in the channel\'s unit, such as "105 degC"')
    number, unit_name = split_quantity(value)
    if not unit_name:
        raise SheetValueError(f"{quoted(value)} has no unit", 'a number with a unit, "105 degC"')
    if "±" in value:
        raise SheetValueError(f'{quoted(value)} has a "±"', "a limit without")
    try:
        find_unit(unit_name)
    except UnknownUnitError:
        return number, unit_name, None  # a channel may have a unit that only its logger knows
    given, unit = parse_any_quantity(value)
    return given.value, unit_name, unit.dimension


def _channel_name(value: object) -> str:
    if isinstance(value, str) and 0 < len(value) <= 60 and value.isprintable():
        return value
    raise SheetValueError(
        describe(value), "the name of a channel, as in channel.coolant_temperature"
    )


class DialBandTable(Table):
    """How far the dial may be off."""

    under: _Error
    over: _Error

    def plain(self) -> DialBand:
        """Return the band in m/s."""
        return DialBand(self.under, self.over)


class CruiseTable(Table):
    """Engine speed at a road speed."""

    speed: fields.Speed
    at_most: fields.Rpm


class StoppingTable(Table):
    """Distance from a speed."""

    from_: fields.Speed = Field(alias="from")
    at_most: fields.Metres

    def plain(self) -> StoppingLimit:
        """Return the limit in SI."""
        return StoppingLimit(self.from_, self.at_most)


class BeddingTable(Table):
    """Uses of the brakes that bed them in."""

    stops: Annotated[
        int,
        PlainValidator(fields.whole("a number of stops", Span(1, 500))),
        Field(description="how many stops or snubs, a whole number such as 10"),
    ]
    from_: fields.Speed = Field(alias="from")
    to: fields.Speed | None = None

    @field_validator("to")
    @classmethod
    def _falling(cls, to: float | None, info: ValidationInfo) -> float | None:
        if to is not None and to >= info.data.get("from_", float("inf")):
            raise SheetValueError("a speed not below from", '"to" slower than "from"')
        return to

    def plain(self) -> BeddingWanted:
        """Return what is wanted in SI; without `to` the car is braked to rest."""
        return BeddingWanted(self.stops, self.from_, self.to or 0.0)


class StandingTable(Table):
    """Time from rest."""

    to: fields.Speed
    at_most: fields.Seconds


class ThroughTable(Table):
    """Time between speeds in a gear."""

    gear: fields.Gear
    from_: fields.Speed = Field(alias="from")
    to: fields.Speed
    at_most: fields.Seconds

    @field_validator("to")
    @classmethod
    def _rising(cls, to: float, info: ValidationInfo) -> float:
        if to <= info.data.get("from_", 0.0):
            raise SheetValueError("a speed not above from", '"to" faster than "from"')
        return to


class ChannelTable(Table):
    """Limits of a channel."""

    at_least: Annotated[_Level, PlainValidator(_level)] | None = None
    at_most: Annotated[_Level, PlainValidator(_level)] | None = None
    at_least_idle: Annotated[_Level, PlainValidator(_level)] | None = None
    at_most_idle: Annotated[_Level, PlainValidator(_level)] | None = None

    @field_validator("at_most", "at_least_idle", "at_most_idle")
    @classmethod
    def _same_kind(cls, level: _Level | None, info: ValidationInfo) -> _Level | None:
        if level is None:
            return None
        for name, other in info.data.items():
            if other is None:
                continue
            if other[2] != level[2] or (level[2] is None and other[1] != level[1]):
                found = f"{name} in {quoted(other[1])}, {info.field_name} in {quoted(level[1])}"
                raise SheetValueError(found, "one unit")
        name = str(info.field_name)
        below = name.replace("most", "least")
        low = info.data.get(below) if below != name else None
        if low is not None and low[0] > level[0]:
            raise SheetValueError(f"{name} below {below}", f"{below} below {name}")
        return level

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not any(self._levels()):
            raise SheetValueError(
                "neither at_least nor at_most", 'at_most = "105 degC", or at_least'
            )
        return self

    def _levels(self) -> tuple[_Level | None, ...]:
        return self.at_least, self.at_most, self.at_least_idle, self.at_most_idle

    def plain(self, channel: str) -> ChannelLimit:
        """Return the limits of the named channel."""
        levels = self._levels()
        _, unit, dimension = next(level for level in levels if level is not None)
        low, high, *idle = (None if level is None else level[0] for level in levels)
        return ChannelLimit(channel, low, high, unit, dimension, *idle)


def _rule_name(value: str, names: tuple[str, ...], otherwise: str) -> NamedRule:
    if value in names:
        return NamedRule(value)
    known = ", ".join(f'"{name}"' for name in names)
    found = f"unknown rule {quoted(value)}{nearest(value, names)}"
    raise SheetValueError(found, f"one of {known}, or {otherwise}")


def _rule_or_table(
    names: tuple[str, ...], table: type[DialBandTable] | type[StoppingTable], otherwise: str
) -> Callable[[object], NamedRule | DialBand | StoppingLimit]:
    def read(value: object) -> NamedRule | DialBand | StoppingLimit:
        if isinstance(value, str):
            return _rule_name(value, names, otherwise)
        if not isinstance(value, dict):
            raise SheetValueError(describe(value), f"the name of a rule, or {otherwise}")
        try:
            return table.model_validate(value).plain()
        except ValidationError as error:
            raise NestedFaultsError(table, error) from None

    return read


def _mfdd(value: object) -> NamedRule | Efficiency | float:
    otherwise = f'{wanted("acceleration")}, or an efficiency such as "58 %"'
    if not isinstance(value, str):
        raise SheetValueError(describe(value), f"{otherwise}, in quotes, or the name of a rule")
    if value[:1].isalpha():
        return _rule_name(value, BRAKING_RULES, otherwise)
    if value.rstrip().endswith("%"):
        return Efficiency(fields.figure("fraction", Span(1, 200, "%"))(value))
    return fields.figure("acceleration", Span(0.01, 2, "g"))(value)


def _fade(value: object) -> NamedRule | float:
    if isinstance(value, str) and value[:1].isalpha():
        return _rule_name(value, _FADE_RULES, wanted("fraction", "75 %"))
    return fields.figure("fraction", Span(1, 200, "%"))(value)


_DialTarget = Annotated[
    NamedRule | DialBand | StoppingLimit,
    PlainValidator(
        _rule_or_table(SPEEDOMETER_RULES, DialBandTable, '{under = "0 mph", over = "3 mph"}')
    ),
]
_StoppingTarget = Annotated[
    NamedRule | DialBand | StoppingLimit,
    PlainValidator(
        _rule_or_table(_STOPPING_RULES, StoppingTable, '{from = "60 mph", at_most = "51 m"}')
    ),
]


class TargetsTable(Table):
    """The table [targets]."""

    speedometer: _DialTarget | None = None
    odometer: _Share | None = None
    gearbox: _Share | None = None
    axle: _Share | None = None
    tach: _Share | None = None
    clutch_slip: _Share | None = None
    cruise_rpm: CruiseTable | None = None
    mfdd: Annotated[NamedRule | Efficiency | float, PlainValidator(_mfdd)] | None = None
    stopping_distance: _StoppingTarget | None = None
    fade: Annotated[NamedRule | float, PlainValidator(_fade)] | None = None
    drift: _Drift | None = None
    spread: _Share | None = None
    bedding: BeddingTable | None = None
    rolling_coefficient: Annotated[float, PlainValidator(_rolling_coefficient)] | None = None
    standing: Annotated[list[StandingTable], OneOrMore] = Field(
        default_factory=list, description='{to = "60 mph", at_most = "12 s"}, or a list'
    )
    through: Annotated[list[ThroughTable], OneOrMore] = Field(
        default_factory=list,
        description='{gear = 4, from = "40 mph", to = "60 mph", at_most = "9 s"}, or a list',
    )
    channel: dict[Annotated[str, PlainValidator(_channel_name)], ChannelTable] = Field(
        default_factory=dict
    )

    @model_validator(mode="before")
    @classmethod
    def _gather_channels(cls, table: object) -> object:
        """Take "channel.x" written as one quoted key for channel.x."""
        if not isinstance(table, dict):
            return table
        quoted_keys = [key for key in table if key.startswith("channel.")]
        channels = table.get("channel", {})
        if not quoted_keys or not isinstance(channels, dict):
            return table
        gathered = dict(channels)
        for key in quoted_keys:
            name = key.removeprefix("channel.")
            if name in gathered:
                raise SheetValueError("the channel is given twice", "one table a channel", (key,))
            gathered[name] = table[key]
        rest = {key: value for key, value in table.items() if key not in quoted_keys}
        return {**rest, "channel": gathered}

    def plain(self) -> Targets:
        """Return the targets in the order of this table."""
        return Targets(tuple(Target(name, value) for name, value in self._values()))

    def _values(self) -> Iterator[tuple[str, TargetValue]]:
        for name in type(self).model_fields:
            value = getattr(self, name)
            if value is None:
                continue
            if name == "cruise_rpm":
                yield name, CruiseLimit(value.speed, value.at_most)
            elif name == "bedding":
                yield name, value.plain()
            elif name == "standing":
                yield from ((name, StandingLimit(t.to, t.at_most)) for t in self.standing)
            elif name == "through":
                for t in self.through:
                    yield name, ThroughLimit(t.gear, t.from_, t.to, t.at_most)
            elif name == "channel":
                for channel, table in self.channel.items():
                    yield f"channel.{channel}", table.plain(channel)
            else:
                yield name, value
