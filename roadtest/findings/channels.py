"""Logged channels against their limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from roadtest.build_sheet import ChannelLimit, Target
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import Subject, judged_item, nothing_to_judge
from roadtest.measures.channels import Ends, Limits, limits_in_unit
from roadtest.quantity import Quantity
from roadtest.results import ChannelPart, ChannelResult, Finding, FindingItem, Limit
from roadtest.verdicts import combine
from roadtest.wording import clock_text, duration_text, limit_text

_IDLE = "at idle"  # standing
_SPEED = "at speed"


@dataclass(frozen=True)
class _End:
    """One end of a channel's range against its limit; `value` None where it was not logged."""

    what: str  # "highest", "lowest at idle"
    limit: Limit
    value: float | None = None
    at_s: float | None = None
    beyond_s: float | None = None


def channel(case: Case, target: Target) -> Finding:
    """Return the finding on a channel's lowest and highest value, in the unit of its file.

    The values are taken as known: what a sender is worth, the log does not say.
    """
    wanted = target.value
    if not isinstance(wanted, ChannelLimit):
        raise TypeError(f"not a channel target: {wanted!r}")
    title = wanted.channel.replace("_", " ").capitalize()
    subject = Subject(target.id, title, "reading", "own target", f"{wanted.channel} logged")
    rows = [c for c in case.results.channels if c.name == wanted.channel and c.min is not None]
    if not rows:
        others = ", ".join(dict.fromkeys(c.name for c in case.results.channels))
        why = f"No channel {wanted.channel} was logged" + (f" (logged: {others})" if others else "")
        return nothing_to_judge(subject, None, why, f"Log {wanted.channel} in a channels.csv")
    unit = rows[0].unit
    limits = limits_in_unit(wanted, unit)
    if limits is None:
        of = f'is in "{unit}"' if unit else "has no unit in the head of its column"
        why = f'The channel {of}, the limit is in "{wanted.unit}"'
        settle = "Give the limit in the channel's unit, or the unit in the head of its column"
        return nothing_to_judge(subject, None, why, settle)
    same = [row for row in rows if row.unit == unit]  # the files of a split log
    return _judged(case, subject, list(_ends(same, limits, unit)))


def _ends(rows: Sequence[ChannelResult], limits: Limits, unit: str) -> Iterator[_End]:
    at_rest = [row.at_rest for row in rows if row.at_rest]
    at_speed = [row.at_speed for row in rows if row.at_speed]
    parts: tuple[tuple[str, Sequence[ChannelResult | ChannelPart], Ends], ...] = (
        ("", rows, limits.everywhere),
        (f" {_IDLE}", at_rest, limits.idle),
        (f" {_SPEED}", at_speed, limits.speed),
    )
    for where, found, allowed in parts:
        if allowed.high is not None:
            yield _end(f"highest{where}", found, Limit(None, allowed.high, unit))
        if allowed.low is not None:
            yield _end(f"lowest{where}", found, Limit(allowed.low, None, unit))


def _end(what: str, found: Sequence[ChannelResult | ChannelPart], limit: Limit) -> _End:
    """Return how far the channel went towards a limit that is open on its other side."""
    up = limit.high is not None
    reached = [
        (part.max, part.at_max_s, part.seconds_above)
        if up
        else (part.min, part.at_min_s, part.seconds_below)
        for part in found
    ]
    if not reached:
        return _End(what, limit)
    farthest = max if up else min
    value, at_s, _ = farthest(reached, key=lambda one: one[0] or 0.0)
    return _End(what, limit, value, at_s, sum(beyond or 0.0 for _, _, beyond in reached))


def _judged(case: Case, subject: Subject, ends: Sequence[_End]) -> Finding:
    items = [_item(end) for end in ends]
    verdict = combine(item.verdict for item in items)
    telling = next(item for item in items if item.verdict == verdict)
    missing = [end.what for end in ends if end.value is None]
    both = len(ends) == 2 and all(end.what in ("highest", "lowest") for end in ends)
    limit = ends[0].limit if len(ends) == 1 else None
    if both:
        limit = Limit(ends[1].limit.low, ends[0].limit.high, ends[0].limit.unit)
    said = ", ".join(_said(case, end, with_limit=limit is None) for end in ends)
    return Finding(
        id=subject.id,
        title=subject.title,
        verdict=verdict,
        measured=telling.measured,
        limit=limit or telling.limit,
        basis=subject.basis,
        reason=joined(said, "The sender is taken at its word"),
        to_settle=joined(f"Log the channel {' and '.join(_where(missing))}") if missing else None,
        items=tuple(items) if len(items) > 1 else (),
    )


def _where(missing: Sequence[str]) -> list[str]:
    """Return what is still to be logged, each once."""
    how = {_IDLE: "standing, the engine at idle", _SPEED: "at 30 mph (50 km/h) or more"}
    ends = dict.fromkeys(where for what in missing for where in how if what.endswith(where))
    return [how[where] for where in ends]


def _said(case: Case, end: _End, *, with_limit: bool) -> str:
    """Say an end of the range, when it was reached, and how long it lay beyond the limit."""
    allowed = limit_text(end.limit, case.sheet.units)
    if end.value is None:
        return f"{end.what} not logged (allowed: {allowed})"
    text = f"{end.what} {case.say_value(end.value, end.limit.unit)}"
    text += "" if end.at_s is None else f" at {clock_text(end.at_s)}"
    if end.beyond_s:
        side = "above" if end.limit.high is not None else "below"
        text += f", {duration_text(end.beyond_s)} {side} the limit"
    return f"{text} (allowed: {allowed})" if with_limit else text


def _item(end: _End) -> FindingItem:
    measured = None if end.value is None else Quantity(end.value, 0.0, end.limit.unit)
    item = judged_item(None, measured, end.limit)
    return FindingItem(None, measured, end.limit, item.verdict, what=end.what)
