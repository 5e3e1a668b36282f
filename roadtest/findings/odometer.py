"""The odometer: what it shows over what was driven."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from roadtest.build_sheet import Target
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import (
    Subject,
    from_figure,
    nothing_to_judge,
    over_or_under,
    share_of,
    within,
)
from roadtest.results import Finding
from roadtest.rules.odometer import ODOMETER_TARGET_BASIS, ODOMETER_TOLERANCES

_READ_IT_TWICE: Final = (
    "Note the odometer at the start and at the end of a longer drive, to the tenth, the moment "
    "it turns over"
)


def odometer(case: Case, target: Target) -> Finding:
    """Return the finding on the odometer's scale."""
    share = share_of(target)
    found = case.results.odometer
    subject = Subject(
        id=target.id,
        title="Odometer",
        noun="drive",
        basis=_odometer_basis(share),
        how="the odometer noted at both ends to the tenth, over a longer distance",
    )
    advice = found.advice
    if found.scale is None:
        why = "The odometer was not read at two places far enough apart"
        return nothing_to_judge(subject, within(share), why, advice or _READ_IT_TWICE)
    more = over_or_under(case, found.scale, "The odometer", "was driven")
    finding = from_figure(case, subject, found.scale, within(share), more)
    return _settled_by(finding, advice)


def _odometer_basis(share: float) -> str:
    """Name the published tolerances beside an own target that is the same."""
    like = [
        str(figure.basis)
        for figure in ODOMETER_TOLERANCES
        if figure.value is not None and abs(figure.value - share) < 1e-9
    ]
    own = str(ODOMETER_TARGET_BASIS)
    return f"{own}; the same figure stands in {like[0]}" if like else own


def _settled_by(finding: Finding, advice: str) -> Finding:
    """Return the finding with the measure's own advice on what would settle it, if it has some."""
    if finding.verdict != "not proven" or not advice:
        return finding
    return replace(finding, to_settle=joined(advice))
