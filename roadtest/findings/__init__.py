"""From what was measured to findings: one a target, in the order of the build sheet."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from roadtest.build_sheet import Target
from roadtest.findings import (
    bedding,
    braking,
    channels,
    gearing,
    odometer,
    running,
    speedometer,
    stop_series,
    tach,
)
from roadtest.findings.case import Case, Doubt, joined
from roadtest.findings.inspections import inspection_findings, unseen_work_findings
from roadtest.findings.steps import cautions, next_steps
from roadtest.results import Finding

__all__ = ["Case", "Doubt", "cautions", "judge_all", "next_steps"]

_JUDGES: Final[Mapping[str, Callable[[Case, Target], Finding]]] = {
    "speedometer": speedometer.speedometer,
    "odometer": odometer.odometer,
    "gearbox": gearing.gearbox,
    "axle": gearing.axle,
    "tach": tach.tach,
    "clutch_slip": gearing.clutch_slip,
    "cruise_rpm": gearing.cruise_rpm,
    "mfdd": braking.mfdd,
    "stopping_distance": braking.stopping_distance,
    "fade": stop_series.fade,
    "drift": braking.drift,
    "spread": stop_series.spread,
    "bedding": bedding.bedding,
    "rolling_coefficient": running.rolling_coefficient,
    "standing": running.standing,
    "through": running.through,
}


def judge_all(case: Case) -> tuple[Finding, ...]:
    """Return one finding a target, and one a hand inspection, from all that was measured."""
    judged = tach.with_remarks(case, [_judge(case, target) for target in case.sheet.targets])
    seen = case.results.inspections
    unseen = unseen_work_findings(case.sheet, seen, case.results.channels)
    return judged + inspection_findings(seen) + unseen


def _judge(case: Case, target: Target) -> Finding:
    if target.id.startswith("channel."):
        return channels.channel(case, target)
    finding = _JUDGES[target.id](case, target)
    for number, doubt in enumerate(case.doubts, 1):  # they are the first steps
        if doubt.about == target.id and finding.measured is not None:
            said = f"What was read is in doubt: step {number} of what to do next"
            return replace(finding, reason=joined(said, finding.reason))
    return finding
