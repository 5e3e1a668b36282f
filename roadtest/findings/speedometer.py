"""The speedometer against its target, hold by hold."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from roadtest.build_sheet import DialBand, NamedRule, Target
from roadtest.findings.case import Case, basis_text, joined
from roadtest.findings.judging import Subject, from_items, judged_item, nothing_to_judge, worst_of
from roadtest.quantity import Quantity
from roadtest.results import DialErrorAt, Finding, FindingItem, Limit, Reading
from roadtest.rules import speedometer_rule
from roadtest.rules.model import SpeedometerRule
from roadtest.rules.own_band import own_band
from roadtest.verdicts import combine, judge

_SAME_SPEED: Final = 0.05  # of a prescribed speed: as near as a hold by the dial comes to it
_SPEEDS: Final = {"mph": "30, 40, 50, 60 and 70 mph", "km/h": "50, 70, 90 and 110 km/h"}
_TRY: Final = (
    "Hold {speeds} on the dial for 20 s each, and note time and reading in notes.csv, or list the "
    "speeds under [indicated] in the build sheet"
)


def speedometer(case: Case, target: Target) -> Finding:
    """Return the finding on the dial: every hold with a reading that the rule speaks of."""
    rule = rule_of(target)
    subject = Subject(
        id=target.id,
        title=f"Speedometer: {rule.title}" if rule.name != "own" else "Speedometer",
        noun="hold",
        basis=basis_text(rule.basis, rule.remarks),
        how="",
        not_shown=rule.not_shown,
    )
    read = [reading for reading in case.results.speedometer.readings if reading.error is not None]
    items = [item for reading in read if (item := judge_reading(reading, rule)) is not None]
    outside = [reading for reading in read if judge_reading(reading, rule) is None]
    remarks = _not_judged(case, outside)
    items += [judge_test_speed(case, at, rule) for at in case.results.speedometer.test_speeds]
    if not items:
        count = len(case.results.speedometer.readings)
        why = "No speed was held steady for long enough to read a dial"
        if count:
            why = f"A steady speed was held {count} times, but no dial reading goes with it"
        if outside:
            why = "No hold at a speed that the rule speaks of"
        return nothing_to_judge(
            subject, None, joined(why, remarks), _TRY.format(speeds=_SPEEDS[case.sheet.units])
        )
    if len(read) == 1 and rule.test_speeds(None):
        untried = "the rule's test speeds: one reading makes no line to judge them by"
        items.append(FindingItem(None, None, None, "not proven", what=untried))
    telling = worst_of(items)
    subject = replace(subject, how=_how_again(case, telling), log_share=_log_share(case, telling))
    return from_items(case, subject, items, joined(remarks, _untried(case, rule)))


def _how_again(case: Case, item: FindingItem) -> str:
    """Say how to repeat the hold that decides."""
    shown = [
        r.indicated for r in case.results.speedometer.readings if r.manoeuvre == item.manoeuvre
    ]
    at = f"{case.say_value(shown[0].value, 'm/s')} on " if shown and shown[0] else ""
    return f"{at}the dial steady for 20 s, the reading noted to a quarter of a division"


def _log_share(case: Case, item: FindingItem) -> float:
    """Return how much of an error's variance is the true speed's; the rest is the dial's."""
    for reading in case.results.speedometer.readings:
        if reading.manoeuvre == item.manoeuvre and reading.true and reading.error:
            whole = reading.error.u95**2
            return min(1.0, reading.true.u95**2 / whole) if whole > 0.0 else 0.0
    return 0.0


def rule_of(target: Target) -> SpeedometerRule:
    """Return the rule that a speedometer target stands for."""
    if isinstance(target.value, NamedRule):
        return speedometer_rule(target.value.name)
    if isinstance(target.value, DialBand):
        return own_band(target.value.under_mps, target.value.over_mps)
    raise TypeError(f"not a speedometer target: {target.value!r}")


def judge_reading(reading: Reading, rule: SpeedometerRule) -> FindingItem | None:
    """Return one reading judged, None where the rule does not speak of its speed.

    The upper limit grows with the true speed, so what is judged against it is the error less that
    share of true speed: its interval is wider, for the true speed is in both with one sign:

        u²(e - s·T) = u²(e) + (s² + 2·s)·u²(T)      where e = shown - T
    """
    error, true = reading.error, reading.true
    if error is None or true is None:
        return None
    shown = None if reading.indicated is None else max(reading.indicated.value, 0.0)
    limit = rule.error_limits(max(true.value, 0.0), shown)
    if limit is None:
        return None
    parts = []
    if limit.low is not None:
        parts.append(judge(error, Limit(limit.low, None, limit.unit)))
    if limit.high is not None:
        share = rule.band.over_share
        u95 = math.sqrt(error.u95**2 + (share**2 + 2.0 * share) * true.u95**2)
        parts.append(
            judge(Quantity(error.value, u95, error.unit), Limit(None, limit.high, limit.unit))
        )
    verdict = combine(part.verdict for part in parts)
    # Reading too low and reading too high exclude each other.
    probability = max(0.0, 1.0 - sum(1.0 - part.probability for part in parts))
    return FindingItem(reading.manoeuvre, error, limit, verdict, probability)


def judge_test_speed(case: Case, at: DialErrorAt, rule: SpeedometerRule) -> FindingItem:
    """Return the dial judged at one of the rule's own test speeds, through its readings' law."""
    where = f"a true {case.say_value(at.speed.value, 'm/s')}, by the line through the readings"
    if at.extrapolated:
        where += " (beyond the speeds held)"
    item = judged_item(None, at.error, rule.band.at(at.speed.value))
    return replace(item, what=where)


def _not_judged(case: Case, outside: list[Reading]) -> str:
    if not outside:
        return ""
    said = ", ".join(
        f"{reading.manoeuvre} at {case.say_value(reading.true.value, 'm/s')}"
        for reading in outside
        if reading.true is not None
    )
    return f"Not judged, for the rule does not speak of these speeds: {said}"


def _untried(case: Case, rule: SpeedometerRule) -> str:
    """Say which of the rule's own test speeds no hold came near, and what the line says there."""
    top = case.sheet.car.top_speed
    asked = rule.test_speeds(None if top is None else top.value)
    held = [
        speed.value
        for reading in case.results.speedometer.readings
        for speed in (reading.true, reading.indicated)
        if reading.error and speed
    ]
    missed = [
        speed for speed in asked if not any(abs(one - speed) <= _SAME_SPEED * speed for one in held)
    ]
    if not missed:
        return ""
    named = " and ".join(case.say_value(speed, "m/s") for speed in missed)
    said = f"Of the rule's test speeds, {named} {'were' if len(missed) > 1 else 'was'} not driven"
    errors = [error for speed in missed if (error := _by_the_line(case, speed)) is not None]
    if len(errors) < len(missed):
        return said
    off = " and ".join(case.say(error, signed=True) for error in errors)
    return f"{said}; by the line through the readings the dial is off by {off} there"


def _by_the_line(case: Case, speed_mps: float) -> Quantity | None:
    """Return what the line through the readings says of the dial's error at a speed."""
    for at in case.results.speedometer.test_speeds:
        if abs(at.speed.value - speed_mps) <= 1e-3 * speed_mps:
            return at.error
    return None
