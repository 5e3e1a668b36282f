"""Where a speedometer's error comes from."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from roadtest.measures.speedometer.dial_law import DialPoints, fit_dial
from roadtest.measures.speedometer.meaning import Meaning, Story, explain
from roadtest.results import ReadIn
from roadtest.wording import probability_text

MPH = 0.44704
HELD = np.array([13.4, 17.9, 22.4, 26.8, 31.3])
Law = Callable[[np.ndarray], np.ndarray]


def meaning(law: Law, u: float = 0.08, units: ReadIn = "mph", held: np.ndarray = HELD) -> Meaning:
    spread = np.full(held.size, u)
    fit = fit_dial(DialPoints(held, law(held), spread, spread), 2.0 * MPH)
    assert fit is not None
    return explain(fit, units)


@pytest.mark.parametrize(
    ("law", "story", "words"),
    [
        (lambda v: 1.0 * v, "right", "true speed"),
        (lambda v: 1.062 * v, "in proportion", "6.2"),
        (lambda v: 0.95 * v, "in proportion", "low in proportion"),
        (lambda v: v + 1.0, "constant", "high everywhere: the needle"),
        (lambda v: 0.92 * v + 1.3, "both", "gearing"),
        (lambda v: v + 1.5 - 1.5 * ((v - 22.0) / 9.0) ** 2, "bent", "the instrument itself"),
    ],
)
def test_the_fault_put_in_is_named(law: Law, story: Story, words: str) -> None:
    found = meaning(law)
    assert found.best == story
    assert words in found.sentence
    assert found.stories[0].probability > 0.6
    assert probability_text(found.stories[0].probability) in found.sentence


def test_probabilities_add_up_and_the_most_probable_is_first() -> None:
    found = meaning(lambda v: 1.03 * v + 0.2, u=0.2)
    chances = [story.probability for story in found.stories]
    assert sum(chances) == pytest.approx(1.0)
    assert chances == sorted(chances, reverse=True)


def test_poor_readings_are_said_to_tell_nothing() -> None:
    found = meaning(lambda v: 0.98 * v, u=0.4)
    assert found.stories[0].probability < 0.5
    assert found.sentence.startswith("These readings can't tell")


def test_two_speeds_say_nothing_of_a_bend() -> None:
    found = meaning(lambda v: 1.06 * v, held=HELD[[0, 4]])
    assert all("instrument" not in story.label for story in found.stories)


def test_the_sentence_is_in_the_units_people_read() -> None:
    assert " km/h " in meaning(lambda v: v + 1.0, units="km/h").sentence
    assert " mph " in meaning(lambda v: v + 1.0).sentence
