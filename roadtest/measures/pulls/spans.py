"""Which speeds a pull is timed between, and the time in each draw."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.targets import StandingLimit, ThroughLimit
from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.pulls.crossing import Path, fine_path, steady_rise
from roadtest.measures.pulls.lull import lull_s
from roadtest.measures.smoothing import unsmoothed
from roadtest.units import to_si

Floats = NDArray[np.float64]
Span = tuple[float, float]  # from and to, m/s

MARGIN_S: Final = 1.0
_STANDING: Final = {"mph": (30.0, 50.0, 60.0), "km/h": (50.0, 100.0)}
_STEPS: Final = {"mph": 10.0, "km/h": 20.0}


def pull_path(
    evidence: Evidence,
    manoeuvre: Manoeuvre,
    smoothing_s: Floats | None = None,
    *,
    in_one_gear: bool = False,
) -> Path | None:
    """Return the pull's path with a margin at its start, up to where speed is highest.

    smoothing_s : [c], the receiver's, to be taken out
    in_one_gear : a lull is no change of gear, so it ends the pull

    None where nothing was drawn. A crossing wants to be seen on both sides, so the path runs on
    past the pull's end where speed still rises.
    """
    draws = evidence.draws.get(manoeuvre.id)
    if draws is None:
        return None
    if smoothing_s is not None:
        draws = unsmoothed(draws, smoothing_s)
    path = fine_path(draws, manoeuvre.start_s - MARGIN_S, manoeuvre.end_s + MARGIN_S)
    if path.time_s.size < 3:
        return None
    mean = path.speed_mps.mean(axis=0)
    if in_one_gear:
        lull = lull_s(path.time_s, mean, (manoeuvre.start_s, manoeuvre.end_s))
        mean = np.where(path.time_s <= lull, mean, -np.inf)
    top = int(np.argmax(mean)) + 1
    return Path(path.time_s[:top], path.speed_mps[:, :top], path.distance_m[:, :top])


def spans_covered(path: Path, start_s: float, units: str, wanted: Sequence[Span]) -> list[Span]:
    """Return what the pull is timed between: its widest whole steps, each step, and `wanted`.

    Steps are of 10 mph or 20 km/h. Only those that nearly every draw passes.
    """
    low, high = speed_range(path, start_s)
    step = to_si(_STEPS[units], units)
    marks = [k * step for k in range(int(low // step) + 1, int(high // step) + 1)]
    spans = [(marks[0], marks[-1])] if len(marks) > 2 else []
    spans += list(pairwise(marks))
    covered = [span for span in wanted if low <= span[0] and span[1] <= high]
    known = {_key(span) for span in spans}
    return spans + [span for span in covered if _key(span) not in known]


def speed_range(path: Path, start_s: float) -> Span:
    """Return the speeds between which the pull runs, in at least 97.5 % of its draws.

    What speed did before the throttle was opened is no part of it: steady driving may well have
    crossed a level that the pull began above.
    """
    begin = min(int(np.searchsorted(path.time_s, start_s)), path.time_s.size - 1)
    low = float(np.quantile(path.speed_mps[:, begin], 0.975))
    return low, float(np.quantile(path.speed_mps[:, -1], 0.025))


def span_times(path: Path, span: Span) -> Floats:
    """Return the time between two speeds, [c] s."""
    return steady_rise(path, span[1]) - steady_rise(path, span[0])


def through_spans(sheet: BuildSheet, gear: int | None) -> list[Span]:
    """Return the spans that targets ask for in this gear; in any, where it is not known."""
    limits = [t.value for t in sheet.targets.named("through") if isinstance(t.value, ThroughLimit)]
    return [(v.from_mps, v.to_mps) for v in limits if gear in (v.gear, None)]


def standing_speeds(sheet: BuildSheet) -> list[float]:
    """Return the speeds that standing starts are timed to, m/s, rising."""
    named = [to_si(speed, sheet.units) for speed in _STANDING[sheet.units]]
    targets = [
        t.value.to_mps
        for t in sheet.targets.named("standing")
        if isinstance(t.value, StandingLimit)
    ]
    known = {round(speed, 3) for speed in named}
    return sorted(named + list({t for t in targets if round(t, 3) not in known}))


def _key(span: Span) -> tuple[float, float]:
    return round(span[0], 3), round(span[1], 3)
