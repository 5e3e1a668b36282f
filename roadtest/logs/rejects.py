"""Which rows of a file can't be used, and why."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from roadtest.logs.csv_cells import Bools
from roadtest.logs.model import Ints, Loss


class Rejects:
    """Which rows can't be used, and why: the first reason found is the one counted."""

    def __init__(self, lines: Ints) -> None:
        self._lines = lines
        self._reasons: list[str] = []
        self._reason = np.full(lines.size, -1, dtype=np.int16)

    def mark(self, rows: Bools, reason: str) -> None:
        """Refuse `rows` ([n] bool) for `reason`, but for those refused before."""
        fresh = rows & (self._reason < 0)
        if fresh.any():
            if reason not in self._reasons:
                self._reasons.append(reason)
            self._reason[fresh] = self._reasons.index(reason)

    @property
    def good(self) -> Bools:
        """The rows not refused, [n]."""
        good: Bools = self._reason < 0
        return good

    def losses(self) -> Mapping[str, Loss]:
        """Return how many rows each reason cost and where the first of them stands."""
        found: dict[str, Loss] = {}
        for index, reason in enumerate(self._reasons):
            lines = self._lines[self._reason == index]
            found[reason] = Loss(int(lines.size), f"line {int(lines.min())}")
        return found

    def summary(self) -> str:
        """Return the reasons in words, the costliest first."""
        losses = sorted(self.losses().items(), key=lambda item: -item[1].count)
        return ", ".join(f"{reason}: {loss.count}, first {loss.first}" for reason, loss in losses)
