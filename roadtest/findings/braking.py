"""Brakes: deceleration, distance, fade, drift and spread, stop by stop."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from roadtest.build_sheet import BeddingWanted, Efficiency, NamedRule, StoppingLimit, Target
from roadtest.findings.case import Case, basis_text, joined
from roadtest.findings.judging import (
    Subject,
    from_figure,
    from_items,
    judged_item,
    nothing_to_judge,
    share_of,
    worst_of,
)
from roadtest.measures.mfdd import deceleration_of_efficiency, efficiency
from roadtest.quantity import Quantity
from roadtest.results import BeddingRow, Finding, FindingItem, Limit, StopResult, Verdict
from roadtest.rules import braking_rule
from roadtest.rules.model import BrakingRule
from roadtest.wording import number_text, plural

_HOW: Final = "hard from the same speed to rest, in both directions of the same level road"
_LAST_OVER_FIRST: Final = "The last of the like stops over the first"
_ENOUGH: Final = 0.9  # of the speed that bedding in is wanted from: nobody drives it to the dot
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
        not_shown = (*rule.not_shown, *_too_slow(case, rule))
    limit = Limit(least, None, "m/s²")
    name = f"Braking, mean fully developed deceleration{title}"
    subject = Subject(target.id, name, "stop", basis, _HOW, not_shown=not_shown)
    stops = stops_used(case)
    if not stops:
        return nothing_to_judge(subject, limit, _no_stops(case), _to_try(case))
    items = [_item(stop, stop.mfdd_level, limit) for stop in stops]
    how = _how_again(case, worst_of(items))
    more = joined(_in_percent(case, worst_of(items), least) if percent else "", _not_judged(stops))
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


def _item(stop: StopResult, measured: Quantity | None, limit: Limit) -> FindingItem:
    """Return one stop judged; left open where the log is too slow for it."""
    return judged_item(stop.manoeuvre, None if stop.not_judged else measured, limit)


def _not_judged(stops: Sequence[StopResult]) -> str:
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


def _how_again(case: Case, item: FindingItem) -> str:
    """Say how to repeat the stop that decides."""
    again = [s for s in stops_used(case) if s.manoeuvre == item.manoeuvre]
    begun = again[0].initial_speed if again else None
    speed = case.say_value(begun.value, "m/s") if begun else "the same speed"
    how = f"hard from {speed} to rest, in both directions of the same level road"
    if not (again and again[0].not_judged):
        return how
    return f"{_faster(again[0])}, {how}"


def _faster(stop: StopResult) -> str:
    """Say what logger would show enough of a stop."""
    if stop.judged_from_hz is None:
        return "with a receiver that smooths its speed less"
    return f"with a log of {number_text(stop.judged_from_hz)} Hz or more"


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

    A stop from a speed too far from the nominal one to be brought to it is left out.
    """
    rule = _rule(target)
    nominal, most, basis = _asked_distance(target, rule)
    speed = case.say_value(nominal, "m/s")
    title = f"Stopping distance from {speed}"
    how = f"hard from {speed} to rest, in both directions of the same level road"
    subject = Subject(
        target.id,
        title if rule is None else f"{title}: {rule.title}",
        "stop",
        basis,
        how,
        not_shown=() if rule is None else (*rule.not_shown, *_too_slow(case, rule)),
    )
    limit = Limit(None, most, "m")
    near = [stop for stop in stops_used(case) if _is_brought_to(stop, nominal)]
    far = [stop for stop in stops_used(case) if stop not in near]
    more = joined(_left_out(case, far, speed), _not_judged(near))
    if not near:
        return nothing_to_judge(subject, limit, more or _no_stops(case), _to_try(case))
    items = [_item(stop, stop.distance_nominal, limit) for stop in near]
    slow = [s for s in near if s.not_judged and s.manoeuvre == worst_of(items).manoeuvre]
    if slow:
        subject = replace(subject, how=f"{_faster(slow[0])}, {how}")
    return from_items(case, subject, items, more)


def _is_brought_to(stop: StopResult, nominal_mps: float) -> bool:
    """Return whether a stop's distance was brought to this speed: within 15 % of its own."""
    brought = stop.nominal_speed
    return (
        stop.distance_nominal is not None
        and brought is not None
        and abs(brought.value - nominal_mps) < 1e-3 * nominal_mps
    )


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


def _left_out(case: Case, stops: list[StopResult], speed: str) -> str:
    said = [
        f"{stop.manoeuvre} from {case.say(stop.initial_speed)}"
        for stop in stops
        if stop.initial_speed is not None
    ]
    return f"Too far from {speed} to be judged: {', '.join(said)}" if said else ""


def fade(case: Case, target: Target) -> Finding:
    """Return the finding on what is left at the last like stop, by a share or by a rule."""
    rule = _rule(target)
    how = "four stops or more from one speed, one after the other without letting the brakes cool"
    found = case.results.braking
    if rule is not None:
        return _hot_by_rule(case, target, rule, how)
    limit = Limit(share_of(target), None, "1")
    subject = Subject(target.id, "Brake fade", "fade test", "own target", how, percent=True)
    if found.fade is None:
        return nothing_to_judge(subject, limit, _no_series(case, "Fade"), _to_try(case))
    return from_figure(case, subject, found.fade, limit, _says_fade(case))


def _hot_by_rule(case: Case, target: Target, rule: BrakingRule, how: str) -> Finding:
    """Return the finding on the last like stop by a rule: a share of the first, and a figure."""
    hot = rule.hot
    if hot is None:
        raise TypeError(f"{rule.name} says nothing of hot brakes")
    subject = Subject(
        target.id,
        f"Brake fade, hot stop: {rule.title}",
        "fade test",
        basis_text(hot.basis, rule.remarks),
        how,
        percent=True,
        not_shown=(*hot.not_shown, *rule.not_shown, *_too_slow(case, rule)),
    )
    share = Limit(hot.of_cold, None, "1")
    found = case.results.braking
    if found.fade is None:
        return nothing_to_judge(subject, share, _no_series(case, "Fade"), _to_try(case))
    items = [replace(judged_item(None, found.fade, share), what="share of the cold stop")]
    prescribed = rule.least_mfdd_mps2(case.sheet.car.first_used)
    if hot.of_prescribed is not None and prescribed is not None:
        limit = Limit(hot.of_prescribed * prescribed, None, "m/s²")
        last = next(s for s in found.stops if s.manoeuvre == found.like_stops[-1])
        items.append(judged_item(last.manoeuvre, last.mfdd_level, limit))
    return from_items(case, subject, items, _says_fade(case))


def _no_series(case: Case, what: str) -> str:
    """Say why there is no series of stops to judge."""
    why = (
        f"{what} needs four stops or more from like speeds"
        if what == "Fade"
        else (f"{what} needs several stops from like speeds")
    )
    return joined(why, _not_judged(stops_used(case)))


def _says_fade(case: Case) -> str:
    """Say whether the last stop's loss is more than a driver's variation, by the trend of all."""
    found = case.results.braking
    trend, count = found.fade_per_stop, len(found.like_stops)
    if trend is None:
        return _LAST_OVER_FIRST
    over = f"over {plural(count, 'like stop')}"
    if trend.low <= 0.0 <= trend.high:
        return (
            f"{_LAST_OVER_FIRST}; {over} no trend is told from the driver's variation, so a "
            "difference may be the foot's and not the brakes'"
        )
    way = "falls" if trend.value < 0.0 else "rises"
    size = Quantity(abs(trend.value), trend.u95, "1")
    return (
        f"{_LAST_OVER_FIRST}; {over} braking {way} by {case.say(size, percent=True)} a stop, more "
        "than the driver's variation explains"
    )


def drift(case: Case, target: Target) -> Finding:
    """Return the finding on sideways drift, either way."""
    most = share_of(target)
    limit = Limit(-most, most, "m")
    how = "on a straight, hands light on the wheel, with a receiver of better positions (RTK, SBAS)"
    subject = Subject(target.id, "Drift to the side while braking", "stop", "own target", how)
    stops = stops_used(case)
    if not stops:
        return nothing_to_judge(subject, limit, _no_stops(case), _to_try(case))
    items = [_item(stop, stop.drift, limit) for stop in stops]
    slow = _not_judged(stops)
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


def spread(case: Case, target: Target) -> Finding:
    """Return the finding on how alike the like stops are."""
    limit = Limit(None, share_of(target), "1")
    subject = Subject(target.id, "Spread of like stops", "stop", "own target", _HOW, percent=True)
    measured = case.results.braking.spread
    if measured is None:
        return nothing_to_judge(subject, limit, _no_series(case, "Spread"), _to_try(case))
    return from_figure(case, subject, measured, limit, "Standard deviation over mean")


def bedding(case: Case, target: Target) -> Finding:
    """Return the finding on how often the brakes were used to bed them in."""
    wanted = target.value
    if not isinstance(wanted, BeddingWanted):
        raise TypeError(f"no bedding target: {wanted!r}")
    fast = case.say_value(wanted.from_mps, "m/s")
    slow = f"to {case.say_value(wanted.to_mps, 'm/s')}" if wanted.to_mps else "to rest"
    limit = Limit(float(wanted.count), None, "1")
    basis = "own target; a use counts from 90 % of the speed on, our choice"
    how = f"from {fast} {slow}, rolling in between until the brakes have cooled"
    subject = Subject(target.id, f"Bedding in from {fast} {slow}", "slowing", basis, how)
    record = case.results.braking.bedding
    if record is None:
        why = "The brakes were not used in a way that the log shows"
        return nothing_to_judge(subject, limit, why, f"{wanted.count} slowings {how}")
    least = sum(_beds_in(row, wanted, sure=True) for row in record.rows)
    most = sum(_beds_in(row, wanted, sure=False) for row in record.rows)
    measured = Quantity(0.5 * (least + most), 0.5 * (most - least), "1")
    verdict: Verdict = "fail" if most < wanted.count else "not proven"
    verdict = "pass" if least >= wanted.count else verdict
    counted = f"{least}" if least == most else f"{least} to {most}"
    used = plural(record.stops + record.snubs, "use")
    missing = wanted.count - least
    return Finding(
        id=subject.id,
        title=subject.title,
        verdict=verdict,
        measured=measured,
        limit=limit,
        basis=basis,
        reason=joined(f"Of {used} of the brakes, {counted} count; {wanted.count} are wanted"),
        to_settle=joined(f"{plural(missing, 'slowing')} more {how}") if missing > 0 else None,
    )


def _beds_in(row: BeddingRow, wanted: BeddingWanted, *, sure: bool) -> bool:
    """Return whether a use of the brakes counts, surely or perhaps; not told: perhaps."""
    fast, slow = row.from_speed, row.to_speed
    if fast is None or slow is None:
        return not sure
    from_mps, to_mps = (fast.low, slow.high) if sure else (fast.high, slow.low)
    slack = (1.0 - _ENOUGH) * wanted.from_mps
    return from_mps >= _ENOUGH * wanted.from_mps and to_mps <= wanted.to_mps + slack
