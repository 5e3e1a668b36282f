"""The road that a planned drive is on: straight, there and back, and not quite level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRADE_SD: Final = 0.005
"""Standard deviation of grade. A road for coast-downs is to be within 0.5 % (SAE J1263; value from
memory); what the measure of coasting expects of roads before it has seen one."""

_RIPPLES: Final = ((370.0, 0.4), (890.0, 2.1), (1730.0, 4.4))  # length in m, phase; our choice


@dataclass(frozen=True)
class Hills:
    """Heights along a road: ripples of three lengths, alike in grade."""

    grade_sd: float = GRADE_SD

    def grade_at(self, way_m: float) -> float:
        """Return the grade at a place, seen in the direction of growing `way_m`."""
        each = self.grade_sd * math.sqrt(2.0 / len(_RIPPLES))
        return sum(
            each * math.cos(2.0 * math.pi * way_m / length + phase) for length, phase in _RIPPLES
        )

    def height_m(self, way_m: Floats) -> Floats:
        """Return the heights at places [n]: the grade's integral."""
        each = self.grade_sd * math.sqrt(2.0 / len(_RIPPLES))
        height = np.zeros_like(way_m)
        for length, phase in _RIPPLES:
            number = 2.0 * math.pi / length
            height += each / number * np.sin(number * way_m + phase)
        return height
