"""Gearbox, axle, clutch and cruising engine speed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from roadtest.build_sheet import CruiseLimit, Target
from roadtest.build_sheet.model import NO_LABEL, UNLISTED, named_part
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import (
    Subject,
    from_figure,
    from_items,
    judged_item,
    nothing_to_judge,
    share_of,
)
from roadtest.findings.tach import (
    LOG_THE_ENGINE,
    NAME_MORE,
    NO_TACH,
    ROLL_OUT,
    as_sure_as_the_story,
    by_the_tyre,
)
from roadtest.quantity import SURE, Quantity
from roadtest.results import CruiseRow, Finding, FindingItem, Limit, Shown, Step
from roadtest.wording import number_text, probability_text

_IN_EACH_GEAR: Final = "20 s of steady driving in each gear, engine speed logged"
_NOT_MATCHED: Final = "Engine speed and road speed could not be matched"


def gearbox(case: Case, target: Target) -> Finding:
    """Return the finding on the gearbox: each step, and whether it is the one on the sheet."""
    share = share_of(target)
    subject = Subject(target.id, "Gearbox", "drive", "own target", _IN_EACH_GEAR)
    if not case.sheet.ratios:
        why = "The build sheet gives no ratios to compare with"
        return nothing_to_judge(subject, None, why, "Add [gearbox] ratios to the build sheet")
    found = case.results.gearing
    steps = [_step_item(step, share) for step in found.steps if step.expected is not None]
    if not steps and _identity(case) is not None:
        steps = [FindingItem(None, None, None, "not proven", what="steps between gears")]
    items = [item for item in (_identity(case), *steps) if item is not None]
    if not any(item.measured is not None or item.probability is not None for item in items):
        return nothing_to_judge(subject, None, _no_match(case), LOG_THE_ENGINE)
    return _told_by_identity(case, from_items(case, subject, items), items)


def _step_item(step: Step, share: float) -> FindingItem:
    expected = step.expected or 1.0
    limit = Limit(expected * (1.0 - share), expected * (1.0 + share), "1")
    item = judged_item(None, step.step, limit)
    return FindingItem(
        None,
        item.measured,
        limit,
        item.verdict,
        item.probability,
        what=f"step from {step.from_} to {step.to}",
    )


def _identity(case: Case) -> FindingItem | None:
    """Return whether the gearbox on the sheet is the one shown, as an item without a figure."""
    shown, fitted = case.results.gearing.gearbox_shown, case.sheet.gearbox
    if fitted is None:
        return None
    if shown is not None:
        likely = _probability_of(shown, fitted.label)
    elif _too_few_gears(case):
        likely = 0.0
    else:
        return None
    own = "one on the build sheet" if fitted.label == NO_LABEL else _quoted(fitted.label)
    what = f"that it is the {own}"
    if likely >= SURE:
        return FindingItem(None, None, None, "pass", likely, what=what)
    if likely <= 1.0 - SURE:
        return FindingItem(None, None, None, "fail", likely, what=what)
    return FindingItem(None, None, None, "not proven", likely, what=what)


def _too_few_gears(case: Case) -> bool:
    """Return whether the road shows more gears than the gearbox on the sheet has."""
    return 0 < len(case.sheet.ratios) < len(case.results.gearing.gears)


def _probability_of(shown: Shown, label: str) -> float:
    """Return the probability of the candidate `label`; of one not shown, at most what is left."""
    return shown.probability if shown.label == label else 1.0 - shown.probability


def _told_by_identity(case: Case, finding: Finding, items: list[FindingItem]) -> Finding:
    """Return the finding with the sentence on which gearbox the road shows put first."""
    shown, fitted = case.results.gearing.gearbox_shown, case.sheet.gearbox
    if fitted is None:
        return finding
    own = f"the {'one' if fitted.label == NO_LABEL else _quoted(fitted.label)} on the build sheet"
    if shown is not None:
        chance = probability_text(shown.probability)
        told = f"The road shows {named_part(shown.label, 'gearbox')} (probability {chance})"
        told += "" if shown.label == fitted.label else f", not {own}"
    elif _too_few_gears(case):
        count = len(case.results.gearing.gears)
        told = f"The road shows {count} gears, {own} has {len(fitted.ratios)}"
    else:
        return finding
    return replace(finding, reason=joined(told, finding.reason))


def _quoted(label: str) -> str:
    return f'"{label}"'


def axle(case: Case, target: Target) -> Finding:
    """Return the finding on the axle ratio, the tyre taken as given."""
    share = share_of(target)
    subject = Subject(target.id, "Axle ratio", "drive", "own target", _IN_EACH_GEAR)
    expected = case.sheet.axle_ratio
    if expected is None:
        why = "The build sheet gives no axle ratio to compare with"
        return nothing_to_judge(subject, None, why, "Add [axle] ratio to the build sheet")
    limit = Limit(expected * (1.0 - share), expected * (1.0 + share), "1")
    measured = case.results.gearing.axle
    if measured is None:
        if case.has_tach and case.sheet.circumference is None:
            why = "Without the tyre's circumference axle and tyre can't be told apart"
            return nothing_to_judge(subject, limit, why, ROLL_OUT)
        if case.results.gearing.gears:
            why = (
                "Gears were told, but they are those of no gearbox on the build sheet, and without "
                "its ratios the axle is not told"
            )
            return nothing_to_judge(subject, limit, why, NAME_MORE)
        return nothing_to_judge(subject, limit, _no_match(case), LOG_THE_ENGINE)
    finding = from_figure(case, subject, measured, limit, _axle_story(case))
    return as_sure_as_the_story(case, by_the_tyre(case, finding), "tach")


def _axle_story(case: Case) -> str:
    shown, fitted = case.results.gearing.axle_shown, case.sheet.axle
    if shown is None:
        return ""
    chance = probability_text(shown.probability)
    if fitted is not None and shown.label == fitted.label:
        return f"Of the axles named, the one on the sheet fits best (probability {chance})"
    if shown.label == UNLISTED:
        return f"Another axle than any that is named fits best (probability {chance})"
    return f'Of the axles named, the "{shown.label}" fits best (probability {chance})'


def clutch_slip(case: Case, target: Target) -> Finding:
    """Return the finding on slip under load."""
    allowed = share_of(target)
    limit = Limit(None, allowed, "1")
    how = "a full-throttle pull through the middle speeds in a high gear, engine speed logged"
    subject = Subject(target.id, "Clutch slip", "pull", "own target", how, percent=True)
    gearing = case.results.gearing
    if gearing.clutch_slip is not None:
        return from_figure(case, subject, gearing.clutch_slip, limit)
    seen = [row.slip for row in gearing.slips if row.slip is not None]
    if not seen:
        why = "No pull under load with the engine speed beside it" if case.has_tach else NO_TACH
        return nothing_to_judge(subject, limit, why, f"Drive {how}")
    unseen = (
        "Of the hardest pulls there are too few rows of engine speed, or too little easy driving "
        "in their gears"
    )
    worst = max(seen, key=lambda slip: slip.low)
    if worst.low > allowed:
        return from_figure(case, subject, worst, limit, f"{unseen}: it may slip more yet")
    closely = f"Drive {how} every second or more often, and 20 s of easy driving in that gear"
    return nothing_to_judge(subject, limit, f"{unseen} to tell", closely)


def cruise_rpm(case: Case, target: Target) -> Finding:
    """Return the finding on engine speed in top gear at a road speed."""
    wanted = target.value
    if not isinstance(wanted, CruiseLimit):
        raise TypeError(f"not a cruise target: {wanted!r}")
    speed = case.say_value(wanted.speed_mps, "m/s")
    limit = Limit(None, wanted.at_most_rpm, "r/min")
    how = f"20 s of steady driving in top gear near {speed}, engine speed logged"
    subject = Subject(target.id, f"Engine speed at {speed} in top gear", "drive", "own target", how)
    row = _cruise_row(case, wanted.speed_mps)
    if row is None or row.rpm is None or row.gear < _top_gear(case):
        why = "Top gear was not driven steadily" if case.has_tach else NO_TACH
        return nothing_to_judge(subject, limit, why, f"Drive {how}")
    gear = number_text(row.gear)
    finding = from_figure(case, subject, row.rpm, limit, f"In gear {gear}, the highest driven")
    return as_sure_as_the_story(case, finding, "tach")


def _cruise_row(case: Case, speed_mps: float) -> CruiseRow | None:
    """Return the row of the highest gear at this speed, or made from its turns per metre."""
    rows = [row for row in case.results.gearing.cruise if row.rpm is not None]
    at = [row for row in rows if row.speed and abs(row.speed.value - speed_mps) < 1e-3 * speed_mps]
    if at:
        return max(at, key=lambda row: row.gear)
    turns = case.results.gearing.revs_per_metre_top
    gears = [row.gear for row in case.results.gearing.gears if row.overall is not None]
    if turns is None or not gears:
        return None
    scale = case.results.tach.scale  # the turns are as the tach shows them
    value, relative = turns.value, turns.u95 / turns.value
    if scale is not None:
        value /= scale.value
        relative = math.hypot(relative, scale.u95 / scale.value)
    rpm = 60.0 * speed_mps * value
    return CruiseRow(
        max(gears), Quantity(speed_mps, 0.0, "m/s"), Quantity(rpm, rpm * relative, "r/min")
    )


def _top_gear(case: Case) -> int:
    """Return the highest gear of the gearbox that the road shows, 0 where that is not known."""
    shown = case.results.gearing.gearbox_shown
    boxes = (case.sheet.gearbox, *case.sheet.alternatives.gearboxes)
    fitting = [
        len(box.ratios) for box in boxes if box and shown is not None and box.label == shown.label
    ]
    return max(fitting, default=0)


def _no_match(case: Case) -> str:
    return _NOT_MATCHED if case.has_tach else NO_TACH
