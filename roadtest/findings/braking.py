"""Brakes: deceleration, distance, fade, drift and spread, stop by stop."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from roadtest.build_sheet import NamedRule, StoppingLimit, Target
from roadtest.findings.case import Case, basis_text
from roadtest.findings.judging import (
    Subject,
    from_figure,
    from_items,
    judged_item,
    nothing_to_judge,
    share_of,
    worst_of,
)
from roadtest.results import Finding, FindingItem, Limit, StopResult
from roadtest.rules import braking_rule
from roadtest.rules.model import BrakingRule
from roadtest.wording import plural

_HOW: Final = "hard from the same speed to rest, in both directions of the same level road"
_LEAST_OF_PRESCRIBED: Final = 0.98
"""Initial speed over the prescribed one, UN R13 Annex 4, 1.1.2 (R13-H the same, from memory)."""


def stops_used(case: Case) -> tuple[StopResult, ...]:
    """Return the stops that may be judged."""
    unused = {m.id for m in case.results.manoeuvres if not m.used}
    return tuple(s for s in case.results.braking.stops if s.manoeuvre not in unused)


def _to_try(case: Case) -> str:
    """Say what stops to make where none can be judged: one drive for all targets of the brakes."""
    speed = "one speed"
    for target in case.sheet.targets.named("stopping_distance"):
        speed = case.say_value(_asked_distance(target, _rule(target))[0], "m/s")
    return (
        f"Make four stops or more from {speed} to rest, one after the other, every second one in "
        "the other direction of the same road; on private ground or a closed road"
    )


def mfdd(case: Case, target: Target) -> Finding:
    """Return the finding on mean fully developed deceleration, grade taken out."""
    rule = _rule(target)
    not_shown: tuple[str, ...] = ()
    if rule is None:
        least, basis, title = share_of(target), "own target", ""
    else:
        asked = rule.deceleration(case.sheet.car.first_used)
        if asked is None:
            raise TypeError(f"{rule.name} asks for no deceleration")
        least, title = asked.least_mps2, f": {rule.title}"
        basis = basis_text(asked.basis, rule.remarks)
        not_shown = (*rule.not_shown, *_too_slow(case, rule))
    limit = Limit(least, None, "m/s²")
    name = f"Braking, mean fully developed deceleration{title}"
    subject = Subject(target.id, name, "stop", basis, _HOW, not_shown=not_shown)
    stops = stops_used(case)
    if not stops:
        return nothing_to_judge(subject, limit, _no_stops(case), _to_try(case))
    items = [judged_item(stop.manoeuvre, stop.mfdd_level, limit) for stop in stops]
    return from_items(case, replace(subject, how=_how_again(case, worst_of(items))), items)


def _how_again(case: Case, item: FindingItem) -> str:
    """Say how to repeat the stop that decides."""
    begun = [s.initial_speed for s in stops_used(case) if s.manoeuvre == item.manoeuvre]
    speed = case.say_value(begun[0].value, "m/s") if begun and begun[0] else "the same speed"
    return f"hard from {speed} to rest, in both directions of the same level road"


def _rule(target: Target) -> BrakingRule | None:
    return braking_rule(target.value.name) if isinstance(target.value, NamedRule) else None


def _too_slow(case: Case, rule: BrakingRule) -> Iterator[str]:
    """Say it where stops began below the speed that the rule prescribes."""
    nominal = rule.nominal_speed_mps
    begun = [s.initial_speed.value for s in stops_used(case) if s.initial_speed is not None]
    if nominal is None or not begun or min(begun) >= _LEAST_OF_PRESCRIBED * nominal:
        return
    lowest, highest = (case.say_value(end, "m/s") for end in (min(begun), max(begun)))
    between = lowest if lowest == highest else f"{lowest} to {highest}"
    yield f"a stop from {case.say_value(nominal, 'm/s')}, as the rule prescribes ({between} driven)"


def _no_stops(case: Case) -> str:
    """Say why there is nothing to judge: no stop, or none that could be used, counted by reason."""
    unused = [m for m in case.results.manoeuvres if m.kind == "stop" and not m.used]
    if not unused:
        return "No stop was driven"
    reasons = Counter(_kind_of_reason(m.why_not or "not used") for m in unused)
    said = ", ".join(f"{count} {reason}" for reason, count in reasons.most_common())
    return f"None of {plural(len(unused), 'stop')} could be used ({said})"


def _kind_of_reason(why_not: str) -> str:
    """Return a reason without the figures that differ from stop to stop."""
    return why_not.partition(":")[0].partition(" from ")[0]


def stopping_distance(case: Case, target: Target) -> Finding:
    """Return the finding on stopping distance, brought to the nominal speed.

    A stop from a speed too far from it is judged by a rule that gives a distance for every speed,
    and is left out otherwise.
    """
    rule = _rule(target)
    nominal, most, basis = _asked_distance(target, rule)
    speed = case.say_value(nominal, "m/s")
    title = f"Stopping distance from {speed}"
    subject = Subject(
        target.id,
        title if rule is None else f"{title}: {rule.title}",
        "stop",
        basis,
        f"hard from {speed} to rest, in both directions of the same level road",
        not_shown=() if rule is None else rule.not_shown,
    )
    limit = Limit(None, most, "m")
    items, left_out = [], []
    for stop in stops_used(case):
        item = _distance_item(stop, nominal, limit, rule)
        if item is None:
            left_out.append(stop)
        else:
            items.append(item)
    more = _left_out(case, left_out, speed)
    if not items:
        why = more or _no_stops(case)
        return nothing_to_judge(subject, limit, why, _to_try(case))
    return from_items(case, subject, items, more)


def _asked_distance(target: Target, rule: BrakingRule | None) -> tuple[float, float, str]:
    """Return nominal speed (m/s), longest distance (m) and basis."""
    if isinstance(target.value, StoppingLimit):
        return target.value.from_mps, target.value.at_most_m, "own target"
    if rule is None or rule.distance is None or rule.nominal_speed_mps is None:
        raise TypeError(f"not a stopping distance target: {target.value!r}")
    most = rule.distance.at(rule.nominal_speed_mps)
    if most is None:
        raise TypeError(f"{rule.name} gives no distance from its own speed")
    return rule.nominal_speed_mps, most, basis_text(rule.distance.basis, rule.remarks)


def _distance_item(
    stop: StopResult, nominal_mps: float, limit: Limit, rule: BrakingRule | None
) -> FindingItem | None:
    brought = stop.nominal_speed
    if (
        stop.distance_nominal is not None
        and brought is not None
        and abs(brought.value - nominal_mps) < 1e-3 * nominal_mps
    ):
        return judged_item(stop.manoeuvre, stop.distance_nominal, limit)
    if rule is None or stop.distance is None or stop.initial_speed is None:
        return None
    most = rule.most_stopping_distance_m(stop.initial_speed.value)
    if most is None:
        return None
    return judged_item(stop.manoeuvre, stop.distance, Limit(None, most, "m"))


def _left_out(case: Case, stops: list[StopResult], speed: str) -> str:
    said = [
        f"{stop.manoeuvre} from {case.say(stop.initial_speed)}"
        for stop in stops
        if stop.initial_speed is not None
    ]
    return f"Too far from {speed} to be judged: {', '.join(said)}" if said else ""


def fade(case: Case, target: Target) -> Finding:
    """Return the finding on what is left at the last like stop."""
    limit = Limit(share_of(target), None, "1")
    how = "four stops or more from one speed, one after the other without letting the brakes cool"
    subject = Subject(target.id, "Brake fade", "fade test", "own target", how, percent=True)
    measured = case.results.braking.fade
    if measured is None:
        why = "Fade needs four stops or more from like speeds"
        return nothing_to_judge(subject, limit, why, _to_try(case))
    return from_figure(case, subject, measured, limit, "Last like stop over the first")


def drift(case: Case, target: Target) -> Finding:
    """Return the finding on sideways drift, either way."""
    most = share_of(target)
    limit = Limit(-most, most, "m")
    how = "on a straight, hands light on the wheel, with a receiver of better positions (RTK, SBAS)"
    subject = Subject(target.id, "Drift to the side while braking", "stop", "own target", how)
    stops = stops_used(case)
    if not stops:
        return nothing_to_judge(subject, limit, _no_stops(case), _to_try(case))
    items = [judged_item(stop.manoeuvre, stop.drift, limit) for stop in stops]
    if all(item.measured is None for item in items):
        why = "The log's positions show no sideways drift"
        return nothing_to_judge(subject, limit, why, f"Make stops {how}")
    return from_items(case, subject, items, _leaning(items))


def _leaning(items: list[FindingItem]) -> str:
    """Say which way the car pulls where all certain drifts go one way."""
    certain = [m for item in items if (m := item.measured) and abs(m.value) > m.u95]
    if len(certain) < 2:
        return ""
    if all(m.value > 0.0 for m in certain):
        return "It pulls to the right"
    return "It pulls to the left" if all(m.value < 0.0 for m in certain) else ""


def spread(case: Case, target: Target) -> Finding:
    """Return the finding on how alike the like stops are."""
    limit = Limit(None, share_of(target), "1")
    subject = Subject(target.id, "Spread of like stops", "stop", "own target", _HOW, percent=True)
    measured = case.results.braking.spread
    if measured is None:
        why = "Spread needs several stops from like speeds"
        return nothing_to_judge(subject, limit, why, _to_try(case))
    return from_figure(case, subject, measured, limit, "Standard deviation over mean")
