"""When to abort, and what the crew must mind. Common practice where no source stands beside it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from roadtest.build_sheet import BuildSheet, ChannelLimit
from roadtest.cautions import CALIFORNIA, CLOSED_ROAD, ROLL_COOL, TWO_PEOPLE
from roadtest.plan.model import Step
from roadtest.wording import number_text, unit_symbol

_ABORT: Final = (
    "pedal long or soft, car pulls, a rear wheel locks, smoke or smell",
    "any warning lamp; oil pressure or temperature out of its range",
    "a noise that was not there; detonation: foot off at once",
)
_ALWAYS: Final = (
    CLOSED_ROAD,
    CALIFORNIA,
    "Licence, insurance, tax or trade plates; changes to the car declared where the law asks",
    TWO_PEOPLE,
)


def abort_when(sheet: BuildSheet) -> tuple[str, ...]:
    """Return when to end the drive: the sheet's own limits first."""
    return (*_own_limits(sheet), *_ABORT)


def _own_limits(sheet: BuildSheet) -> Iterator[str]:
    for target in sheet.targets:
        if isinstance(target.value, ChannelLimit):
            yield _channel(target.value)
    limit = sheet.engine.limit_rpm
    if limit is not None:
        yield f"engine above {number_text(limit, 5)} rpm: never"


def _channel(limit: ChannelLimit) -> str:
    from roadtest.units import from_si

    def shown(value: float) -> str:
        read = value if limit.dimension is None else float(from_si(value, limit.unit))
        return f"{number_text(read, 4)} {unit_symbol(limit.unit)}".rstrip()

    name = limit.channel.replace("_", " ")
    parts = [
        f"{name} above {shown(limit.at_most)}" if limit.at_most is not None else "",
        f"{name} below {shown(limit.at_least)}" if limit.at_least is not None else "",
    ]
    return " or ".join(part for part in parts if part)


def cautions(sheet: BuildSheet, steps: tuple[Step, ...]) -> tuple[str, ...]:
    """Return what to mind on this drive."""
    kinds = {step.kind for step in steps}
    said = list(_ALWAYS)
    if "coast" in kinds:
        said.append("Coast in neutral, engine running, ignition unlocked: servo and steering lock")
    if kinds & {"pull", "standing"} and sheet.boosted:
        said.append("More boost or other gears can over-rev: check mixture before full load")
    if "stop" in kinds:
        said.append(ROLL_COOL)
    return tuple(said)
