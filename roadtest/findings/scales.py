"""Odometer and tach: what they show over what is true."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from roadtest.build_sheet import Target
from roadtest.findings.case import Case, joined
from roadtest.findings.judging import Subject, from_figure, nothing_to_judge
from roadtest.quantity import Quantity
from roadtest.results import Finding, Limit
from roadtest.rules.odometer import ODOMETER_TARGET_BASIS, ODOMETER_TOLERANCES

NO_TACH: Final = "No engine speed was logged"
LOG_THE_ENGINE: Final = (
    "Log the engine speed (tach.csv, or RPM sentences in the GPS log) on a drive with 20 s of "
    "steady driving in each gear"
)
_READ_IT_TWICE: Final = (
    "Note the odometer at the start and at the end of a longer drive, to the tenth, the moment "
    "it turns over"
)


def within(share: float) -> Limit:
    """Return the limit "right to within this share" on a ratio."""
    return Limit(1.0 - share, 1.0 + share, "1")


def over_or_under(case: Case, scale: Quantity, what: str, truth: str) -> str:
    """Say by how many per cent a scale is off."""
    off = Quantity(abs(scale.value - 1.0), scale.u95, "1")
    way = "more" if scale.value >= 1.0 else "less"
    return f"{what} shows {case.say(off, percent=True)} {way} than {truth}"


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


def tach(case: Case, target: Target) -> Finding:
    """Return the finding on the tach's scale."""
    share = share_of(target)
    scale = case.results.tach.scale
    subject = Subject(
        id=target.id,
        title="Tachometer",
        noun="drive",
        basis="own target",
        how="with the tyre's roll-out measured, and 20 s of steady driving in each gear",
    )
    if scale is None:
        why = "Engine speed and road speed could not be matched" if case.has_tach else NO_TACH
        return nothing_to_judge(subject, within(share), why, LOG_THE_ENGINE)
    more = over_or_under(case, scale, "The tach", "the engine turns, gearing and tyre as found")
    return from_figure(case, subject, scale, within(share), more)


def share_of(target: Target) -> float:
    """Return the share a target stands for."""
    if not isinstance(target.value, float):
        raise TypeError(f"not a share: {target.value!r}")
    return target.value


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
