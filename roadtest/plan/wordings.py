"""The parts of a plan in words, the same for paper and console."""

from __future__ import annotations

from itertools import groupby
from typing import Final

from roadtest.plan.car import PlanCar, plan_car
from roadtest.plan.model import Plan, Predicted, Step
from roadtest.quantity import Quantity
from roadtest.results import ReadIn
from roadtest.units import from_si
from roadtest.wording import PERCENT_FINDINGS, in_read_unit, number_text, rounded
from roadtest.work_checks import COMMON_PRACTICE, HandCheck

NO_FIGURE: Final = "–"
REPEATS: Final = (
    "Every stop, hold, pull or start is judged by itself, and one that fails fails the target: "
    "more of them do not narrow the interval of each. Only the rolling resistance is a mean, "
    "and its interval hangs on the road's own hills: it may be several times narrower. A crew "
    "that brakes or holds less evenly than assumed widens all of them."
)
_MARK: Final = " *"  # behind what is published


def number_in(value_mps: float, units: str) -> str:
    """Return a speed as a bare number in the unit to read, to a whole one."""
    return f"{float(from_si(value_mps, units)):.0f}"


def speeds_of(step: Step, units: str) -> str:
    """Return the speeds of a step: "30, 40, 50 mph", "60 to 20 mph", "0 to 60 mph"."""
    if not step.from_mps:
        return ""
    said = ", ".join(number_in(v, units) for v in step.from_mps)
    if step.to_mps is not None:
        said += f" to {number_in(step.to_mps, units)}"
    return f"{said} {units}"


def gears_of(step: Step) -> str:
    """Return the gears of a step in the order driven: "1, 2, 3", "4, then 5"; "neutral"."""
    if step.kind in ("coast", "stop"):
        return "neutral"
    if not step.gears or any(gear is None for gear in step.gears):
        return ""
    in_turn = [str(gear) for gear, _ in groupby(step.gears)]
    return (", " if len(in_turn) == len(step.gears) else ", then ").join(in_turn)


def runs_of(step: Step) -> str:
    """Return how many of it, and how long each."""
    if step.kind in ("warm", "look"):
        return "" if step.seconds is None else f"{step.seconds / 60.0:.0f} min"
    said = f"{step.count} each" if step.count == 1 and len(step.from_mps) > 1 else f"{step.count}"
    return f"{said}, {step.seconds:.0f} s" if step.kind == "hold" and step.seconds else said


def straight_of(step: Step) -> str:
    """Return the straight a step needs, in metres."""
    return "" if step.straight_m is None else f"{step.straight_m:.0f} m"


def foreseen_of(plan: Plan, predicted: Predicted) -> str:
    """Return the predicted half-width of the 95 % interval: "±0.09 m/s²"."""
    figure = predicted.expected
    if figure is None:
        return NO_FIGURE
    if predicted.id in PERCENT_FINDINGS and figure.unit == "1":
        read = Quantity(100.0 * figure.value, 100.0 * figure.u95, "%")
    else:
        read = in_read_unit(figure, plan.sheet.units)
    return f"±{rounded(read.value, read.u95)[1]} {read.unit}".rstrip()


def check_text(check: HandCheck) -> str:
    """Return a hand check, marked where a published rule stands behind it."""
    return check.what if check.basis == COMMON_PRACTICE else check.what + _MARK


def sources_of(plan: Plan) -> str:
    """Return where the hand checks come from."""
    checks = [check for group in plan.hand_checks.values() for check in group]
    published = dict.fromkeys(c.basis for c in checks if c.basis != COMMON_PRACTICE)
    said = f"Hand checks: {COMMON_PRACTICE}"
    return f"{said}; those marked*: {'; '.join(published)}." if published else f"{said}."


def logger_of(plan: Plan) -> str:
    """Return what logger the predictions hold for."""
    noise = rough_speed(plan.logger.noise_mps, plan.sheet.units)
    return (
        f"{number_text(plan.logger.rate_hz, 3)} Hz, speeds scattering by {noise} (one standard "
        "deviation); engine speed logged, where it is needed"
    )


def rough_speed(speed_mps: float, units: ReadIn) -> str:
    """Return an assumed speed to two digits: "0.31 mph"."""
    speed = in_read_unit(Quantity(speed_mps, 0.0, "m/s"), units)
    return f"{number_text(speed.value, 2)} {speed.unit}"


def engine_rows(plan: Plan) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return heads and rows of the table of engine speeds; () without the gearing."""
    table = plan.engine_speeds
    if table is None:
        return (), ()
    heads = (f"true {plan.sheet.units}", *(f"gear {gear}" for gear in table.gears))
    rows = tuple(
        (
            number_in(speed, plan.sheet.units),
            *(NO_FIGURE if rpm is None else f"{round(rpm, -1):.0f}" for rpm in cells),
        )
        for speed, cells in table.rows
    )
    return heads, rows


def note_rows(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """Return a row for each hold to be noted: dial speed, gear, engine speed expected."""
    car, rows = plan_car(plan.sheet), []
    for step in plan.steps:
        if step.kind != "hold":
            continue
        for speed, gear in zip(step.from_mps, step.gears, strict=True):
            rows.append(
                (
                    f"{number_in(speed, plan.sheet.units)} {plan.sheet.units}",
                    "" if gear is None else str(gear),
                    _expected_rpm(car, gear, speed),
                )
            )
    return tuple(rows)


def _expected_rpm(car: PlanCar, gear: int | None, speed_mps: float) -> str:
    rpm = None if gear is None else car.rpm(gear, speed_mps)
    return "" if rpm is None else f"{round(rpm, -1):.0f}"
