"""Hand inspections as findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.missing_checks import missing_checks
from roadtest.results import ChannelResult, Finding, Inspection, Verdict
from roadtest.wording import INSPECTION

AFTER_WORK: Final = "hand checks after work on "
"""How the title of such a finding goes on behind `INSPECTION`."""

_VERDICT: Final[dict[str, Verdict]] = {"pass": "pass", "fail": "fail", "not done": "not proven"}
_REASON: Final = {
    "pass": "The crew looked and found it good.",
    "fail": "The crew looked and found it wanting.",
    "not done": "It was not looked at.",
}


def inspection_findings(inspections: Iterable[Inspection]) -> tuple[Finding, ...]:
    """Return one finding a hand inspection."""
    return tuple(
        Finding(
            id="inspection",
            title=f"{INSPECTION}{inspection.what}",
            verdict=_VERDICT[inspection.verdict],
            basis="looked at by the crew",
            reason=_REASON[inspection.verdict],
            to_settle="Look at it, and note the outcome."
            if inspection.verdict == "not done"
            else None,
        )
        for inspection in inspections
    )


def unseen_work_findings(
    sheet: BuildSheet, inspections: Sequence[Inspection], channels: Sequence[ChannelResult]
) -> tuple[Finding, ...]:
    """Return a finding for each kind of work whose hand checks nobody noted; () without targets.

    A sheet without targets asks for figures only.
    """
    if not sheet.targets:
        return ()
    return tuple(
        Finding(
            id="inspection",
            title=f"{INSPECTION}{AFTER_WORK}{missing.work}",
            verdict="not proven",
            basis="; ".join(dict.fromkeys(check.basis for check in missing.checks)),
            reason=f"Nobody noted: {'; '.join(check.what for check in missing.checks)}.",
            to_settle=f"Look by hand, and note the outcome of {_count(len(missing.checks))}.",
        )
        for missing in missing_checks(sheet, inspections, channels)
    )


def _count(number: int) -> str:
    return "the check" if number == 1 else f"the {number} checks"
