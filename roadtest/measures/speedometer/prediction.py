"""What the dial will read after a change of axle, tyre or gears, from the build sheet alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.build_sheet import BuildSheet
from roadtest.measures.speedometer.advice import advice, as_corrections
from roadtest.measures.speedometer.corrections import Before, advise
from roadtest.measures.speedometer.dial_law import SOUND_BOW_GRADUATIONS, DialLaw
from roadtest.measures.speedometer.head import (
    DialGearing,
    delivered_per_metre,
    expected_per_metre,
    gearing_of,
    head_result,
)
from roadtest.measures.speedometer.readings import graduation_of
from roadtest.measures.speedometer.target import dial_target
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import Correction, DialErrorAt, HeadResult, Verdict
from roadtest.units import Given, to_si

_EXACT: Final = Quantity(1.0, 0.0, "1")

_HEAD_U95: Final = 0.02
"""Of a head whose own calibration nobody has shown: relative, 95 %. Our choice: a new head is made
to a per cent or two (common practice, no published source)."""

_SPEEDS: Final = {
    "mph": tuple(to_si(speed, "mph") for speed in (30.0, 40.0, 50.0, 60.0, 70.0)),
    "km/h": tuple(to_si(speed, "km/h") for speed in (50.0, 70.0, 90.0, 110.0)),
}


@dataclass(frozen=True)
class Prediction:
    """What the dial is expected to read, before anybody has driven.

    `scale` is dial over true speed; `errors` at round true speeds and the target's test speeds;
    `verdict` and `probability` (of lying inside at all of them) are None without a target.
    """

    scale: Quantity
    basis: str
    errors: tuple[DialErrorAt, ...]
    verdict: Verdict | None
    probability: float | None
    corrections: tuple[Correction, ...]
    advice: str
    head: HeadResult | None


def predict_error(
    sheet: BuildSheet, old: DialGearing | None = None, scale_before: Quantity = _EXACT
) -> Prediction | None:
    """Return the predicted error of the dial, None where the sheet doesn't say enough.

    With `old`, the gearing under which the dial read `scale_before` times the true speed (1, exact,
    if nobody knows better):

        scale = scale before · (axle / old axle) · (old circumference / circumference)
                · (old driven teeth / driven teeth) · (drive teeth / old drive teeth) · adapters

    where a part that `old` leaves out is unchanged. Without `old`: delivered over expected turns or
    pulses, with the head's own calibration in the interval.

    The needle is taken to rest at 0 within half a graduation, the dial to be straight within one.
    A tyre that is the same before and after adds no uncertainty.
    """
    predicted = _from_head(sheet) if old is None else _from_old(sheet, old, scale_before)
    if predicted is None:
        return None
    scale, basis = predicted
    dial, target = sheet.speedometer, dial_target(sheet)
    before = Before(_law(scale, graduation_of(dial)), scale, target, _SPEEDS[dial.units])
    advised = advise(before, dial, np.random.default_rng(0), needle=False)
    present = advised.present
    return Prediction(
        scale=scale,
        basis=basis,
        errors=present.errors,
        verdict=present.verdict,
        probability=present.probability,
        corrections=as_corrections(advised, sheet.units),
        advice=advice(advised, target.rule.title if target else "", sheet.units),
        head=head_result(sheet, None),
    )


def _from_head(sheet: BuildSheet) -> tuple[Quantity, str] | None:
    delivered = delivered_per_metre(gearing_of(sheet), sheet.speedometer)
    expected = expected_per_metre(sheet.speedometer)
    if delivered is None or expected is None:
        return None
    scale = delivered.value / expected
    u95 = math.hypot(delivered.u95 / expected, _HEAD_U95 * scale)
    return Quantity(scale, u95, "1"), "what is delivered to the head over what it expects"


def _from_old(
    sheet: BuildSheet, old: DialGearing, scale_before: Quantity
) -> tuple[Quantity, str] | None:
    new = gearing_of(sheet)
    electronic = sheet.speedometer.drive == "electronic"
    if sheet.speedometer.drive == "gps":
        return None
    ratio, changed = 1.0, []
    for name, was, now in _parts(old, new, with_driven=not electronic):
        if was is None or was == now:
            continue
        if now is None:
            return None  # something was changed and the sheet doesn't say to what
        ratio *= now / was
        changed.append(name)
    tyre = _tyre_ratio(old.circumference, new.circumference)
    if tyre is None:
        return None
    if tyre.value != 1.0 or tyre.u95 > 0.0:
        changed.append("tyre")
    value = scale_before.value * ratio * tyre.value
    u95 = value * math.hypot(tyre.u95 / tyre.value, scale_before.u95 / scale_before.value)
    what = ", ".join(changed) if changed else "nothing"
    return Quantity(value, u95, "1"), f"the dial before, changed: {what}"


def _parts(
    old: DialGearing, new: DialGearing, *, with_driven: bool
) -> list[tuple[str, float | None, float | None]]:
    """Return name, old and new of everything the dial goes in proportion to."""

    def inverse(teeth: int | None) -> float | None:
        return None if teeth is None else 1.0 / teeth

    parts: list[tuple[str, float | None, float | None]] = [
        ("axle", old.axle_ratio, new.axle_ratio),
        ("drive gear", old.drive_teeth, new.drive_teeth),
        ("ratio adapter", old.ratio_adapter, new.ratio_adapter),
    ]
    if with_driven:
        parts.append(("driven gear", inverse(old.driven_teeth), inverse(new.driven_teeth)))
    return parts


def _tyre_ratio(old: Given | None, new: Given | None) -> Quantity | None:
    """Return old over new circumference, exactly 1 for the same tyre; None if one is not known."""
    if old is None or old == new:
        return _EXACT
    if new is None:
        return None
    value = old.value / new.value
    u95 = value * math.hypot((old.u95 or 0.0) / old.value, (new.u95 or 0.0) / new.value)
    return Quantity(value, u95, "1")


def _law(scale: Quantity, graduation_mps: float) -> DialLaw:
    u_offset = 0.5 * graduation_mps / COVERAGE_FACTOR_95
    u_bow = SOUND_BOW_GRADUATIONS * graduation_mps
    u_scale = scale.u95 / COVERAGE_FACTOR_95
    covariance = np.diag([u_offset**2, max(u_scale, 1e-9) ** 2, u_bow**2])
    return DialLaw(np.array([0.0, scale.value, 0.0]), covariance, 0.0, math.inf)
