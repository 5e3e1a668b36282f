"""What a speedometer's error comes from: gearing, the needle, both, or the instrument itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.speedometer.dial_law import DialFit, DialPoints
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import ReadIn, Shown
from roadtest.wording import probability_text, quantity_text

Floats = NDArray[np.float64]
Story = Literal["right", "in proportion", "constant", "both", "bent"]

# How large each kind of fault is where there is one (standard). A tooth or two of some twenty, an
# axle changed, a tyre of another size: 5 to 10 %. A needle put on a spline out, or a weak spring:
# a mph or two, and as much for a scale that bends. Our choice, no published source.
_SCALE_SD: Final = 0.07
_OFFSET_SD_MPS: Final = 1.0
_BOW_SD_MPS: Final = 1.0

_HALF: Final = 0.5  # below this no explanation is put first
_SURE: Final = 0.8  # below this the next explanation is told as well

CAUSE: Final[dict[Story, str]] = {
    "right": "no fault",
    "in proportion": "gearing, tyre or pulse setting",
    "constant": "the needle or its spring",
    "both": "gearing, tyre or pulse setting, and the needle or its spring",
    "bent": "the instrument itself",
}


@dataclass(frozen=True)
class Meaning:
    """The explanations with their probabilities, the most probable first, and the sentence."""

    stories: tuple[Shown, ...]
    best: Story
    sentence: str


def explain(fit: DialFit, units: ReadIn) -> Meaning:
    """Return what the readings say about where the error comes from.

    Each explanation is a law with parameters of the sizes above; its weight is the probability of
    the readings under it, all explanations being as likely beforehand. A bend is weighed only with
    three speeds or more.
    """
    chances = _chances(fit.points, with_bend=fit.bend is not None)
    ranked = sorted(chances, key=lambda story: -chances[story])
    stories = tuple(Shown(CAUSE[story], chances[story]) for story in ranked)
    best = ranked[0]
    if chances[best] < _HALF:
        *first, last = [
            f"{_beside(story, ranked[:place])} ({probability_text(chances[story])})"
            for place, story in enumerate(ranked[:3])
        ]
        return Meaning(
            stories,
            best,
            f"These readings can't tell where the error comes from: {'; '.join(first)}; or {last}.",
        )
    sentence = f"{_said(best, fit, units)} (probability {probability_text(chances[best])})"
    if chances[best] < _SURE:
        other = ranked[1]
        sentence += f"; or {_beside(other, ranked[:1])} ({probability_text(chances[other])})"
    return Meaning(stories, best, f"{sentence}.")


def _beside(story: Story, told: Sequence[Story]) -> str:
    """Return the cause in a story, short where its parts were told just before."""
    if story == "both" and {"in proportion", "constant"} <= set(told):
        return "both"
    if story == "both" and told == ["in proportion"]:
        return f"that and {CAUSE['constant']}"
    return CAUSE[story]


def _chances(points: DialPoints, *, with_bend: bool) -> dict[Story, float]:
    """Return the probability of each explanation: normal errors and normal parameters."""
    error = points.indicated_mps - points.true_mps
    noise = np.diag(points.u_indicated_mps**2 + points.u_true_mps**2)
    proportion = _SCALE_SD * points.true_mps
    constant = _OFFSET_SD_MPS * np.ones_like(proportion)
    parts: dict[Story, list[Floats]] = {
        "right": [],
        "in proportion": [proportion],
        "constant": [constant],
        "both": [proportion, constant],
    }
    if with_bend:
        parts["bent"] = [proportion, constant, _BOW_SD_MPS * _arc(points.true_mps)]
    logs = {story: _log_density(error, noise, terms) for story, terms in parts.items()}
    highest = max(logs.values())
    weights = {story: float(np.exp(log - highest)) for story, log in logs.items()}
    total = sum(weights.values())
    return {story: weight / total for story, weight in weights.items()}


def _log_density(error: Floats, noise: Floats, terms: list[Floats]) -> float:
    covariance = noise + sum((np.outer(term, term) for term in terms), np.zeros_like(noise))
    root = np.linalg.cholesky(covariance)
    whitened = np.linalg.solve(root, error)
    return float(-0.5 * whitened @ whitened - np.log(np.diag(root)).sum())


def _arc(true_mps: Floats) -> Floats:
    """Return an arc of height 1 over its chord, from the lowest to the highest speed."""
    middle = 0.5 * (true_mps.min() + true_mps.max())
    half = 0.5 * np.ptp(true_mps)
    return np.asarray(1.0 - ((true_mps - middle) / half) ** 2)


def _said(story: Story, fit: DialFit, units: ReadIn) -> str:
    if story == "right":
        return "The dial shows the true speed, as far as these readings can tell"
    if story == "in proportion":
        return f"The dial reads {_gain(_ratio(fit.points), units)}: {CAUSE[story]}"
    if story == "constant":
        return f"The dial reads {_shift(_mean_error(fit.points), units)} everywhere: {CAUSE[story]}"
    if story == "both":
        return (
            f"The dial gains {_gain(fit.scale, units)} and starts {_shift(fit.offset, units)}: "
            f"{CAUSE[story]}"
        )
    bow = fit.bow or Quantity(0.0, 0.0, "m/s")
    return (
        "The dial does not run straight: in the middle of the speeds held it reads "
        f"{_shift(bow, units)} against its ends: {CAUSE[story]}"
    )


def _gain(scale: Quantity, units: ReadIn) -> str:
    """Return "4.6 ± 1.2 % high"."""
    error = Quantity(abs(scale.value - 1.0), scale.u95, "1")
    way = "high" if scale.value > 1.0 else "low"
    return f"{quantity_text(error, units, percent=True)} {way} in proportion to speed"


def _shift(shift: Quantity, units: ReadIn) -> str:
    """Return "1.2 ± 0.4 mph high"."""
    size = quantity_text(Quantity(abs(shift.value), shift.u95, "m/s"), units)
    return f"{size} {'high' if shift.value > 0.0 else 'low'}"


def _ratio(points: DialPoints) -> Quantity:
    """Return indicated over true with no offset, by weighted least squares."""
    weight = 1.0 / (points.u_indicated_mps**2 + points.u_true_mps**2)
    below = float(np.sum(weight * points.true_mps**2))
    value = float(np.sum(weight * points.true_mps * points.indicated_mps)) / below
    return Quantity(value, COVERAGE_FACTOR_95 / float(np.sqrt(below)), "1")


def _mean_error(points: DialPoints) -> Quantity:
    """Return the weighted mean of indicated less true, m/s."""
    weight = 1.0 / (points.u_indicated_mps**2 + points.u_true_mps**2)
    value = float(np.average(points.indicated_mps - points.true_mps, weights=weight))
    return Quantity(value, COVERAGE_FACTOR_95 / float(np.sqrt(weight.sum())), "m/s")
