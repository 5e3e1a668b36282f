"""Logged channels against their limits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from roadtest.build_sheet import ChannelLimit, Target
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import Subject, judged_item, nothing_to_judge
from roadtest.quantity import Quantity
from roadtest.results import ChannelResult, Finding, FindingItem, Limit
from roadtest.units import UnknownUnitError, find_unit, from_si
from roadtest.verdicts import combine
from roadtest.wording import clock_text, duration_text, limit_text


def channel(case: Case, target: Target) -> Finding:
    """Return the finding on a channel's lowest and highest value, in the unit of its file.

    The values are taken as known: what a sender is worth, the log does not say.
    """
    wanted = target.value
    if not isinstance(wanted, ChannelLimit):
        raise TypeError(f"not a channel target: {wanted!r}")
    title = wanted.channel.replace("_", " ").capitalize()
    subject = Subject(target.id, title, "reading", "own target", f"{wanted.channel} logged")
    found = _whole([c for c in case.results.channels if c.name == wanted.channel])
    if found is None:
        others = ", ".join(dict.fromkeys(c.name for c in case.results.channels))
        why = f"No channel {wanted.channel} was logged" + (f" (logged: {others})" if others else "")
        return nothing_to_judge(subject, None, why, f"Log {wanted.channel} in a channels.csv")
    limit = _limit_in(wanted, found.unit)
    if limit is None:
        why = f'The channel is in "{found.unit}", the limit in "{wanted.unit}"'
        settle = "Give the limit in the channel's unit, or the unit in the head of its column"
        return nothing_to_judge(subject, None, why, settle)
    return _judged(case, subject, found, limit)


def _whole(rows: Sequence[ChannelResult]) -> ChannelResult | None:
    """Return one row of those that the files of a split log gave, None without any value."""
    rows = [row for row in rows if row.min is not None and row.max is not None]
    if not rows:
        return None
    rows = [row for row in rows if row.unit == rows[0].unit]
    low = min(rows, key=lambda row: row.min or 0.0)
    high = max(rows, key=lambda row: row.max or 0.0)
    return replace(
        high,
        min=low.min,
        at_min_s=low.at_min_s,
        seconds_above=_sum(row.seconds_above for row in rows),
        seconds_below=_sum(row.seconds_below for row in rows),
    )


def _sum(seconds: Iterable[float | None]) -> float | None:
    known = [second for second in seconds if second is not None]
    return sum(known) if known else None


def _limit_in(wanted: ChannelLimit, unit: str) -> Limit | None:
    """Return the limit in the channel's unit, None where the two can't be compared."""
    if wanted.dimension is None:
        if wanted.unit != unit:
            return None
        return Limit(wanted.at_least, wanted.at_most, unit)
    try:
        if find_unit(unit).dimension != wanted.dimension:
            return None
    except UnknownUnitError:
        return None
    low, high = (
        None if end is None else round(from_si(end, unit), 9)
        for end in (wanted.at_least, wanted.at_most)
    )
    return Limit(low, high, unit)


def _judged(case: Case, subject: Subject, found: ChannelResult, limit: Limit) -> Finding:
    assert found.min is not None and found.max is not None  # told apart before
    ends = [("highest", found.max)] if limit.high is not None else []
    ends += [("lowest", found.min)] if limit.low is not None else []
    items = [_end(which, value, limit) for which, value in ends]
    verdict = combine(item.verdict for item in items)
    telling = next(item for item in items if item.verdict == verdict)
    said = [_said(case, found, which) for which, _ in ends]
    allowed = limit_text(limit, case.sheet.units)
    return Finding(
        id=subject.id,
        title=subject.title,
        verdict=verdict,
        measured=telling.measured,
        limit=limit,
        basis=subject.basis,
        reason=joined(f"{', '.join(said)}; allowed: {allowed}", "The sender is taken at its word"),
        items=tuple(items) if len(items) > 1 else (),
    )


def _said(case: Case, found: ChannelResult, which: str) -> str:
    """Say an end of the range, when it was reached, and how long it lay beyond the limit."""
    high = which == "highest"
    value, at_s = (found.max, found.at_max_s) if high else (found.min, found.at_min_s)
    beyond = found.seconds_above if high else found.seconds_below
    text = f"{which} {case.say_value(value or 0.0, found.unit)}"
    text += "" if at_s is None else f" at {clock_text(at_s)}"
    if beyond:
        text += f", {duration_text(beyond)} {'above' if high else 'below'} the limit"
    return text


def _end(which: str, value: float, limit: Limit) -> FindingItem:
    item = judged_item(None, Quantity(value, 0.0, limit.unit), limit)
    return FindingItem(None, item.measured, limit, item.verdict, what=which)
