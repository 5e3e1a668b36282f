"""Brakes, stop by stop: deceleration, distance and drift."""

from __future__ import annotations

from dataclasses import replace

from roadtest.build_sheet import Efficiency, Target
from roadtest.findings.case import Case, basis_text, joined
from roadtest.findings.judging import Subject, from_items, nothing_to_judge, share_of, worst_of
from roadtest.findings.stops import (
    HOW,
    asked_distance,
    faster_log,
    no_stops,
    not_judged,
    rule_of,
    stop_item,
    stops_used,
    to_try,
    too_slow,
)
from roadtest.measures.mfdd import deceleration_of_efficiency, efficiency
from roadtest.quantity import Quantity
from roadtest.results import Finding, FindingItem, Limit, StopResult


def mfdd(case: Case, target: Target) -> Finding:
    """Return the finding on mean fully developed deceleration, grade taken out."""
    rule = rule_of(target)
    not_shown: tuple[str, ...] = ()
    percent = isinstance(target.value, Efficiency) or (rule is not None and rule.in_percent)
    if isinstance(target.value, Efficiency):
        least, basis, title = (
            float(deceleration_of_efficiency(target.value.share)),
            "own target",
            "",
        )
    elif rule is None:
        least, basis, title = share_of(target), "own target", ""
    else:
        asked = rule.deceleration(case.sheet.car.first_used)
        if asked is None:
            raise TypeError(f"{rule.name} asks for no deceleration")
        least, title = asked.least_mps2, f": {rule.title}"
        basis = basis_text(asked.basis, rule.remarks)
        not_shown = (*rule.not_shown, *too_slow(case, rule))
    limit = Limit(least, None, "m/s²")
    name = f"Braking, mean fully developed deceleration{title}"
    subject = Subject(target.id, name, "stop", basis, HOW, not_shown=not_shown)
    stops = stops_used(case)
    if not stops:
        return nothing_to_judge(subject, limit, no_stops(case), to_try(case))
    items = [stop_item(stop, stop.mfdd_level, limit) for stop in stops]
    how = _how_again(case, worst_of(items))
    more = joined(_in_percent(case, worst_of(items), least) if percent else "", not_judged(stops))
    return from_items(case, replace(subject, how=how), items, more)


def _in_percent(case: Case, item: FindingItem, least_mps2: float) -> str:
    """Say a stop's deceleration and its limit as an efficiency, in percent of g."""
    asked = case.say_value(float(efficiency(least_mps2)), "1", percent=True)
    if item.measured is None:
        return f"As an efficiency, at least {asked} of g is asked"
    shown = Quantity(
        float(efficiency(item.measured.value)), float(efficiency(item.measured.u95)), "1"
    )
    said = case.say(shown, percent=True)
    return f"{item.manoeuvre} as an efficiency: {said} of g, at least {asked} is asked"


def _how_again(case: Case, item: FindingItem) -> str:
    """Say how to repeat the stop that decides."""
    again = [s for s in stops_used(case) if s.manoeuvre == item.manoeuvre]
    begun = again[0].initial_speed if again else None
    speed = case.say_value(begun.value, "m/s") if begun else "the same speed"
    how = f"hard from {speed} to rest, in both directions of the same level road"
    if not (again and again[0].not_judged):
        return how
    return f"{faster_log(again[0])}, {how}"


def stopping_distance(case: Case, target: Target) -> Finding:
    """Return the finding on stopping distance, brought to the nominal speed.

    A stop from a speed too far from the nominal one to be brought to it is left out.
    """
    rule = rule_of(target)
    nominal, most, basis = asked_distance(target, rule)
    speed = case.say_value(nominal, "m/s")
    title = f"Stopping distance from {speed}"
    how = f"hard from {speed} to rest, in both directions of the same level road"
    subject = Subject(
        target.id,
        title if rule is None else f"{title}: {rule.title}",
        "stop",
        basis,
        how,
        not_shown=() if rule is None else (*rule.not_shown, *too_slow(case, rule)),
    )
    limit = Limit(None, most, "m")
    near = [stop for stop in stops_used(case) if _is_brought_to(stop, nominal)]
    far = [stop for stop in stops_used(case) if stop not in near]
    more = joined(_left_out(case, far, speed), not_judged(near))
    if not near:
        return nothing_to_judge(subject, limit, more or no_stops(case), to_try(case))
    items = [stop_item(stop, stop.distance_nominal, limit) for stop in near]
    slow = [s for s in near if s.not_judged and s.manoeuvre == worst_of(items).manoeuvre]
    if slow:
        subject = replace(subject, how=f"{faster_log(slow[0])}, {how}")
    return from_items(case, subject, items, more)


def _is_brought_to(stop: StopResult, nominal_mps: float) -> bool:
    """Return whether a stop's distance was brought to this speed: within 15 % of its own."""
    brought = stop.nominal_speed
    return (
        stop.distance_nominal is not None
        and brought is not None
        and abs(brought.value - nominal_mps) < 1e-3 * nominal_mps
    )


def _left_out(case: Case, stops: list[StopResult], speed: str) -> str:
    said = [
        f"{stop.manoeuvre} from {case.say(stop.initial_speed)}"
        for stop in stops
        if stop.initial_speed is not None
    ]
    return f"Too far from {speed} to be judged: {', '.join(said)}" if said else ""


def drift(case: Case, target: Target) -> Finding:
    """Return the finding on sideways drift, either way."""
    most = share_of(target)
    limit = Limit(-most, most, "m")
    how = "on a straight, hands light on the wheel, with a receiver of better positions (RTK, SBAS)"
    subject = Subject(target.id, "Drift to the side while braking", "stop", "own target", how)
    stops = stops_used(case)
    if not stops:
        return nothing_to_judge(subject, limit, no_stops(case), to_try(case))
    items = [stop_item(stop, stop.drift, limit) for stop in stops]
    slow = not_judged(stops)
    if all(item.measured is None for item in items):
        why = slow or "The log's positions show no sideways drift"
        return nothing_to_judge(subject, limit, why, f"Make stops {how}")
    return from_items(case, subject, items, joined(_leaning(items), slow))


def _leaning(items: list[FindingItem]) -> str:
    """Say which way the car pulls where all certain drifts go one way."""
    certain = [m for item in items if (m := item.measured) and abs(m.value) > m.u95]
    if len(certain) < 2:
        return ""
    if all(m.value > 0.0 for m in certain):
        return "It pulls to the right"
    return "It pulls to the left" if all(m.value < 0.0 for m in certain) else ""
