"""Which story fits: gearbox, axle, tach and tyre taken together, compared by likelihood.

What is seen is y, the log engine turns per metre of each gear, with its covariance S. A story says

    y = log ratio + level · 1,   level = log axle - log circumference + log tach scale

with every part known up to its own uncertainty. Its likelihood, with the uncertain parts
integrated out, is normal; a part left free spreads it thin, which is the penalty for the freedom.

Reference: D. J. C. MacKay, Information Theory, Inference and Learning Algorithms, chapter 28 (model
comparison and the penalty for free parameters) [value from memory].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet.model import Gearbox
from roadtest.measures.gearing.candidates import (
    TACH_RIGHT,
    BoxCandidate,
    Candidates,
    LevelPart,
    rounding_u,
)

Floats = NDArray[np.float64]

# Any other gearbox: its top gear and the steps below it (common practice: 0.75 to 1.15, and 1.2 to
# 2.0), as normal distributions of logarithms.
_TOP: Final = (math.log(0.95), 0.12)
_STEP: Final = (math.log(1.42), 0.20)


@dataclass(frozen=True)
class Seen:
    """What is to be explained: gears from the lowest up, `named` where somebody noted which."""

    log_turns: Floats  # [k]
    covariance: Floats  # [k, k]
    named: tuple[int | None, ...] = ()

    @property
    def count(self) -> int:
        """How many gears."""
        return int(self.log_turns.size)


@dataclass(frozen=True)
class Story:
    """One way to explain it all. `gears` are the numbers of the gears seen."""

    box: BoxCandidate
    axle: LevelPart
    tach: LevelPart
    tyre: LevelPart
    gears: tuple[int, ...]
    probability: float

    @property
    def label(self) -> str:
        """All four parts in words."""
        box = f'gearbox "{self.box.label}"' if self.box.gearbox else "another gearbox"
        axle = f'axle "{self.axle.label}"' if self.axle.named else "another axle"
        return f"{box}, {axle}, {self.tach.label}, {self.tyre.label}"


@dataclass(frozen=True)
class Fits:
    """What the ratios of one gearbox and assignment leave: numbers for any level."""

    gears: tuple[int, ...]
    log_prior: float
    ones: float  # 1ᵀ P 1, P the inverse covariance of what is left
    mixed: float  # 1ᵀ P d
    square: float  # dᵀ P d
    log_det: float


def compare(seen: Seen, of: Candidates) -> tuple[Story, ...]:
    """Return all stories, most probable first; probabilities add up to 1."""
    parts = list(product(of.axles, of.tachs, of.tyres))
    level = np.array([a.log_value + t.log_value - c.log_value for a, t, c in parts])
    variance = np.array([a.u**2 + t.u**2 + c.u**2 for a, t, c in parts])
    prior = np.log([a.prior * t.prior * c.prior for a, t, c in parts])
    found: list[tuple[float, Story]] = []
    for box in of.boxes:
        fits = _assignments(seen, box)
        if not fits:
            continue
        scores = np.array([_log_evidence(fit, level, variance, seen.count) for fit in fits])
        best = scores.argmax(axis=0)
        top = scores.max(axis=0)
        total = top + np.log(np.exp(scores - top).sum(axis=0)) + prior + math.log(box.prior)
        for k, (axle, tach, tyre) in enumerate(parts):
            story = Story(box, axle, tach, tyre, fits[int(best[k])].gears, 0.0)
            found.append((float(total[k]), story))
    if not found:
        return ()
    logs = np.array([score for score, _ in found])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable")
    return tuple(replace(found[k][1], probability=float(weights[k])) for k in order)


def _assignments(seen: Seen, box: BoxCandidate) -> list[Fits]:
    """Return how the gears seen can be gears of this box, in order."""
    if box.gearbox is None:
        mean, covariance = _any_box(seen.count)
        gears = tuple(range(1, seen.count + 1))
        if any(name is not None for name in seen.named):
            gears = _names_kept(seen)
        return [_fit(seen, gears, 0.0, mean, covariance)]
    return _of_box(seen, box.gearbox)


def _of_box(seen: Seen, gearbox: Gearbox) -> list[Fits]:
    ratios = np.log(gearbox.ratios)
    u = rounding_u(gearbox.ratios) / np.array(gearbox.ratios)
    choices = [
        pick
        for pick in combinations(range(len(gearbox.ratios)), seen.count)
        if all(name is None or name == k + 1 for name, k in zip(seen.named, pick, strict=False))
    ]
    if not choices:
        return []
    log_prior = -math.log(len(choices))
    return [
        _fit(
            seen,
            tuple(k + 1 for k in pick),
            log_prior,
            ratios[list(pick)],
            np.diag(u[list(pick)] ** 2),
        )
        for pick in choices
    ]


def _names_kept(seen: Seen) -> tuple[int, ...]:
    """Return gear numbers that agree with the notes, counting on where there is none."""
    numbers: list[int] = []
    for k in range(seen.count):
        name = seen.named[k] if k < len(seen.named) else None
        numbers.append(name if name is not None else (numbers[-1] + 1 if numbers else 1))
    return tuple(numbers)


def _any_box(count: int) -> tuple[Floats, Floats]:
    """Return mean and covariance of the log ratios of a gearbox nobody named, lowest first."""
    below = np.arange(count)[::-1]  # steps between each gear and the top one
    mean = np.asarray(_TOP[0] + _STEP[0] * below, dtype=np.float64)
    shared = np.minimum(below[:, None], below)
    return mean, np.asarray(_TOP[1] ** 2 + _STEP[1] ** 2 * shared, dtype=np.float64)


def _fit(
    seen: Seen, gears: tuple[int, ...], log_prior: float, ratios: Floats, spread: Floats
) -> Fits:
    covariance = seen.covariance + spread
    inverse = np.linalg.inv(covariance)
    left = seen.log_turns - ratios
    return Fits(
        gears=gears,
        log_prior=log_prior,
        ones=float(inverse.sum()),
        mixed=float(inverse.sum(axis=0) @ left),
        square=float(left @ inverse @ left),
        log_det=float(np.linalg.slogdet(covariance)[1]),
    )


def _log_evidence(fit: Fits, level: Floats, variance: Floats, count: int) -> Floats:
    """Return the log evidence at each level [m] ± √variance (Sherman–Morrison for the level)."""
    square = fit.square - 2.0 * level * fit.mixed + level**2 * fit.ones
    pull = fit.mixed - level * fit.ones
    grown = 1.0 + variance * fit.ones
    square = square - variance * pull**2 / grown
    norm = fit.log_det + np.log(grown) + count * math.log(2.0 * math.pi)
    return np.asarray(fit.log_prior - 0.5 * (square + norm))


def probability_of(stories: Sequence[Story], part: str) -> dict[str, float]:
    """Return the probability of each label of one part ("box", "axle", "tach", "tyre")."""
    total: dict[str, float] = {}
    for story in stories:
        label = getattr(story, part).label
        total[label] = total.get(label, 0.0) + story.probability
    return total


def is_right(tach: LevelPart) -> bool:
    """Return whether this is the story of a tach that shows what it should."""
    return tach.label == TACH_RIGHT
