"""Brakes over a series of stops: fade and spread."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from roadtest.build_sheet import Target
from roadtest.findings.case import Case, basis_text, joined
from roadtest.findings.judging import (
    Subject,
    from_figure,
    from_items,
    judged_item,
    nothing_to_judge,
    share_of,
)
from roadtest.findings.stops import HOW, not_judged, rule_of, stops_used, to_try, too_slow
from roadtest.quantity import Quantity
from roadtest.results import Finding, Limit
from roadtest.rules.model import BrakingRule
from roadtest.wording import plural

_LAST_OVER_FIRST: Final = "The last of the like stops over the first"


def fade(case: Case, target: Target) -> Finding:
    """Return the finding on what is left at the last like stop, by a share or by a rule."""
    rule = rule_of(target)
    how = "four stops or more from one speed, one after the other without letting the brakes cool"
    found = case.results.braking
    if rule is not None:
        return _hot_by_rule(case, target, rule, how)
    limit = Limit(share_of(target), None, "1")
    subject = Subject(target.id, "Brake fade", "fade test", "own target", how, percent=True)
    if found.fade is None:
        return nothing_to_judge(subject, limit, _no_series(case, "Fade"), to_try(case))
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
        not_shown=(*hot.not_shown, *rule.not_shown, *too_slow(case, rule)),
    )
    share = Limit(hot.of_cold, None, "1")
    found = case.results.braking
    if found.fade is None:
        return nothing_to_judge(subject, share, _no_series(case, "Fade"), to_try(case))
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
    return joined(why, not_judged(stops_used(case)))


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


def spread(case: Case, target: Target) -> Finding:
    """Return the finding on how alike the like stops are."""
    limit = Limit(None, share_of(target), "1")
    subject = Subject(target.id, "Spread of like stops", "stop", "own target", HOW, percent=True)
    measured = case.results.braking.spread
    if measured is None:
        return nothing_to_judge(subject, limit, _no_series(case, "Spread"), to_try(case))
    return from_figure(case, subject, measured, limit, "Standard deviation over mean")
