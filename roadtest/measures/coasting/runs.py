"""Which coasts can be measured, and which belong together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.stretch import Stretch, cut_stretch
from roadtest.measures.windows import fix_count

TRIM_S: Final = 0.5  # at either end: the throttle shutting, the clutch, the finder's doubt
_LEAST_S: Final = 8.0
_LEAST_DROP_MPS: Final = 1.5
_LEAST_SPEED_MPS: Final = 2.0
# A run of the other way shares the road when it lies no further off than this; beyond it the
# hills under the two need not be the same (our choice).
_SAME_ROAD_M: Final = 100.0
_OPPOSITE_RAD: Final = np.radians(150.0)
_LEAST_OVERLAP: Final = 0.5
_LEAST_FIXES: Final = 4


def coast_runs(
    evidence: Evidence, gear_of: Mapping[str, int | None]
) -> tuple[tuple[Stretch, ...], dict[str, str]]:
    """Return the coasts to be measured, and why the others are not, by manoeuvre."""
    runs: list[Stretch] = []
    aside: dict[str, str] = {}
    for manoeuvre in evidence.manoeuvres:
        if manoeuvre.kind != "coast":
            continue
        run = cut_stretch(evidence, manoeuvre, (TRIM_S, TRIM_S), _LEAST_SPEED_MPS)
        why = _why_not(manoeuvre, run, gear_of.get(manoeuvre.id))
        if not why and run is not None and fix_count(evidence, run) < _LEAST_FIXES:
            why = f"too few fixes in it: at least {_LEAST_FIXES} needed"
        if why or run is None:
            aside[manoeuvre.id] = why
        else:
            runs.append(run)
    return tuple(runs), aside


def pairs(runs: tuple[Stretch, ...]) -> dict[str, str]:
    """Return each run's partner: the other way over (at least half of) the same road."""
    choices = [
        (_overlap(one, other), i, j)
        for i, one in enumerate(runs)
        for j, other in enumerate(runs[i + 1 :], start=i + 1)
        if abs(_turned(one.way_rad - other.way_rad)) >= _OPPOSITE_RAD
    ]
    partner: dict[str, str] = {}
    for overlap, i, j in sorted(choices, key=lambda choice: -choice[0]):
        one, other = runs[i].id, runs[j].id
        if overlap >= _LEAST_OVERLAP and one not in partner and other not in partner:
            partner[one], partner[other] = other, one
    return partner


def _why_not(manoeuvre: Manoeuvre, run: Stretch | None, gear: int | None) -> str:
    if not manoeuvre.used:
        return manoeuvre.why_not or "not used"
    if gear is not None and gear > 0:
        return f"in gear {gear}: overrun, not free rolling"
    if run is None or run.duration_s < _LEAST_S:
        return f"shorter than {_LEAST_S:g} s of steady coasting"
    if run.speed_mps[0] - run.speed_mps[-1] < _LEAST_DROP_MPS:
        return "speed fell too little to tell what holds the car back"
    return ""


def _turned(angle_rad: float) -> float:
    """Return the angle between -π and π."""
    return float((angle_rad + np.pi) % (2.0 * np.pi) - np.pi)


def _overlap(one: Stretch, other: Stretch) -> float:
    """Return the smaller of the shares of either run that lie on the other's road."""

    def share(these: Stretch, those: Stretch) -> float:
        gap = np.hypot(
            these.east_m[::5, None] - those.east_m[None, ::5],
            these.north_m[::5, None] - those.north_m[None, ::5],
        ).min(axis=1)
        return float(np.mean(gap < _SAME_ROAD_M))

    return min(share(one, other), share(other, one))
