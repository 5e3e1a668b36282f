"""The tach, and what findings on engine and road speed have in common."""

from __future__ import annotations

from collections.abc import Sequence
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
from roadtest.quantity import SURE
from roadtest.results import Finding

NO_TACH: Final = "No engine speed was logged"
LOG_THE_ENGINE: Final = (
    "Log the engine speed (tach.csv, or RPM sentences in the GPS log) on a drive with 20 s of "
    "steady driving in each gear"
)
NAME_MORE: Final = "Name what else could be fitted under alternatives in the build sheet"
ROLL_OUT: Final = "Measure the tyre's roll-out (one turn of the wheel, crew aboard)"


def tach(case: Case, target: Target) -> Finding:
    """Return the finding on the tach's scale."""
    share = share_of(target)
    scale = case.results.tach.scale
    subject = Subject(
        id=target.id,
        title="Tachometer",
        noun="drive",
        basis="own target",
        how="with 20 s of steady driving in each gear",
    )
    if scale is None:
        why, settle = _why_no_scale(case)
        return nothing_to_judge(subject, within(share), why, settle)
    more = over_or_under(case, scale, "The tach", "the engine turns, gearing and tyre as found")
    finding = from_figure(case, subject, scale, within(share), more)
    return as_sure_as_the_story(case, by_the_tyre(case, finding), "axle", "tyre")


def as_sure_as_the_story(case: Case, finding: Finding, *parts: str) -> Finding:
    """Return a finding on a figure that holds under the most probable story of the gearing.

    It is not proven where stories that differ in `parts` ("axle", "tach", "tyre"), and would make
    another figure of the same drive, have more than a twentieth of the probability.
    """
    stories = case.results.gearing.stories
    if finding.verdict == "not proven" or not stories:
        return finding
    alike = [s for s in stories if all(getattr(s, p) == getattr(stories[0], p) for p in parts)]
    chance = sum(s.probability for s in alike) / sum(s.probability for s in stories)
    if chance >= SURE:
        return finding
    given = finding.probability
    return replace(
        finding,
        verdict="not proven",
        # Under another story nothing is known of it.
        probability=None if given is None else chance * given + (1.0 - chance) * 0.5,
        reason=joined(
            "The figure holds for the most probable account of gearbox, axle, tach and tyre; the "
            f"others, which would make another figure of it, have {1.0 - chance:.0%} together",
            finding.reason,
        ),
        to_settle=joined(f"{ROLL_OUT}, and hold the tach against a reference at a steady speed"),
    )


def _why_no_scale(case: Case) -> tuple[str, str]:
    """Return why there is no scale of the tach, and what would give one."""
    if not case.results.gearing.gears:
        why = "Engine speed and road speed could not be matched" if case.has_tach else NO_TACH
        return why, LOG_THE_ENGINE
    sheet = case.sheet
    parts = {
        "gearbox": sheet.gearbox is None,
        "axle": sheet.axle is None,
        "tyres": sheet.circumference is None,
    }
    missing = [f"[{name}]" for name, lacks in parts.items() if lacks]
    if missing:
        listed = " and ".join(missing)
        return (
            "Gears were told, but the tach's scale is told by gearbox, axle and tyre together, and "
            f"the build sheet has no {listed}",
            f"Give {listed} in the build sheet",
        )
    return (
        "Gears were told, but the road shows a gearbox, axle or tyre that is not named on the "
        "build sheet, and without it the tach's scale is not told",
        NAME_MORE,
    )


def by_the_tyre(case: Case, finding: Finding) -> Finding:
    """Return a finding that is not proven with the tyre's roll-out as what would settle it.

    Where more of the interval comes from the tyre than from everything else, no drive narrows it.
    """
    measured, tyre = finding.measured, case.sheet.circumference
    if finding.verdict != "not proven" or measured is None or tyre is None or tyre.u95 is None:
        return finding
    of_tyre = (tyre.u95 / tyre.value) ** 2
    if of_tyre < 0.5 * (measured.u95 / measured.value) ** 2:
        return finding
    tyres = case.sheet.tyres
    if tyres is not None and tyres.rolling_circumference is not None:
        how = "Measure the tyre's roll-out again, over ten turns, and give its ± in the build sheet"
    else:
        how = ROLL_OUT
    return replace(finding, to_settle=joined(f"{how}: most of the interval is the tyre's"))


def with_remarks(case: Case, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings, what the gearing measure noticed added to one that is not all well.

    It is said once: with the tach, else with the gearbox, else with the axle. What would have to
    be measured by hand is a step of what to do next.
    """
    remarks = [one.text for one in case.results.remarks if one.section == "gearing"]
    said = joined(*(text for text in remarks if text not in case.left_open))
    open_ones = {finding.id: finding for finding in findings if finding.verdict != "pass"}
    told = next((open_ones[id_] for id_ in ("tach", "gearbox", "axle") if id_ in open_ones), None)
    return tuple(
        replace(finding, reason=joined(finding.reason, said)) if finding is told else finding
        for finding in findings
    )
