"""The build sheet: the car as it is now, what else could be in it, and what it is to reach.

Values are SI (engine speed in r/min) and frozen; pydantic is loaded only while a sheet is read.
"""

from __future__ import annotations

from roadtest.build_sheet.model import (
    Alternatives,
    Axle,
    BuildSheet,
    Car,
    Conditions,
    Engine,
    Gearbox,
    Shop,
    Speedometer,
    Tach,
    Tyres,
    Work,
)
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
    ThroughLimit,
)

__all__ = [
    "Alternatives",
    "Axle",
    "BeddingWanted",
    "BuildSheet",
    "Car",
    "ChannelLimit",
    "Conditions",
    "CruiseLimit",
    "DialBand",
    "Efficiency",
    "Engine",
    "Gearbox",
    "NamedRule",
    "Shop",
    "Speedometer",
    "StandingLimit",
    "StoppingLimit",
    "Tach",
    "Target",
    "Targets",
    "ThroughLimit",
    "Tyres",
    "Work",
    "read_build_sheet",
    "read_targets",
]


def read_build_sheet(data: bytes, name: str) -> BuildSheet:
    """Return the build sheet that the TOML text `data`, from the file called `name`, holds.

    Raises InputErrors with every fault of the sheet, a line each, and nothing else.
    """
    from roadtest.build_sheet.reading import read  # pydantic is not needed before this

    return read(data, name)


def read_targets(text: str, name: str) -> Targets:
    """Return the targets in `text`, lines as under [targets] of a build sheet.

    `name` is what the faults are said of. Raises InputErrors as `read_build_sheet` does.
    """
    from roadtest.build_sheet.reading import targets_in

    return targets_in(text, name)
