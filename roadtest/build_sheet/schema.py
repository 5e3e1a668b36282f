"""The tables of a build sheet as they stand in the file, and the plain values they become."""

from __future__ import annotations

import math
from typing import Annotated, Final, Self

from pydantic import Field, PlainValidator, ValidationInfo, field_validator, model_validator

from roadtest.build_sheet import fields, model
from roadtest.build_sheet.fields import OneOrMore, SheetValueError, Text, choice, nearest
from roadtest.build_sheet.model import NO_LABEL, NO_NAME, Drive, ReadIn
from roadtest.build_sheet.table import Table
from roadtest.build_sheet.target_schema import TargetsTable
from roadtest.units import MILE_M, quoted

KNOWN_WORK: Final = (
    "gearbox",
    "clutch",
    "axle",
    "wheels and tyres",
    "spline hubs",
    "front brakes",
    "rear brakes",
    "suspension location",
    "forced induction",
    "cooling",
    "ignition",
    "speedometer",
    "tach",
    "charging",
    "exhaust",
)

_KM_PER_MILE: Final = MILE_M / 1000
_AGREE: Final = 0.005
"""A ratio printed to two decimals agrees with its teeth this well, relative."""

_Units = Annotated[ReadIn, PlainValidator(choice("mph", "km/h"))]
_DriveKind = Annotated[Drive, PlainValidator(choice("cable", "electronic", "gps"))]


class CarTable(Table):
    """[car]"""

    label: Text = NO_NAME
    chassis: Text | None = None
    first_used: fields.Day | None = None
    odometer: fields.Odometer | None = None
    mass: fields.Mass | None = None
    rotating_mass: fields.RotatingMass | None = None
    top_speed: fields.MeasuredSpeed | None = None


class WorkTable(Table):
    """[work]"""

    done: list[Text] = Field(default_factory=list)

    def plain(self) -> model.Work:
        """Return the work done, each kind once, the unknown kinds apart."""
        done = tuple(dict.fromkeys(name.casefold() for name in self.done))
        return model.Work(
            tuple(name for name in done if name in KNOWN_WORK),
            tuple(name for name in done if name not in KNOWN_WORK),
        )


class TyresTable(Table):
    """[tyres]"""

    label: Text | None = None
    size: fields.Size | None = None
    rolling_circumference: fields.RollOut | None = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.size is None and self.rolling_circumference is None:
            expected = 'size = "165/80R13", or rolling_circumference = "1.742 m"'
            raise SheetValueError("neither size nor rolling_circumference", expected)
        return self

    def plain(self, label: str) -> model.Tyres:
        """Return the tyres, called `label` where the table does not say."""
        return model.Tyres(self.label or label, self.size, self.rolling_circumference)


class GearboxTable(Table):
    """[gearbox]"""

    label: Text | None = None
    ratios: fields.Ratios
    reverse: fields.Ratio | None = None

    def plain(self, label: str) -> model.Gearbox:
        """Return the gearbox, called `label` where the table does not say."""
        return model.Gearbox(tuple(self.ratios), self.label or label, self.reverse)


class AxleTable(Table):
    """[axle]"""

    label: Text | None = None
    ratio: fields.AxleRatio | None = None
    teeth: list[fields.Teeth] | None = None

    @field_validator("teeth")
    @classmethod
    def _pinion_first(cls, teeth: list[int] | None, info: ValidationInfo) -> list[int] | None:
        if teeth is None:
            return None
        if len(teeth) != 2 or teeth[0] >= teeth[1]:
            raise SheetValueError(
                f"{teeth}", "pinion and crown wheel in this order, such as [9, 38]"
            )
        ratio, counted = info.data.get("ratio"), teeth[1] / teeth[0]
        if ratio is not None and abs(ratio / counted - 1) > _AGREE:
            raise SheetValueError(f"{teeth}, which is {counted:.3f}", f"the ratio given, {ratio:g}")
        return teeth

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.ratio is None and self.teeth is None:
            raise SheetValueError("neither ratio nor teeth", "ratio = 4.22, or teeth = [9, 38]")
        return self

    def plain(self, label: str) -> model.Axle:
        """Return the axle, called `label` where the table does not say; teeth win, being exact."""
        label = self.label or label
        if self.teeth is not None:
            pinion, crown = self.teeth
            return model.Axle(crown / pinion, label, (pinion, crown))
        return model.Axle(self.ratio or 0.0, label)


class AlternativesTable(Table):
    """[alternatives]"""

    gearbox: Annotated[list[GearboxTable], OneOrMore] = Field(
        default_factory=list, description="tables under [[alternatives.gearbox]]"
    )
    axle: Annotated[list[AxleTable], OneOrMore] = Field(
        default_factory=list, description="tables under [[alternatives.axle]]"
    )
    tyres: Annotated[list[TyresTable], OneOrMore] = Field(
        default_factory=list, description="tables under [[alternatives.tyres]]"
    )

    def plain(self) -> model.Alternatives:
        """Return the alternatives; one without a label goes by its number."""
        return model.Alternatives(
            tuple(t.plain(f"alternative {n}") for n, t in enumerate(self.gearbox, 1)),
            tuple(t.plain(f"alternative {n}") for n, t in enumerate(self.axle, 1)),
            tuple(t.plain(f"alternative {n}") for n, t in enumerate(self.tyres, 1)),
        )


class EngineTable(Table):
    """[engine]"""

    cylinders: fields.Cylinders | None = None
    strokes: fields.Strokes = 4
    idle_rpm: fields.IdleRpm | None = None
    limit_rpm: fields.Rpm | None = None
    boosted: fields.Yes | None = None

    @field_validator("limit_rpm")
    @classmethod
    def _above_idle(cls, limit: float | None, info: ValidationInfo) -> float | None:
        idle = info.data.get("idle_rpm")
        if limit is not None and idle is not None and limit <= idle:
            raise SheetValueError(f"the number {limit:g}", f"more than idle_rpm, {idle:g}")
        return limit


class SpeedometerTable(Table):
    """[speedometer]"""

    units: _Units | None = None
    graduation: fields.DialStep | None = None
    drive: _DriveKind | None = None
    turns_per_mile: fields.Turns | None = None
    turns_per_km: fields.Turns | None = None
    pulses_per_km: fields.Pulses | None = None
    pulses_per_mile: fields.Pulses | None = None
    driven_teeth: fields.Teeth | None = None
    drive_teeth: fields.Teeth | None = None
    available_driven_teeth: list[fields.Teeth] = Field(default_factory=list)
    available_drive_teeth: list[fields.Teeth] = Field(default_factory=list)
    ratio_adapter: fields.Adapter | None = None
    available_ratio_adapters: list[fields.Adapter] = Field(default_factory=list)
    needle_reset: fields.Yes | None = None

    @field_validator("turns_per_km", "pulses_per_mile")
    @classmethod
    def _once(cls, value: float | None, info: ValidationInfo) -> float | None:
        other = {"turns_per_km": "turns_per_mile", "pulses_per_mile": "pulses_per_km"}
        first = other[info.field_name or ""]
        if value is not None and info.data.get(first) is not None:
            raise SheetValueError(f"the number {value:g}, beside {first}", "only one of the two")
        return value

    def plain(self, units: ReadIn) -> model.Speedometer:
        """Return the speedometer; `units` are the sheet's, for a dial that does not say."""
        turns, pulses = self.turns_per_mile, self.pulses_per_km
        if self.turns_per_km is not None:
            turns = self.turns_per_km * _KM_PER_MILE
        if self.pulses_per_mile is not None:
            pulses = self.pulses_per_mile / _KM_PER_MILE
        return model.Speedometer(
            units=self.units or units,
            graduation_mps=self.graduation,
            drive=self.drive,
            turns_per_mile=turns,
            pulses_per_km=pulses,
            driven_teeth=self.driven_teeth,
            drive_teeth=self.drive_teeth,
            available_driven_teeth=tuple(self.available_driven_teeth),
            available_drive_teeth=tuple(self.available_drive_teeth),
            ratio_adapter=self.ratio_adapter,
            available_ratio_adapters=tuple(self.available_ratio_adapters),
            needle_reset=self.needle_reset,
        )


class IndicatedTable(Table):
    """[indicated]"""

    speeds: list[fields.MeasuredSpeed] = Field(default_factory=list)


class TachTable(Table):
    """[tach]"""

    pulses_per_rev: fields.PulsesPerRev | None = None
    graduation: fields.RpmStep | None = None
    cylinders_setting: fields.Cylinders | None = None


class ConditionsTable(Table):
    """[conditions]"""

    temperature: fields.Temperature | None = None
    pressure: fields.Pressure | None = None
    wind: Text | None = None


class ShopTable(Table):
    """[shop]"""

    name: Text | None = None
    logo: Text | None = None
    signature: Text | None = None


class SheetTable(Table):
    """The whole file."""

    units: _Units = "mph"
    utc_offset: fields.UtcOffset = 0.0
    car: CarTable = Field(default_factory=CarTable)
    work: WorkTable = Field(default_factory=WorkTable)
    tyres: TyresTable | None = None
    gearbox: GearboxTable | None = None
    axle: AxleTable | None = None
    alternatives: AlternativesTable = Field(default_factory=AlternativesTable)
    engine: EngineTable = Field(default_factory=EngineTable)
    speedometer: SpeedometerTable = Field(default_factory=SpeedometerTable)
    indicated: IndicatedTable = Field(default_factory=IndicatedTable)
    tach: TachTable = Field(default_factory=TachTable)
    conditions: ConditionsTable = Field(default_factory=ConditionsTable)
    shop: ShopTable = Field(default_factory=ShopTable)
    targets: TargetsTable = Field(default_factory=TargetsTable)

    def plain(self, name: str) -> model.BuildSheet:
        """Return the build sheet read from the file called `name`."""
        work = self.work.plain()
        tyres = self.tyres.plain(NO_LABEL) if self.tyres else None
        return model.BuildSheet(
            name=name,
            units=self.units,
            utc_offset_s=self.utc_offset,
            car=model.Car(**dict(self.car)),
            work=work,
            tyres=tyres,
            gearbox=self.gearbox.plain(NO_LABEL) if self.gearbox else None,
            axle=self.axle.plain(NO_LABEL) if self.axle else None,
            alternatives=self.alternatives.plain(),
            engine=model.Engine(**dict(self.engine)),
            speedometer=self.speedometer.plain(self.units),
            indicated_speeds=tuple(self.indicated.speeds),
            tach=model.Tach(
                self.tach.pulses_per_rev, self.tach.graduation, self.tach.cylinders_setting
            ),
            conditions=model.Conditions(**dict(self.conditions)),
            shop=model.Shop(**dict(self.shop)),
            targets=self.targets.plain(),
            remarks=(*_work_remarks(work), *_tyre_remarks(tyres), *_unit_remarks(self.targets)),
        )


def _work_remarks(work: model.Work) -> list[str]:
    return [
        f"work.done: {quoted(name)} is not a kind of work with checks of its own"
        + nearest(name, KNOWN_WORK)
        for name in work.unknown_work
    ]


def _tyre_remarks(tyres: model.Tyres | None) -> list[str]:
    """Say where the roll-out is not what a tyre of this size could give."""
    if tyres is None or tyres.tyre is None or tyres.rolling_circumference is None:
        return []
    measured, by_size = tyres.circumference, tyres.tyre.circumference_m
    if measured is None or by_size.u95 is None or measured.u95 is None:
        return []
    if abs(measured.value - by_size.value) <= math.hypot(by_size.u95, measured.u95):
        return []
    return [
        f"tyres: the measured rolling circumference, {measured.value:.3f} m, is not what "
        f"{tyres.tyre.size} should give, {by_size.value:.3f} m ± {by_size.u95:.3f} m; "
        "the measured one is used"
    ]


def _unit_remarks(targets: TargetsTable) -> list[str]:
    limits = [table.plain(name) for name, table in targets.channel.items()]
    return [
        f"targets.channel.{limit.channel}: unit {quoted(limit.unit)} is not in the table of units; "
        "it must be written the same in the log"
        for limit in limits
        if limit.dimension is None and limit.unit
    ]
