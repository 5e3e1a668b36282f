"""What a build sheet says, as plain frozen values in SI (engine speed in r/min).

Everything is optional: a bare drive can be checked too. What was not given is None or empty.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Final, Literal

from roadtest.build_sheet.targets import Targets
from roadtest.tyres import Tyre
from roadtest.units import Given

ReadIn = Literal["mph", "km/h"]
Drive = Literal["cable", "electronic", "gps"]

NO_LABEL: Final = "build sheet"
"""What parts are called that the sheet gives no label: those on the build sheet."""

UNLISTED: Final = "none of those named"
"""What a part is called that is neither the sheet's own nor one of its alternatives."""

NO_NAME: Final = "unnamed car"

U95_ROLL_OUT: Final = 0.005
"""Of a roll-out whose uncertainty was not given, relative. Our choice: reading the tape is good to
0.1 or 0.2 %, the rest is load, pressure and warmth of the tyre on the road."""


def named_part(label: str, part: str) -> str:
    """Return how to speak of a gearbox, axle ... by its label: 'the "five-speed" gearbox'."""
    if label == NO_LABEL:
        return f"the {part} on the build sheet"
    if label == UNLISTED:
        return f"another {part} than any that is named"
    return f'the "{label}" {part}'


@dataclass(frozen=True)
class Car:
    """The car itself."""

    label: str = NO_NAME
    chassis: str | None = None
    first_used: date | None = None  # some rules ask more of newer cars
    odometer: Given | None = None  # m, at the start
    mass: Given | None = None  # kg, as driven
    rotating_mass: Given | None = None  # fraction of mass that rotating parts add
    top_speed: Given | None = None  # m/s


@dataclass(frozen=True)
class Work:
    """What was done to the car; `unknown_work` are names the tool has no checks for."""

    done: tuple[str, ...] = ()
    unknown_work: tuple[str, ...] = ()


@dataclass(frozen=True)
class Tyres:
    """The driven wheels' tyres: what the size says, and the measured roll-out."""

    label: str = NO_LABEL
    tyre: Tyre | None = None
    rolling_circumference: Given | None = None  # m, measured

    @property
    def circumference(self) -> Given | None:
        """Rolling circumference, m, always with its interval; a measured roll-out wins."""
        measured = self.rolling_circumference
        if measured is None:
            return self.tyre.circumference_m if self.tyre else None
        if measured.u95 is None:
            return Given(measured.value, U95_ROLL_OUT * measured.value)
        return measured


@dataclass(frozen=True)
class Gearbox:
    """A gearbox: ratios from first gear up."""

    ratios: tuple[float, ...]
    label: str = NO_LABEL
    reverse: float | None = None


@dataclass(frozen=True)
class Axle:
    """A final drive; `teeth` are pinion and crown wheel where they are known."""

    ratio: float
    label: str = NO_LABEL
    teeth: tuple[int, int] | None = None


@dataclass(frozen=True)
class Alternatives:
    """What else could be in the car."""

    gearboxes: tuple[Gearbox, ...] = ()
    axles: tuple[Axle, ...] = ()
    tyres: tuple[Tyres, ...] = ()


@dataclass(frozen=True)
class Engine:
    """The engine."""

    cylinders: int | None = None
    strokes: int = 4
    idle_rpm: float | None = None
    limit_rpm: float | None = None
    boosted: bool | None = None  # supercharged or turbocharged; None where the sheet does not say


@dataclass(frozen=True)
class Speedometer:
    """The speedometer, its drive, and what could be fitted to correct it.

    The drive's settings are per mile for turns and per km for pulses, however the sheet gives them.
    """

    units: ReadIn = "mph"
    graduation_mps: float | None = None
    drive: Drive | None = None
    turns_per_mile: float | None = None
    pulses_per_km: float | None = None
    driven_teeth: int | None = None
    drive_teeth: int | None = None
    available_driven_teeth: tuple[int, ...] = ()
    available_drive_teeth: tuple[int, ...] = ()
    ratio_adapter: float | None = None  # cable turns out per turn in, as fitted
    available_ratio_adapters: tuple[float, ...] = ()
    needle_reset: bool | None = None  # whether the needle can be set on its spindle


@dataclass(frozen=True)
class Tach:
    """The tachometer."""

    pulses_per_rev: float | None = None
    graduation_rpm: float | None = None
    cylinders_setting: int | None = None  # what its switch or trimmer is set for


@dataclass(frozen=True)
class Conditions:
    """The day."""

    temperature: Given | None = None  # K
    pressure: Given | None = None  # Pa
    wind: str | None = None


@dataclass(frozen=True)
class Shop:
    """Who signs the report."""

    name: str | None = None
    logo: str | None = None  # a file beside the sheet
    signature: str | None = None


@dataclass(frozen=True)
class BuildSheet:
    """The whole sheet. `name` is its file's; `remarks` is what the reader noticed, in words."""

    name: str = NO_LABEL
    units: ReadIn = "mph"
    utc_offset_s: float = 0.0
    car: Car = field(default_factory=Car)
    work: Work = field(default_factory=Work)
    tyres: Tyres | None = None
    gearbox: Gearbox | None = None
    axle: Axle | None = None
    alternatives: Alternatives = field(default_factory=Alternatives)
    engine: Engine = field(default_factory=Engine)
    speedometer: Speedometer = field(default_factory=Speedometer)
    indicated_speeds: tuple[Given, ...] = ()  # m/s, as the dial showed them, in the order driven
    tach: Tach = field(default_factory=Tach)
    conditions: Conditions = field(default_factory=Conditions)
    shop: Shop = field(default_factory=Shop)
    targets: Targets = field(default_factory=Targets)
    remarks: tuple[str, ...] = ()

    @property
    def boosted(self) -> bool:
        """Whether the engine is supercharged or turbocharged: as given, or by the work done."""
        if self.engine.boosted is not None:
            return self.engine.boosted
        return "forced induction" in self.work.done

    @property
    def circumference(self) -> Given | None:
        """Rolling circumference of the driven wheels, m, with its interval."""
        return self.tyres.circumference if self.tyres else None

    @property
    def axle_ratio(self) -> float | None:
        """Engine side turns per wheel turn of the final drive."""
        return self.axle.ratio if self.axle else None

    @property
    def ratios(self) -> tuple[float, ...]:
        """Gearbox ratios, first gear first; () where the sheet has none."""
        return self.gearbox.ratios if self.gearbox else ()

    @property
    def pulses_per_rev(self) -> float | None:
        """Ignition pulses per crank turn: as given, or by one coil firing every cylinder.

        cylinders / 2 for a four-stroke, cylinders for a two-stroke (kinematics, no source needed).
        """
        if self.tach.pulses_per_rev is not None:
            return self.tach.pulses_per_rev
        if self.engine.cylinders is None:
            return None
        return self.engine.cylinders * 2 / self.engine.strokes
