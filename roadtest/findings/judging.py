"""Findings from measured figures: one figure against its limit, or several as one target."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from roadtest.build_sheet import Target
from roadtest.findings.case import Case, joined
from roadtest.findings.settling import Repeat, more_driving
from roadtest.quantity import Quantity
from roadtest.results import Finding, FindingItem, Limit
from roadtest.verdicts import combine, judge
from roadtest.wording import plural

_A_NAME: Final = re.compile(r"[\w-]+")


@dataclass(frozen=True)
class Subject:
    """What one target is about, in words."""

    id: str
    title: str
    noun: str  # of what is driven again, "stop"
    basis: str
    how: str  # how to drive it, to settle what is not proven
    percent: bool = False  # fractions read in per cent
    not_shown: tuple[str, ...] = ()
    log_share: float = 1.0  # of the variance: what comes from the GPS log, and a faster one lessens


def judged_item(manoeuvre: str | None, measured: Quantity | None, limit: Limit) -> FindingItem:
    """Return one item judged; not proven where it was not measured."""
    if measured is None:
        return FindingItem(manoeuvre, None, limit, "not proven")
    found = judge(measured, limit)
    return FindingItem(manoeuvre, measured, limit, found.verdict, found.probability)


def nothing_to_judge(subject: Subject, limit: Limit | None, reason: str, settle: str) -> Finding:
    """Return the finding of a target for which nothing was measured."""
    return Finding(
        id=subject.id,
        title=subject.title,
        verdict="not proven",
        limit=limit,
        basis=subject.basis,
        reason=joined(reason),
        to_settle=joined(settle) or None,
        not_shown=subject.not_shown,
    )


def from_figure(
    case: Case, subject: Subject, measured: Quantity, limit: Limit, more: str = ""
) -> Finding:
    """Return the finding of a target judged on one figure."""
    item = judged_item(None, measured, limit)
    return Finding(
        id=subject.id,
        title=subject.title,
        verdict=item.verdict,
        measured=measured,
        limit=limit,
        probability=item.probability,
        basis=subject.basis,
        reason=joined(_why(case, subject, item), more),
        to_settle=_settle(case, subject, [item]),
        not_shown=subject.not_shown,
    )


def from_items(
    case: Case, subject: Subject, items: Sequence[FindingItem], more: str = ""
) -> Finding:
    """Return the finding of a target judged on several items (at least one).

    It shows the figure that matters most: of the items with the verdict that decided, the one
    least likely to conform. Its probability is that one's: that all conform is at most as likely.
    """
    verdict = combine(item.verdict for item in items)
    telling = worst_of(items)
    return Finding(
        id=subject.id,
        title=subject.title,
        verdict=verdict,
        measured=telling.measured,
        limit=telling.limit,
        probability=telling.probability,
        basis=subject.basis,
        reason=joined(_count(subject, items), _why(case, subject, telling, more), more),
        to_settle=None if verdict != "not proven" else _settle(case, subject, items),
        items=tuple(items),
        not_shown=subject.not_shown,
    )


def worst_of(items: Sequence[FindingItem]) -> FindingItem:
    """Return the item that decides: it has the verdict of the whole, and conforms least surely."""
    verdict = combine(item.verdict for item in items)
    deciding = [item for item in items if item.verdict == verdict]
    measured = [item for item in deciding if item.measured is not None]
    return min(measured or deciding, key=lambda item: (item.probability or 0.0, _overshoot(item)))


def _overshoot(item: FindingItem) -> float:
    """Return a number that is smaller the further the value lies outside its limit."""
    if item.measured is None or item.limit is None:
        return 0.0
    low, high, value = item.limit.low, item.limit.high, item.measured.value
    inside = [value - low] if low is not None else []
    return min([*inside, *([high - value] if high is not None else [])])


def _count(subject: Subject, items: Sequence[FindingItem]) -> str:
    if len(items) < 2:
        return ""
    driven = all(item.manoeuvre for item in items)
    all_of = plural(len(items), subject.noun if driven else "check")
    counts = {v: sum(item.verdict == v for item in items) for v in ("fail", "not proven", "pass")}
    if counts["pass"] == len(items):
        return f"All {all_of} pass"
    if counts["fail"] == len(items):
        return f"All {all_of} fail"
    if counts["not proven"] == len(items):
        return f"None of {all_of} is proven either way"
    said = [
        f"{count} {word}"
        for verdict, word in (("fail", "failed"), ("not proven", "not proven"), ("pass", "passed"))
        if (count := counts[verdict])
    ]
    return f"Of {all_of}, {', '.join(said)}"


def _why(case: Case, subject: Subject, item: FindingItem, told: str = "") -> str:
    """Say in a sentence why an item has its verdict, with the end of its interval that decides.

    Of an item without a figure nothing is said where `told` names its manoeuvre already.
    """
    where = item.manoeuvre or item.what or ""
    if item.measured is None or item.limit is None:
        if item.manoeuvre in _A_NAME.findall(told):
            return ""
        return f"{where or subject.noun} could not be judged" if item.probability is None else ""
    lead = f"{where}: " if where else ""
    measured, limit = item.measured, item.limit
    if item.verdict == "not proven":
        ends = _ends(case, subject, measured)
        return f"{lead}its interval, {ends}, reaches across the limit"
    end = nearest_end(measured, limit)
    inner = measured.high if end > measured.value else measured.low  # the end towards the limit
    if measured.u95 == 0.0:
        return f"{lead}{_text(case, subject, measured.value, measured)}" if lead else ""
    bound = _text(case, subject, inner, measured)
    if item.verdict == "pass":
        return f"{lead}even the end of its interval, {bound}, is within the limit"
    gap = _text(case, subject, abs(inner - end), measured)
    return f"{lead}even the better end of its interval, {bound}, is {gap} outside the limit"


def nearest_end(measured: Quantity, limit: Limit) -> float:
    """Return the end of the limit nearest the value."""
    ends = [end for end in (limit.low, limit.high) if end is not None]
    return min(ends, key=lambda end: abs(measured.value - end))


def _text(case: Case, subject: Subject, value: float, like: Quantity) -> str:
    """Return a value as text with as many decimals as the figure `like` is shown with."""
    return case.say_like(value, like, percent=subject.percent)


def _ends(case: Case, subject: Subject, measured: Quantity) -> str:
    low = _text(case, subject, measured.low, measured)
    high = _text(case, subject, measured.high, measured)
    number, _, unit = low.partition(" ")
    return f"{number} to {high}" if unit else f"{low} to {high}"


def _settle(case: Case, subject: Subject, items: Sequence[FindingItem]) -> str | None:
    open_items = [item for item in items if item.verdict == "not proven"]
    if not open_items:
        return None
    telling = worst_of(open_items)
    if telling.measured is None or telling.limit is None:
        return joined(f"The same {subject.noun} again, {subject.how}")
    repeat = Repeat(subject.noun, subject.how, subject.percent, subject.log_share)
    return joined(more_driving(case, repeat, telling.measured, telling.limit))


def within(share: float) -> Limit:
    """Return the limit "right to within this share" on a ratio."""
    return Limit(1.0 - share, 1.0 + share, "1")


def over_or_under(case: Case, scale: Quantity, what: str, truth: str) -> str:
    """Say by how many per cent a scale is off."""
    off = Quantity(abs(scale.value - 1.0), scale.u95, "1")
    way = "more" if scale.value >= 1.0 else "less"
    return f"{what} shows {case.say(off, percent=True)} {way} than {truth}"


def share_of(target: Target) -> float:
    """Return the share a target stands for."""
    if not isinstance(target.value, float):
        raise TypeError(f"not a share: {target.value!r}")
    return target.value
