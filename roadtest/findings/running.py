"""Coasting, standing starts and pulls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from roadtest.build_sheet import StandingLimit, Target, ThroughLimit
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import (
    Subject,
    from_figure,
    from_items,
    judged_item,
    nothing_to_judge,
    share_of,
)
from roadtest.quantity import Quantity
from roadtest.results import Finding, Limit

_SAME_SPEED: Final = 1e-3  # a speed that a target names, through units and back
_COAST: Final = (
    "out of gear from 60 mph (100 km/h) down to 20 mph (30 km/h), both ways along the same road"
)


def rolling_coefficient(case: Case, target: Target) -> Finding:
    """Return the finding on rolling resistance (dragging brakes, tight bearings)."""
    limit = Limit(None, share_of(target), "1")
    subject = Subject(target.id, "Rolling resistance", "coast-down", "own target", _COAST)
    measured = case.results.coasting.rolling_coefficient
    if measured is None:
        runs = case.results.coasting.runs
        why = "The coast-downs were too few or too short" if runs else "No coast-down was driven"
        return nothing_to_judge(subject, limit, why, f"Coast {_COAST}, twice each way")
    made = case.results.coasting.runs
    said = ["Dragging brakes and tight bearings show here"]
    if made and all(run.paired_with is None for run in made):
        said.append(
            "No run went the other way over the same road, so grade and wind do not cancel; the "
            "interval allows for them"
        )
    if all(run.out_of_gear for run in made):
        return from_figure(case, subject, measured, limit, joined(*said))
    return _one_sided(from_figure(case, subject, measured, limit, joined(*said)))


def _one_sided(finding: Finding) -> Finding:
    """Return the finding of runs that nothing shows to have been out of gear: it can't fail.

    An engine on the overrun adds to what is measured. So a low figure shows that the car rolls
    freely, and a high one is either a brake that drags or a gear left in.
    """
    if finding.verdict == "pass":
        more = "No engine speed was logged: it is taken that nothing drove the car meanwhile"
        return replace(finding, reason=joined(finding.reason, more))
    if finding.verdict == "not proven":
        return finding
    return replace(
        finding,
        verdict="not proven",
        probability=None,
        reason=(
            "Nothing shows that the coasts were out of gear (no engine speed, no gear noted): a "
            "figure this high may be a dragging brake or the engine on the overrun. A low one "
            "would have proved free rolling."
        ),
        to_settle=joined(
            "Coast in neutral again with engine speed logged, or with gear N in the notes; or "
            "jack the car up and turn each wheel by hand"
        ),
    )


def standing(case: Case, target: Target) -> Finding:
    """Return the finding on standing starts to one speed."""
    wanted = target.value
    if not isinstance(wanted, StandingLimit):
        raise TypeError(f"not a standing start target: {wanted!r}")
    to = case.say_value(wanted.to_mps, "m/s")
    limit = Limit(None, wanted.at_most_s, "s")
    how = f"flat out from rest to beyond {to}, both ways along the same road"
    subject = Subject(target.id, f"Standing start to {to}", "standing start", "own target", how)
    starts = [s for s in case.results.pulls.standing if _is(s.to, wanted.to_mps)]
    tries = [_Try(s.manoeuvre, s.time, s.flat_out, s.effort) for s in starts if s.time]
    if not tries:
        why = f"No standing start to {to} was driven"
        return nothing_to_judge(subject, limit, why, f"Drive {how}")
    return _best_of(case, subject, tries, limit)


def through(case: Case, target: Target) -> Finding:
    """Return the finding on the time between two speeds in a gear."""
    wanted = target.value
    if not isinstance(wanted, ThroughLimit):
        raise TypeError(f"not a pull target: {wanted!r}")
    start, end = (case.say_value(v, "m/s") for v in (wanted.from_mps, wanted.to_mps))
    limit = Limit(None, wanted.at_most_s, "s")
    how = f"flat out in gear {wanted.gear} from below {start} to beyond {end}, both ways"
    title = f"{start} to {end} in gear {wanted.gear}"
    subject = Subject(target.id, title, "pull", "own target", how)
    covering = [
        run
        for run in case.results.pulls.runs
        if _is(run.from_, wanted.from_mps) and _is(run.to, wanted.to_mps) and run.time is not None
    ]
    tries = [
        _Try(r.manoeuvre, r.time, r.flat_out, r.effort)
        for r in covering
        if r.gear == wanted.gear and r.time
    ]
    if tries:
        return _best_of(case, subject, tries, limit)
    unknown = [run for run in covering if run.gear is None]
    if unknown:
        took = ", ".join(f"{r.manoeuvre}: {case.say(r.time)}" for r in unknown if r.time)
        why = (
            f"Without engine speed the gear of a pull can't be told. From {start} to {end}, in "
            f"gears not known: {took}"
        )
        return nothing_to_judge(subject, limit, why, f"Log engine speed, and drive {how}")
    why = f"No pull in gear {wanted.gear} covers {start} to {end}"
    if not case.has_tach and not case.results.gearing.gears:  # it may be in the GPS log
        why = (
            f"No pull covers {start} to {end}; and without engine speed its gear could not be told"
        )
        return nothing_to_judge(subject, limit, why, f"Log engine speed, and drive {how}")
    return nothing_to_judge(subject, limit, why, f"Drive {how}")


@dataclass(frozen=True)
class _Try:
    """One run that a target may be judged on."""

    name: str | None
    time: Quantity
    flat_out: bool
    effort: str


def _best_of(case: Case, subject: Subject, tries: Sequence[_Try], limit: Limit) -> Finding:
    """Return the finding on the best run: what the car can do is shown by the best it did.

    It fails only where a run is shown to have been flat out: a slow run with the pedal half down
    says nothing of the car.
    """
    best = min(tries, key=lambda one: one.time.value)
    said = []
    if len(tries) > 1:
        others = ", ".join(
            f"{one.name or 'another'} {case.say(one.time)}" for one in tries if one is not best
        )
        said.append(f"Judged on the best of {len(tries)}; the others: {others}")
    item = judged_item(best.name, best.time, limit)
    shown = next((one for one in (best, *tries) if one.flat_out), None)
    if item.verdict == "fail" and shown is not None:
        said.append(f"{shown.name or 'It'} was flat out: {shown.effort}")
    finding = from_items(case, subject, [item], joined(*said))
    if item.verdict != "fail" or shown is not None:
        return finding
    missing = best.effort or "nothing shows how hard it was driven"
    return replace(
        finding,
        verdict="not proven",
        probability=None,
        items=(replace(item, verdict="not proven", probability=None),),
        reason=joined(
            f"{best.name or 'The best'} took longer, but was it flat out? Not shown: {missing}. "
            "A slow run fails the car only where the driver really tried",
            *said,
        ),
        to_settle=joined(
            f"Drive it twice, {subject.how}; with engine speed logged and taken near the limit "
            "once is enough"
            if subject.noun == "standing start"
            else f"Drive it twice, {subject.how}"
        ),
    )


def _is(speed: Quantity | None, wanted_mps: float) -> bool:
    return speed is not None and abs(speed.value - wanted_mps) <= _SAME_SPEED * wanted_mps
