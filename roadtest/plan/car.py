"""What the plan takes the car to be: what the build sheet says, and common values for the rest."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.measures.road_load import RoadLoad
from roadtest.units import STANDARD_GRAVITY_MPS2

ASSUMED_MASS_KG: Final = 850.0
ROLLING, DRAG_AREA_M2, AIR_KGPM3 = 0.015, 0.675, 1.225
"""Small open cars on radials, standard atmosphere at sea level (values from memory)."""
ROTATING: Final = 1.03  # effective mass over mass out of gear; coast-down procedures' allowance
FULL_BRAKING_MPS2: Final = 0.9 * STANDARD_GRAVITY_MPS2
"""No road tyre brakes harder for long: FMVSS 135 asks for a surface of peak friction 0.9."""
PUBLIC_MOST_MPS: Final = 70.0 * 0.44704  # where the sheet sets no limit; many roads' own limit
_LUGGING: Final = 1.6  # times idle speed: below it an engine does not pull smoothly
_LOW_RPM: Final = 1400.0  # where the idle speed is not given


@dataclass(frozen=True)
class PlanCar:
    """The car as far as the plan needs it."""

    sheet: BuildSheet
    mass_kg: float
    ceiling_mps: float  # never to be passed on this plan

    @property
    def load(self) -> RoadLoad:
        """Road load."""
        weight = self.mass_kg * STANDARD_GRAVITY_MPS2
        return RoadLoad(ROLLING * weight, 0.0, 0.5 * AIR_KGPM3 * DRAG_AREA_M2)

    @property
    def rolling_mass_kg(self) -> float:
        """Mass with its rotating parts, out of gear."""
        return self.mass_kg * ROTATING

    @property
    def lowest_rpm(self) -> float:
        """Engine speed below which nothing is planned in gear."""
        idle = self.sheet.engine.idle_rpm
        return _LOW_RPM if idle is None else _LUGGING * idle

    def rpm(self, gear: int, speed_mps: float) -> float | None:
        """Return the engine speed (r/min) in a gear at a speed; None where the sheet lacks it."""
        around, axle = self.sheet.circumference, self.sheet.axle_ratio
        ratios = self.sheet.ratios
        if around is None or axle is None or not 1 <= gear <= len(ratios):
            return None
        return 60.0 * speed_mps * ratios[gear - 1] * axle / around.value

    def fits(self, gear: int, speed_mps: float) -> bool:
        """Return whether the engine may turn as fast as that speed asks in that gear."""
        rpm, limit = self.rpm(gear, speed_mps), self.sheet.engine.limit_rpm
        return speed_mps <= self.ceiling_mps * (1.0 + 1e-9) and (
            rpm is None or limit is None or rpm <= limit * (1.0 + 1e-9)
        )

    def gear_for(self, speed_mps: float) -> int | None:
        """Return the highest gear that pulls at a speed; the lowest that fits where none does."""
        lowest = None
        for gear in range(len(self.sheet.ratios), 0, -1):
            rpm = self.rpm(gear, speed_mps)
            if rpm is not None and self.fits(gear, speed_mps):
                if rpm >= self.lowest_rpm:
                    return gear
                lowest = gear
        return lowest

    def middle_speed(self, gear: int) -> float | None:
        """Return a comfortable speed (m/s) in a gear: halfway up the engine's range."""
        per_mps = self.rpm(gear, 1.0)
        if per_mps is None:
            return None
        limit = self.sheet.engine.limit_rpm or 2.5 * self.lowest_rpm
        return min(
            0.5 * (max(self.lowest_rpm, 0.25 * limit) + 0.75 * limit) / per_mps, self.ceiling_mps
        )


def plan_car(sheet: BuildSheet) -> PlanCar:
    """Return the car of a build sheet, its mass taken as common where the sheet has none."""
    mass = sheet.car.mass.value if sheet.car.mass else ASSUMED_MASS_KG
    bare = PlanCar(sheet, mass, math.inf)
    limits = [sheet.car.top_speed.value] if sheet.car.top_speed else []
    top = [bare.rpm(gear, 1.0) for gear in range(1, len(sheet.ratios) + 1)]
    per_mps = [rpm for rpm in top if rpm is not None]
    if per_mps and sheet.engine.limit_rpm is not None:
        limits.append(sheet.engine.limit_rpm / min(per_mps))
    return PlanCar(sheet, mass, min(limits, default=math.inf))
