"""From a build sheet's text to its drive card."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.plan.car import ASSUMED_MASS_KG, PlanCar, plan_car
from roadtest.plan.foreseen import Logger
from roadtest.plan.gearing import changes_between, engine_speeds
from roadtest.plan.model import Plan
from roadtest.plan.overlay import changed_sheet
from roadtest.plan.predict import predict
from roadtest.plan.profile import STOPS_ALIKE, WANDER_MPS
from roadtest.plan.programme import programme
from roadtest.plan.road import GRADE_SD
from roadtest.plan.wordings import rough_speed
from roadtest.progress import Progress
from roadtest.work_checks import EVERY_DRIVE, HandCheck, When, checks_for


def make_plan(
    data: bytes,
    name: str,
    logger: Logger,
    changes: Sequence[str] = (),
    progress: Progress = lambda stage, done: None,
) -> Plan:
    """Return the plan for the build sheet in `data`, with the changes considered laid over it.

    Raises InputErrors where the sheet or a change is faulty.
    """
    sheet = changed_sheet(data, name, changes)
    car = plan_car(sheet)
    before = plan_car(read_build_sheet(data, name))
    return Plan(
        sheet=sheet,
        logger=logger,
        steps=programme(car),
        predicted=predict(car, logger, progress),
        engine_speeds=engine_speeds(car),
        hand_checks=hand_checks(sheet),
        changes=changes_between(before, car) if changes else (),
        changed=tuple(changes),
        assumed=tuple(_assumed(car)),
    )


def hand_checks(sheet: BuildSheet) -> dict[str, tuple[HandCheck, ...]]:
    """Return what to look at by hand, each once, by when."""
    all_of = list(EVERY_DRIVE)
    for _, checks in checks_for(sheet.work.done):
        all_of += checks.by_hand
    order: tuple[When, ...] = ("before", "during", "after")
    return {when: tuple(dict.fromkeys(c for c in all_of if c.when == when)) for when in order}


def _assumed(car: PlanCar) -> Iterator[str]:
    if car.sheet.car.mass is None:
        yield f"mass {ASSUMED_MASS_KG:.0f} kg (not on the sheet)"
    if car.sheet.targets:
        yield (
            f"speeds held to {rough_speed(WANDER_MPS, car.sheet.units)} "
            f"and stops alike to {100.0 * STOPS_ALIKE:.0f} % (one standard deviation; our choice), "
            f"a road within {100.0 * GRADE_SD:.1f} % of level"
        )
    yield "rolling coefficient 0.015, drag area 0.675 m² (usual for small open cars, from memory)"
    if car.sheet.axle_ratio is None or not car.sheet.ratios or car.sheet.circumference is None:
        yield "no engine speeds: the sheet lacks gearbox, axle or tyres"
