"""What charts are read out of, and the words and units they share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from roadtest.build_sheet import BuildSheet
from roadtest.charts.model import DASHES, MARKERS, SERIES, Axis, Dash, Marker, Role, Span
from roadtest.evidence import Evidence
from roadtest.measures.traces import Traces
from roadtest.quantity import COVERAGE_FACTOR_95, Floats, Quantity
from roadtest.results import Finding, Gap, Limit, Manoeuvre, ReadIn, Results
from roadtest.units import from_si
from roadtest.wording import in_read_unit, limit_text, quantity_text

TIME: Final = "time into the drive"
SPEED: Final = "road speed"
_MARGIN: Final = 0.02  # of a drive, before its start and after its end
MOST_TOLD_APART: Final = 12  # series with a colour and a dash of their own; more are alike


@dataclass(frozen=True)
class Source:
    """One checked drive, as every builder gets it."""

    results: Results
    evidence: Evidence
    traces: Traces = field(default_factory=Traces)

    @property
    def units(self) -> ReadIn:
        """What people read."""
        return self.results.units

    @property
    def sheet(self) -> BuildSheet:
        """The build sheet."""
        return self.evidence.sheet

    def speeds(self, speed_mps: Floats) -> Floats:
        """Return speeds in the unit people read."""
        return np.asarray(from_si(np.asarray(speed_mps, dtype=np.float64), self.units))

    def speed(self, speed_mps: float) -> float:
        """Return one speed in the unit people read."""
        return float(from_si(speed_mps, self.units))

    def speed_axis(self, title: str = "Speed", *, from_zero: bool = True) -> Axis:
        """Return an axis of road speed; those that lie across can be zoomed together."""
        return Axis(title, self.units, from_zero=from_zero, shared=SPEED)

    def time_axis(self) -> Axis:
        """Return the axis of time into the drive, which many charts share: as long as the drive."""
        time_s = self.evidence.motion.time_s
        start, end = float(time_s[0]), float(time_s[-1])
        more = max(_MARGIN * (end - start), 0.5)
        ends = (start - more, end + more)
        return Axis("Time into the drive", "min:s", ends, scale="clock", shared=TIME)

    def say(self, figure: Quantity | None, *, percent: bool = False, signed: bool = False) -> str:
        """Return a figure with its interval, as people read it."""
        return quantity_text(figure, self.units, percent=percent, signed=signed)

    def say_limit(self, limit: Limit, *, percent: bool = False) -> str:
        """Return a limit in words, as people read it."""
        return limit_text(limit, self.units, percent=percent)

    def finding(self, finding_id: str) -> Finding | None:
        """Return the finding of that name, None without one."""
        return next((f for f in self.results.findings if f.id == finding_id), None)

    def findings(self, *ids: str) -> tuple[str, ...]:
        """Return those of `ids` that were judged."""
        judged = {finding.id for finding in self.results.findings}
        return tuple(name for name in ids if name in judged)

    def used(self, kind: str) -> tuple[Manoeuvre, ...]:
        """Return the manoeuvres of one kind that were used."""
        return tuple(m for m in self.results.manoeuvres if m.kind == kind and m.used)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without fixes of the logs that the speed came from."""
        logs = [log for log in self.results.logs if log.speed_source is not None]
        return tuple(gap for log in logs for gap in log.gaps)

    def spans(self, *, named: bool = True) -> tuple[Span, ...]:
        """Return the manoeuvres that were used as regions of a time axis."""
        return tuple(
            Span(m.start_s, m.end_s, m.id if named else "", m.kind, m.id)
            for m in self.results.manoeuvres
            if m.used
        )

    def gap_spans(self) -> tuple[Span, ...]:
        """Return the gaps as regions of a time axis."""
        return tuple(Span(gap.start_s, gap.end_s, "no fixes") for gap in self.gaps)

    def broken(self, time_s: Floats, *curves: Floats) -> tuple[Floats, ...]:
        """Return times and curves with a NaN in every gap, so that no line leads across it."""
        at = []
        for gap in self.gaps:
            k = int(np.searchsorted(time_s, 0.5 * (gap.start_s + gap.end_s)))
            if 0 < k < time_s.size:
                at.append(k)
        return (np.insert(time_s, at, time_s[at]), *(np.insert(c, at, np.nan) for c in curves))


def u95(standard: Floats) -> Floats:
    """Return half-widths of 95 % intervals of standard uncertainties."""
    return np.asarray(COVERAGE_FACTOR_95 * standard)


def values(quantities: Sequence[Quantity | None]) -> tuple[Floats, Floats]:
    """Return values and half-widths [n] of quantities, NaN and 0 where there is none."""
    pairs = [(np.nan, 0.0) if q is None else (q.value, q.u95) for q in quantities]
    table = np.array(pairs, dtype=np.float64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def read_values(quantities: Sequence[Quantity | None], units: ReadIn) -> tuple[Floats, Floats, str]:
    """Return values and half-widths [n] in the unit people read, and that unit."""
    read = [None if q is None else in_read_unit(q, units) for q in quantities]
    unit = next((q.unit for q in read if q is not None), "")
    return (*values(read), unit)


def looks(count: int) -> Iterator[tuple[Role, Dash, Marker]]:
    """Yield a colour, a dash and a marker for each of `count` series, no two pairs alike at first.

    With more than can be told apart they repeat; then each one's name has to do.
    """
    for k in range(count):
        lap = k // len(SERIES)
        yield SERIES[k % len(SERIES)], DASHES[(k + lap) % len(DASHES)], MARKERS[k % len(MARKERS)]


def counted(count: int, noun: str) -> str:
    """Return "1 hold" or "5 holds"."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def listed(parts: Sequence[str]) -> str:
    """Return "a, b and c"."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
