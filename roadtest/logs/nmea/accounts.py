"""What a log loses on the way, by reason."""

from __future__ import annotations

from typing import Final

from roadtest.logs.model import Ints, Loss

# These count sentences; every other reason counts fixes.
SENTENCE_REASONS: Final = (
    "bad checksum",
    "no checksum",
    "cut off sentence",
    "too few fields",
    "no time",
    "unreadable time",
)


class Accounts:
    """How much was lost, and where in the file first, by reason."""

    def __init__(self) -> None:
        self._count: dict[str, int] = {}
        self._first: dict[str, int] = {}

    def add(self, reason: str, places: Ints) -> None:
        """Count what stands at `places` ([n] int, bytes from the start of the file)."""
        if places.size:
            first = int(places.min())
            self._count[reason] = self._count.get(reason, 0) + int(places.size)
            self._first[reason] = min(self._first.get(reason, first), first)

    @property
    def counts(self) -> dict[str, int]:
        """How many of each reason."""
        return dict(self._count)

    def losses(self, data: bytes) -> dict[str, Loss]:
        """Return the losses, each with the line of `data` on which the first one stands."""
        # A file with bare carriage returns has lines too.
        line_end = b"\n" if b"\n" in data else b"\r"
        return {
            reason: Loss(count, f"line {data.count(line_end, 0, self._first[reason]) + 1}")
            for reason, count in self._count.items()
        }

    def summary(self) -> str:
        """Return the reasons in words, the most frequent first."""
        ranked = sorted(self._count.items(), key=lambda item: -item[1])
        return ", ".join(f"{reason}: {count}" for reason, count in ranked)
