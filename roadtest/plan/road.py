"""The road that a planned drive is on: straight, there and back, and not quite level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRADE_SD: Final = 0.005
"""Standard deviation of grade. A road for coast-downs is to be within 0.5 % (SAE J1263; value from
memory); what the measure of coasting expects of roads before it has seen one."""

_REACHES_M: Final = (200.0, 500.0, 1200.0)  # over which heights are alike: as that measure expects
_WAVES: Final = 40


@dataclass(frozen=True)
class Hills:
    """Heights along a road: a random field as the measure of coasting expects, by `seed`.

    A sum of waves whose numbers are drawn from the field's spectrum: that of a Matérn 5/2 field of
    reach ℓ is Student's t of five degrees of freedom over ℓ, and the field has the grade's variance
    for heights of variance 0.6·(ℓ·s)².

    Reference: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning,
    section 4.2.1 (value from memory).
    """

    grade_sd: float = GRADE_SD
    seed: int = 0

    def grade_at(self, way_m: float) -> float:
        """Return the grade at a place, seen in the direction of growing `way_m`."""
        size, per_m, phase = self._waves
        return float(-(size * per_m) @ np.sin(per_m * way_m + phase))

    def height_m(self, way_m: Floats) -> Floats:
        """Return the heights at places [n]: the grade's integral, straight between metres."""
        first, last = math.floor(float(way_m.min())), math.ceil(float(way_m.max()))
        marks = np.arange(first, last + 1, dtype=np.float64)
        height = np.zeros_like(marks)
        for size, per_m, phase in zip(*self._waves, strict=True):
            height += size * np.cos(per_m * marks + phase)
        return np.interp(way_m, marks, height)

    @cached_property
    def _waves(self) -> tuple[Floats, Floats, Floats]:
        """Height (m), number (rad/m) and phase of each wave, [w] each."""
        rng = np.random.default_rng([self.seed, 10])
        reach = _REACHES_M[self.seed % len(_REACHES_M)]
        per_m = rng.standard_t(5.0, _WAVES) / reach
        size = math.sqrt(0.6) * reach * self.grade_sd * math.sqrt(2.0 / _WAVES)
        return np.full(_WAVES, size), per_m, rng.uniform(0.0, 2.0 * math.pi, _WAVES)
