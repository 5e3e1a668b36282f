"""The paths of all stops, for every way in which the receiver may show them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.braking.courses import Account
from roadtest.measures.braking.lateral import Path, common_noise, lateral_of
from roadtest.measures.braking.stop import StopDraws
from roadtest.measures.smoothing import alike
from roadtest.motion.lateness import lateness
from roadtest.motion.smoothed import Smoothed

Ints = NDArray[np.int64]

_SHORT_S: Final = 0.02  # a shorter filter does not turn a course by what anybody sees


def paths_of(
    evidence: Evidence, stops: Sequence[StopDraws], smoothed: Smoothed, rng: np.random.Generator
) -> list[Path | None]:
    """Return the path of each stop, None where the log shows neither course nor position.

    smoothed : by the receiver, as many draws as there are of each stop
    """
    if not stops:
        return []
    made: list[list[tuple[Ints, Path]]] = [[] for _ in stops]
    for account, draws in _accounts(evidence, smoothed):
        laterals = [
            lateral_of(evidence, stop, evidence.draws[stop.manoeuvre.id], account) for stop in stops
        ]
        shown = [lateral for lateral in laterals if lateral is not None]
        for parts, lateral in zip(made, laterals, strict=True):
            if lateral is not None:
                path = lateral.path(common_noise(shown, lateral), draws.size, rng)
                parts.append((draws, path))
    return [_joined(parts, smoothed.time_s.size) for parts in made]


def _accounts(evidence: Evidence, smoothed: Smoothed) -> Iterator[tuple[Account, Ints]]:
    """Yield the ways in which the receiver may show the motion, and which draws have each."""
    late = lateness(evidence.motion, evidence.ground)
    courses = smoothed.of_velocity & (smoothed.time_s > _SHORT_S)
    for group in alike(smoothed.time_s):
        lag = float(smoothed.time_s[group].mean())
        for of_course in (False, True):
            draws = group[courses[group] == of_course]
            if draws.size:
                yield Account(lag, of_course, late.value_s - lag, late.u_s), draws


def _joined(parts: Sequence[tuple[Ints, Path]], count: int) -> Path | None:
    """Return one path of [count] draws, None where not all of them are shown."""
    if sum(draws.size for draws, _ in parts) < count:
        return None
    order = np.argsort(np.concatenate([draws for draws, _ in parts]))
    paths = [path for _, path in parts]
    return Path(
        paths[0].time_s,
        np.concatenate([path.heading_rad for path in paths])[order],
        np.concatenate([path.aside_m for path in paths])[order],
        np.concatenate([path.along_m for path in paths])[order],
        np.concatenate([path.way_m for path in paths])[order],
    )
