"""Counting what could not be used, by reason, with the place of the first."""

from __future__ import annotations

from dataclasses import dataclass, field

from roadtest.logs.model import Loss


@dataclass
class Tally:
    """Counts with the place of the first, by reason."""

    counts: dict[str, Loss] = field(default_factory=dict)

    def add(self, reason: str, line: int, count: int = 1) -> None:
        """Count `count` more, the first of which stands on `line`."""
        before = self.counts.get(reason)
        if before is None:
            self.counts[reason] = Loss(count, f"line {line}")
        else:
            self.counts[reason] = Loss(before.count + count, before.first)
