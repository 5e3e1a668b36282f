"""A crew that reads a simulated car's dials: what they note, and what was really true then."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from roadtest.evidence import Evidence
from roadtest.logs.model import Note, Notes
from tests.evidence_from_truth import evidence_from
from tests.simulation.ensembles import random_holds
from tests.simulation.receiver import Receiver
from tests.simulation.truth import Truth

MPH = 0.44704
SPEEDS_MPS = (13.4, 17.9, 22.4, 26.8, 31.3)
SHEET = """
units = "mph"
[speedometer]
graduation = "2 mph"
"""

Dial = Callable[[float], float]  # true speed to shown speed, m/s


@dataclass(frozen=True)
class Looked:
    """One look at the dial during a hold; times are on the truth's clock."""

    held_mps: float  # what the driver aimed at
    true_mps: float  # over the look
    read_mps: float
    noted_s: float


def look(
    truth: Truth, dial: Dial, graduation_mps: float, rng: np.random.Generator
) -> tuple[Looked, ...]:
    """Return a look at each hold, at any moment of it, read to the nearest graduation.

    A look takes 2 s, needle and eye together. The note's time is good to 5 s (95 %).
    """
    looks = []
    for hold in truth.of_kind("hold"):
        at = float(rng.uniform(hold.start_s + 1.0, hold.end_s - 1.0))
        true = truth.mean_speed_mps(at - 1.0, at + 1.0)
        read = graduation_mps * round(dial(true) / graduation_mps)
        looks.append(
            Looked(hold.figures["target_mps"], true, read, at + float(rng.normal(0.0, 5.0 / 1.96)))
        )
    return tuple(looks)


def noted(truth: Truth, looks: Sequence[Looked], *, timed: bool = True) -> Notes:
    """Return the looks as notes, with the times noted or without any."""
    return Notes(
        "notes.csv",
        tuple(
            speed_note(line, one.read_mps, truth.start_utc_s + one.noted_s if timed else None)
            for line, one in enumerate(looks, start=2)
        ),
    )


def speed_note(line: int, shown_mps: float, time_s: float | None) -> Note:
    """Return a note of an indicated speed, written in whole mph."""
    clock = None if time_s is None else "utc"
    return Note(line, "indicated speed", clock, time_s, shown_mps, "", MPH, "")  # type: ignore[arg-type]


def read_drive(
    seed: int,
    dial: Dial,
    receiver: Receiver | None = None,
    *,
    sheet: str = SHEET,
    graduation_mps: float = 2.0 * MPH,
    with_speed: bool = True,
    timed: bool = True,
) -> tuple[Truth, tuple[Looked, ...], Evidence]:
    """Return a drive with five holds, the looks at its dial, and the evidence with the notes."""
    truth = random_holds(seed, SPEEDS_MPS)
    looks = look(truth, dial, graduation_mps, np.random.default_rng([seed, 17]))
    evidence = evidence_from(
        truth,
        receiver,
        seed,
        sheet=sheet,
        notes=noted(truth, looks, timed=timed),
        with_speed=with_speed,
    )
    return truth, looks, evidence
