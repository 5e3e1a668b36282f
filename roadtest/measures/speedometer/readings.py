"""What was read off the speedometer: from the notes, from the build sheet's list."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet, Speedometer
from roadtest.clock import Stretch, notes_in_utc
from roadtest.evidence import Evidence
from roadtest.quantity import COVERAGE_FACTOR_95
from roadtest.units import to_si

Floats = NDArray[np.float64]
Source = Literal["notes", "build sheet", "channel"]

USUAL_GRADUATION_MPS: Final = {"mph": to_si(2.0, "mph"), "km/h": to_si(5.0, "km/h")}
"""Of a dial whose graduation the sheet doesn't give (common practice, no published source)."""

_ROOT_12: Final = math.sqrt(12.0)


@dataclass(frozen=True)
class DialReading:
    """A speed read off the dial.

    `step_mps` is the smallest step it was read to: the dial may have shown anything within half a
    step either side, all of it as likely (rectangular). `u_mps` is given instead where somebody
    stated an uncertainty. `time_s` is on the drive's clock, None where nobody noted it.
    """

    shown_mps: float
    step_mps: float
    source: Source
    place: str  # "notes line 4", "number 3 of the list"
    time_s: float | None = None
    u_time_s: float = 0.0
    u_mps: float | None = None
    typed: bool = False  # in beside a hold: stands for whatever else goes with that hold

    @property
    def u_shown_mps(self) -> float:
        """Standard uncertainty of the reading: step / √12 of a rectangular one.

        Reference: JCGM 100:2008, 4.3.7 (rectangular distribution) [value from memory].
        """
        return self.step_mps / _ROOT_12 if self.u_mps is None else self.u_mps

    def doubt(self, count: int, rng: np.random.Generator) -> Floats:
        """Return `count` draws of what the dial showed less what was read, m/s."""
        if self.u_mps is not None:
            return rng.normal(0.0, self.u_mps, count)
        return rng.uniform(-0.5 * self.step_mps, 0.5 * self.step_mps, count)


def graduation_of(dial: Speedometer) -> float:
    """Return the dial's smallest division, m/s, the usual one where the sheet has none."""
    return dial.graduation_mps or USUAL_GRADUATION_MPS[dial.units]


def dial_readings(evidence: Evidence) -> tuple[DialReading, ...]:
    """Return the readings in the notes, in file order; without any, those of the build sheet.

    Those typed in beside holds come last, and don't make the build sheet's go.
    """
    found = tuple(_noted(evidence))
    noted = tuple(reading for reading in found if not reading.typed)
    typed = tuple(reading for reading in found if reading.typed)
    return (noted or tuple(_listed(evidence.sheet))) + typed


def _noted(evidence: Evidence) -> Iterator[DialReading]:
    if evidence.notes is None:
        return
    start_s = evidence.start_unix_s
    drive = Stretch(start_s, start_s + float(evidence.motion.time_s[-1]))
    # Notes come in UTC as a rule; those that don't are brought there.
    notes = notes_in_utc(evidence.notes, drive, evidence.sheet.utc_offset_s)
    graduation = graduation_of(evidence.sheet.speedometer)
    for note in notes.rows:
        if note.item != "indicated speed" or note.value is None:
            continue
        yield DialReading(
            shown_mps=note.value,
            # "62.5" was still read off 2 mph divisions; "60" was not read closer than to 1 mph.
            step_mps=max(graduation, note.resolution or 0.0),
            source="notes",
            # What was typed in says itself where it belongs.
            place=note.remark.partition(",")[0] if note.typed else f"{notes.name} line {note.line}",
            time_s=None if note.time_s is None else note.time_s - start_s,
            u_time_s=note.u_time_s,
            typed=note.typed,
        )


def _listed(sheet: BuildSheet) -> Iterator[DialReading]:
    graduation = graduation_of(sheet.speedometer)
    for number, speed in enumerate(sheet.indicated_speeds, start=1):
        yield DialReading(
            shown_mps=speed.value,
            step_mps=graduation,
            source="build sheet",
            place=f"number {number} of [indicated]",
            u_mps=None if speed.u95 is None else speed.u95 / COVERAGE_FACTOR_95,
        )
