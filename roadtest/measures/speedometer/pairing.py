"""The dial readings of a drive, each with the hold it was taken in, or with why it has none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.speedometer.matching import (
    SURE_ENOUGH,
    HoldSpeeds,
    chances_by_time,
    chances_in_order,
)
from roadtest.measures.speedometer.readings import DialReading
from roadtest.quantity import Quantity
from roadtest.results import ReadIn
from roadtest.wording import probability_text, quantity_text

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pairing:
    """Readings by the id of their hold, and what is to be said of those that have none."""

    of_hold: dict[str, tuple[DialReading, ...]]
    notes: tuple[str, ...]


def pair(
    readings: Sequence[DialReading],
    holds: Sequence[Manoeuvre],
    speeds: HoldSpeeds,
    drive_s: float,
    units: ReadIn,
) -> Pairing:
    """Return each reading with its hold: by the time noted, the others by their order.

    Readings without a time are matched with the holds that no timed reading has. One typed in
    beside a hold then takes the place of whatever went with it; of several the last.
    """
    typed = [reading for reading in readings if reading.typed]
    readings = [reading for reading in readings if not reading.typed]
    found: dict[str, list[DialReading]] = {}
    notes: list[str] = []
    homeless: list[str] = []
    for reading in (reading for reading in readings if reading.time_s is not None):
        chances = chances_by_time(reading.time_s or 0.0, reading.u_time_s, speeds, drive_s)
        _settle(reading, chances, holds, found, notes, homeless, units)
    listed = [reading for reading in readings if reading.time_s is None]
    free = np.array([k for k, hold in enumerate(holds) if hold.id not in found], dtype=np.int64)
    rest = HoldSpeeds(
        speeds.start_s[free], speeds.end_s[free], speeds.speed_mps[free], speeds.u_speed_mps[free]
    )
    shown = np.array([reading.shown_mps for reading in listed])
    u_shown = np.array([reading.u_shown_mps for reading in listed])
    for reading, chances in zip(listed, chances_in_order(shown, u_shown, rest), strict=True):
        _settle(reading, chances, [holds[k] for k in free], found, notes, homeless, units)
    for reading in typed:
        alone: dict[str, list[DialReading]] = {}
        chances = chances_by_time(reading.time_s or 0.0, reading.u_time_s, speeds, drive_s)
        _settle(reading, chances, holds, alone, notes, homeless, units)
        found |= alone
    if homeless:
        one = len(homeless) == 1
        notes.append(
            f"{'; '.join(homeless)}: {'belongs' if one else 'these belong'} to no hold that was "
            f"found; {'it is' if one else 'they are'} not used"
        )
    return Pairing({hold: tuple(taken) for hold, taken in found.items()}, tuple(notes))


def _settle(
    reading: DialReading,
    chances: Floats,
    holds: Sequence[Manoeuvre],
    found: dict[str, list[DialReading]],
    notes: list[str],
    homeless: list[str],
    units: ReadIn,
) -> None:
    """Pair a reading with a hold that has nearly all the weight, or say why not."""
    said = quantity_text(Quantity(reading.shown_mps, 0.0, "m/s"), units)
    what = f"{reading.place}: {said} on the dial"
    order = np.argsort(-chances)
    if chances.size and chances[order[0]] >= SURE_ENOUGH:
        found.setdefault(holds[int(order[0])].id, []).append(reading)
        return
    likely = [k for k in order.tolist() if chances[k] >= 1.0 - SURE_ENOUGH]
    if not likely:
        homeless.append(what)
        return
    named = " or ".join(f"{holds[k].id} ({probability_text(chances[k])})" for k in likely[:3])
    notes.append(
        f"{what} may belong to {named}; not guessed: note the time, or enter it on the page"
    )
