"""Hand inspections as findings."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from roadtest.results import Finding, Inspection, Verdict

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
            title=f"Inspection: {inspection.what}",
            verdict=_VERDICT[inspection.verdict],
            basis="looked at by the crew",
            reason=_REASON[inspection.verdict],
            to_settle="Look at it, and note the outcome."
            if inspection.verdict == "not done"
            else None,
        )
        for inspection in inspections
    )
