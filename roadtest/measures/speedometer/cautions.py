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
    for reading in read:
        yield from _units(reading)
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


def _units(reading: Reading) -> Iterator[str]:
    true, indicated = reading.true, reading.indicated
    if true is None or indicated is None or true.value <= 0.0:
        return
    ratio = indicated.value / true.value
    if not 1.0 / _OTHER_UNITS <= ratio <= _OTHER_UNITS:
        yield (
            f"{reading.manoeuvre}: the dial showed {ratio:.2f} times the true speed "
            f"({reading.note}): were km/h and mph mixed up, or the figure miswritten?"
        )


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
