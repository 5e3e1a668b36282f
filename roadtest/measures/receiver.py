"""How the receiver smooths what it shows: told once, for all measures."""

from __future__ import annotations

from typing import Final

import numpy as np

from roadtest.evidence import Evidence
from roadtest.measures.course_smoothing import smooths_course
from roadtest.measures.smoothing import receiver_smoothing
from roadtest.motion.smoothed import Smoothed

_SEED_TAG: Final = 421
_DRAWS: Final = 200


def smoothed_by_receiver(evidence: Evidence) -> Smoothed:
    """Return how the receiver smooths what it shows, as the stops and bends of a drive tell.

    From every stop to rest, left out by hand or not: what is left out there says nothing of the
    receiver. What the evidence has of it already is taken over.
    """
    if evidence.smoothed is not None:
        return evidence.smoothed
    stops = [
        made
        for made in evidence.manoeuvres
        if made.kind == "stop" and made.to_rest and (made.used or made.left_out)
    ]
    rng = np.random.default_rng([evidence.seed, _SEED_TAG])
    time_s = receiver_smoothing(evidence, stops, _DRAWS, rng)
    chance = smooths_course(evidence, float(time_s.mean()))
    return Smoothed(time_s, rng.random(_DRAWS) < chance)
