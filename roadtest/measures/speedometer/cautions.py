"""What a reader of the speedometer's figures must know beside them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from scipy.special import chdtrc

from roadtest.build_sheet import BuildSheet
from roadtest.measures.speedometer.dial_law import DialFit
from roadtest.measures.speedometer.readings import USUAL_GRADUATION_MPS
from roadtest.measures.speedometer.target import DialTarget
from roadtest.quantity import Quantity
from roadtest.results import Reading
from roadtest.wording import quantity_text

_UNLIKELY_SCATTER: Final = 0.01  # probability by chance below which scatter is told

_MOST_NAMED: Final = 3  # readings

_OTHER_UNITS: Final = 1.27
"""Dial over true speed, or its inverse, from which km/h may have been taken for mph or the other
way round: the middle between right and 1.609, √1.609."""


def cautions(
    sheet: BuildSheet,
    readings: Sequence[Reading],
    fit: DialFit | None,
    target: DialTarget | None,
) -> Iterator[str]:
    """Yield the cautions that apply, a sentence each."""
    dial = sheet.speedometer
    read = [reading for reading in readings if reading.error is not None]
    if dial.drive == "gps":
        yield (
            "a GPS speedometer takes its speed from the satellites as this log does: what both "
            "have wrong together can't show, so this is no independent check of it"
        )
    if read and dial.graduation_mps is None and any(r.source != "channel" for r in read):
        step = quantity_text(Quantity(USUAL_GRADUATION_MPS[dial.units], 0.0, "m/s"), dial.units)
        yield f"the build sheet doesn't give the dial's graduation; taken as {step}"
    if read and fit is None:
        yield (
            "scale and offset can't be told apart from holds at one speed: hold two speeds or "
            "more, well apart"
        )
    if fit is not None:
        yield from _scatter(fit)
    if target is not None and read:
        missing = "; ".join(target.rule.not_shown)
        if missing:
            yield f"a road drive does not show {missing}"


def doubt(readings: Sequence[Reading]) -> str:
    """Return what to look at before the dial is judged: readings that no dial gives; else ""."""
    odd = [(reading, ratio) for reading in readings if (ratio := _odd_ratio(reading)) is not None]
    if not odd:
        return ""
    ratios = [f"{ratio:.2f}" for _, ratio in odd]
    low, high = min(ratios), max(ratios)
    times = low if low == high else f"{low} to {high}"
    where = "; ".join(f"{reading.note}, {reading.manoeuvre}" for reading, _ in odd[:_MOST_NAMED])
    more = len(odd) - _MOST_NAMED
    return (
        f"Look at the dial readings before anything is changed: {times} "
        "times the true speed was noted "
        f"({where}{f' and {more} more' if more > 0 else ''}): were "
        "km/h and mph mixed up, or is it miswritten?"
    )


def _odd_ratio(reading: Reading) -> float | None:
    """Return dial over true speed where no dial is off by as much, else None."""
    true, indicated = reading.true, reading.indicated
    if true is None or indicated is None or true.value <= 0.0:
        return None
    ratio = indicated.value / true.value
    return None if 1.0 / _OTHER_UNITS <= ratio <= _OTHER_UNITS else ratio


def _scatter(fit: DialFit) -> Iterator[str]:
    line = fit.line
    if line.chi_square is None or line.degrees_of_freedom == 0:
        return
    chance = float(chdtrc(line.degrees_of_freedom, line.chi_square))
    bent = fit.bend is not None and fit.bend.p_value < _UNLIKELY_SCATTER
    if chance < _UNLIKELY_SCATTER and not bent:
        yield (
            "the readings lie further off a straight line than reading the dial explains: an "
            "unsteady needle, or a figure miswritten"
        )
