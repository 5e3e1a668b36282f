"""Which runs may have been out of gear where no tach tells.

An engine on the overrun slows a car just as a dragging brake or a tight bearing does: its friction
has a constant part and one that grows with speed, as rolling resistance has. So smoothness can't
tell the two, and a gentle engine in a high gear stays within what tyres do. What can be told: runs
that slow more than any free car, or less, and runs that slow harder than another of the same drive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from roadtest.evidence import Evidence
from roadtest.measures.coasting.model import Fit
from roadtest.measures.gearing.noted import drive_time
from roadtest.measures.stretch import Stretch
from roadtest.quantity import COVERAGE_FACTOR_95, SURE, Quantity
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

# Twice what handbooks give cross-ply tyres at speed (0.0188, J. Y. Wong), and less than the freest
# car tyres have (0.006) [values from memory].
_MOST_FREE: Final = 0.04
_LEAST_FREE: Final = 0.005


@dataclass(frozen=True)
class RunLoad:
    """What one run shows by itself, the doubt about its grade and wind in it."""

    coefficient: Quantity
    beta: Floats  # draws [c, 3] of the deceleration's terms
    low_mps: float
    high_mps: float

    @classmethod
    def of(cls, run: Stretch, fit: Fit, factor: Floats) -> RunLoad:
        """Return the load of a run; `factor` is effective mass over mass, draws [c]."""
        coefficient = Quantity.from_draws(fit.beta[:, 0] * factor / STANDARD_GRAVITY_MPS2, "1")
        assert coefficient is not None  # draws of a Gaussian are finite
        return cls(coefficient, fit.beta, float(run.speed_mps.min()), float(run.speed_mps.max()))

    def deceleration(self, speed_mps: float) -> Quantity:
        """Return the deceleration on the level in still air at a speed."""
        draws = self.beta @ np.array([1.0, speed_mps, speed_mps**2])
        found = Quantity.from_draws(draws, "m/s²")
        assert found is not None
        return found


def not_free(loads: Mapping[str, RunLoad], free: frozenset[str]) -> dict[str, str]:
    """Return why runs can't have been out of gear, by manoeuvre; those in `free` are known to be.

    A run is compared with the one that slows least for certain: what engines add is never less
    than nothing.
    """
    doubtful = {name: load for name, load in loads.items() if name not in free}
    aside = {name: why for name, load in doubtful.items() if (why := _beyond(load))}
    rest = {name: load for name, load in loads.items() if name not in aside}
    compared = doubtful.keys() & rest.keys()
    reach = _reach(len(compared) * (len(rest) - 1))
    for name in compared:
        for other, load in rest.items():
            if other != name and _harder(rest[name], load, reach):
                aside[name] = f"slows harder than {other} for certain: in gear, or a brake on"
    return aside


def _beyond(load: RunLoad) -> str:
    if load.coefficient.low > _MOST_FREE:
        return "slows harder than free rolling would, even with poor tyres: in gear, or a brake on"
    if load.coefficient.high < _LEAST_FREE:
        return "slows less than the freest tyres would: driven along, or down a hill"
    return ""


def _reach(comparisons: int) -> float:
    """Return by how many half-widths runs must differ for all comparisons together to be sure.

    Reference: Bonferroni's inequality; each comparison looks one way.
    """
    return float(ndtri(1.0 - (1.0 - SURE) / max(comparisons, 1))) / COVERAGE_FACTOR_95


def _harder(one: RunLoad, other: RunLoad, reach: float) -> bool:
    """Return whether `one` slows harder than `other` for certain, at a speed that both had."""
    low, high = max(one.low_mps, other.low_mps), min(one.high_mps, other.high_mps)
    if low > high:
        return False
    middle = 0.5 * (low + high)
    harder, least = one.deceleration(middle), other.deceleration(middle)
    # The two runs' errors are their own.
    return harder.value - least.value > reach * float(np.hypot(harder.u95, least.u95))


def with_noted_gears(
    evidence: Evidence, gear_of: Mapping[str, int | None]
) -> dict[str, int | None]:
    """Return `gear_of` with the gears that the crew noted (N is 0) while coasting added."""
    known = dict(gear_of)
    if evidence.notes is None:
        return known
    for note in evidence.notes.rows:
        when = drive_time(note, evidence) if note.item == "gear" else None
        if when is None or note.value is None:
            continue
        for made in evidence.manoeuvres:
            # A time noted by hand is off; who writes N near a coast means it, who writes 4 just
            # before may well have left it.
            late = COVERAGE_FACTOR_95 * note.u_time_s if note.value == 0.0 else 0.0
            near = made.start_s - late <= when <= made.end_s + late
            if made.kind == "coast" and near and known.get(made.id) is None:
                known[made.id] = int(note.value)
    return known
