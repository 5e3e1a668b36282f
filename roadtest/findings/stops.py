"""What findings on stops share: which are judged, why others are not, what to drive instead."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from roadtest.build_sheet import NamedRule, StoppingLimit, Target
from roadtest.findings.case import Case, basis_text
from roadtest.findings.judging import judged_item
from roadtest.quantity import Quantity
from roadtest.results import FindingItem, Limit, StopResult
from roadtest.rules import braking_rule
from roadtest.rules.model import BrakingRule
from roadtest.wording import number_text, plural

HOW: Final = "hard from the same speed to rest, in both directions of the same level road"
_LEAST_OF_PRESCRIBED: Final = 0.98
"""Initial speed over the prescribed one, UN R13 Annex 4, 1.1.2 (R13-H the same, from memory)."""


def stops_used(case: Case) -> tuple[StopResult, ...]:
    """Return the stops that may be judged."""
    unused = {m.id for m in case.results.manoeuvres if not m.used}
    return tuple(s for s in case.results.braking.stops if s.manoeuvre not in unused)


def to_try(case: Case) -> str:
    """Say what stops to make where none can be judged: one drive for all targets of the brakes."""
    speed = "one speed"
    for target in case.sheet.targets.named("stopping_distance"):
        speed = case.say_value(asked_distance(target, rule_of(target))[0], "m/s")
    return (
        f"Make four stops or more from {speed} to rest, one after the other, every second one in "
        "the other direction of the same road; on private ground or a closed road"
    )


def stop_item(stop: StopResult, measured: Quantity | None, limit: Limit) -> FindingItem:
    """Return one stop judged; left open where the log is too slow for it."""
    return judged_item(stop.manoeuvre, None if stop.not_judged else measured, limit)


def not_judged(stops: Sequence[StopResult]) -> str:
    """Say why the log shows too little of some stops to judge them, those of one kind together."""
    alike: dict[str, list[StopResult]] = {}
    for stop in stops:
        if stop.not_judged:
            alike.setdefault(stop.not_judged.partition(":")[0], []).append(stop)
    return ". ".join(_why_not_judged(kind, found) for kind, found in alike.items())


def _why_not_judged(kind: str, stops: Sequence[StopResult]) -> str:
    first = stops[0]
    if len(stops) == 1:
        return f"{first.manoeuvre} can't be judged: {first.not_judged}"
    named = ", ".join(stop.manoeuvre for stop in stops)
    detail = first.not_judged.partition(": ")[2]
    example = f" ({first.manoeuvre}: {detail})" if detail else ""
    return f"{named} can't be judged: {kind}{example}"


def faster_log(stop: StopResult) -> str:
    """Say what logger would show enough of a stop."""
    if stop.judged_from_hz is None:
        return "with a receiver that smooths its speed less"
    return f"with a log of {number_text(stop.judged_from_hz)} Hz or more"


def rule_of(target: Target) -> BrakingRule | None:
    """Return the published rule that a target names, None for an own figure."""
    return braking_rule(target.value.name) if isinstance(target.value, NamedRule) else None


def too_slow(case: Case, rule: BrakingRule) -> Iterator[str]:
    """Say it where stops began below the speed that the rule prescribes."""
    nominal = rule.nominal_speed_mps
    begun = [s.initial_speed.value for s in stops_used(case) if s.initial_speed is not None]
    if nominal is None or not begun or min(begun) >= _LEAST_OF_PRESCRIBED * nominal:
        return
    lowest, highest = (case.say_value(end, "m/s") for end in (min(begun), max(begun)))
    between = lowest if lowest == highest else f"{lowest} to {highest}"
    yield f"a stop from {case.say_value(nominal, 'm/s')}, as the rule prescribes ({between} driven)"


def no_stops(case: Case) -> str:
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


def asked_distance(target: Target, rule: BrakingRule | None) -> tuple[float, float, str]:
    """Return nominal speed (m/s), longest distance (m) and basis."""
    if isinstance(target.value, StoppingLimit):
        return target.value.from_mps, target.value.at_most_m, "own target"
    if rule is None or rule.distance is None or rule.nominal_speed_mps is None:
        raise TypeError(f"not a stopping distance target: {target.value!r}")
    most = rule.distance.at(rule.nominal_speed_mps)
    if most is None:
        raise TypeError(f"{rule.name} gives no distance from its own speed")
    return rule.nominal_speed_mps, most, basis_text(rule.distance.basis, rule.remarks)
