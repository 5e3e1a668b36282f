"""Changes to the speedometer in words, and as the results have them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from roadtest.measures.speedometer.corrections import Advised, Outcome
from roadtest.quantity import Quantity
from roadtest.results import Change, Correction, ReadIn, Verdict
from roadtest.units import MILE_M, from_si
from roadtest.wording import (
    VERDICT_WORD,
    number_text,
    pair_text,
    probability_text,
    quantity_text,
)

_WORTH_IT: Final = 0.8  # without a target, a change must bring the error down at least this much


def as_corrections(advised: Advised, units: ReadIn) -> tuple[Correction, ...]:
    """Return the changes worth telling, the best first.

    With a target: none where the dial as it is will do; else every way there is, with what it would
    come to. Without one: those that make the error smaller.
    """
    present = advised.present
    if present.probability is not None:
        told = () if present.will_do else advised.changes
    else:
        most = _WORTH_IT * present.rms_mps
        told = tuple(outcome for outcome in advised.changes if outcome.rms_mps < most)
    return tuple(_correction(outcome, units) for outcome in told)


def advice(advised: Advised, rule: str, units: ReadIn) -> str:
    """Return what to do about the dial in a sentence or two; `rule` names the target, "" none."""
    present = advised.present
    told = as_corrections(advised, units)
    if present.probability is None:
        return f"To bring the error down: {told[0].note}." if told else ""
    if present.will_do:
        chance = probability_text(present.probability)
        return f"Leave it as it is: inside {rule} with a probability of {chance}."
    if not told:
        return (
            f"The dial is inside {rule} with a probability of "
            f"{probability_text(present.probability)}, and the build sheet names nothing that "
            "could be changed (gears or adapters to be had, a setting, a needle to re-set)."
        )
    best = advised.changes[0]
    if best.will_do:
        return f"To bring it inside {rule}: {told[0].note}."
    said = f"Nothing that can be had brings the dial inside {rule} for sure"
    if best.probability is not None and best.probability > present.probability:
        return f"{said}; nearest to it: {told[0].note}."
    return f"{said}, and leaving it as it is comes nearest."


def _correction(outcome: Outcome, units: ReadIn) -> Correction:
    first, *rest = outcome.option.parts
    findings: dict[str, Verdict] = {}
    if outcome.verdict is not None:
        findings["speedometer"] = outcome.verdict
    if outcome.odometer is not None:
        findings["odometer"] = outcome.odometer
    return Correction(
        kind=first.kind,
        present=first.present,
        advised=first.advised,
        scale_after=outcome.scale,
        findings_after=findings,
        also=rest[0] if rest else None,
        errors_after=outcome.errors,
        probability=outcome.probability,
        note=_sentence(outcome, findings, units),
    )


def _sentence(outcome: Outcome, findings: Mapping[str, Verdict], units: ReadIn) -> str:
    what = " and ".join(_change_text(part, units) for part in outcome.option.parts)
    said = [what, f"dial / true then {pair_text(outcome.scale)}"]
    at = max(outcome.errors, key=lambda error: abs(error.error.value), default=None)
    if at is not None:
        speed = quantity_text(at.speed, units)
        said.append(f"error {quantity_text(at.error, units, signed=True)} at a true {speed}")
    said += [f"{name} then {VERDICT_WORD[verdict]}" for name, verdict in findings.items()]
    if outcome.probability is not None:
        said.append(f"probability of lying inside {probability_text(outcome.probability)}")
    return ", ".join(said)


def _change_text(change: Change, units: ReadIn) -> str:
    advised = 0.0 if change.advised is None else change.advised
    now = "none" if change.present is None else number_text(change.present, 6)
    if change.kind == "driven_teeth":
        return f"driven gear of {advised} teeth in place of {now}"
    if change.kind == "drive_teeth":
        return f"drive gear of {advised} teeth in place of {now}"
    if change.kind == "ratio_adapter":
        return f"ratio adapter {number_text(advised)} in place of {now}"
    if change.kind == "pulses_per_km":
        per_mile = f" ({number_text(advised * MILE_M / 1000.0, 5)} per mile)"
        return f"setting of {advised} pulses per km{per_mile} in place of {now}"
    if change.kind == "turns_per_mile":
        return f"head recalibrated for {advised} turns per mile in place of {now}"
    way = "up" if advised > 0.0 else "down"
    size = Quantity(abs(from_si(advised, units)), 0.0, units)
    return f"needle set {number_text(size.value)} {size.unit} {way}"
