"""Bedding in: how often the brakes were used as they are to be."""

from __future__ import annotations

from typing import Final

from roadtest.build_sheet import BeddingWanted, Target
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import Subject, nothing_to_judge
from roadtest.quantity import Quantity
from roadtest.results import BeddingRow, Finding, Limit, Verdict
from roadtest.wording import plural

_ENOUGH: Final = 0.9  # of the speed that bedding in is wanted from: nobody drives it to the dot


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
