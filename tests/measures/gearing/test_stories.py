"""Which story fits: pure comparisons, with what is seen written down by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from roadtest.build_sheet import read_build_sheet
from roadtest.build_sheet.model import UNLISTED
from roadtest.measures.gearing.candidates import TACH_FREE, TACH_RIGHT, candidates
from roadtest.measures.gearing.stories import Seen, compare, probability_of
from roadtest.measures.gearing.telling import told
from tests.measures.gearing.cars import FIVE, FOUR, ROLL_OUT_M, SHEET

PARSED = read_build_sheet(SHEET.encode(), "build.toml")


def seen(
    ratios: tuple[float, ...] = FIVE,
    axle: float = 4.22,
    circumference: float = ROLL_OUT_M,
    scale: float = 1.0,
    u: float = 0.001,
) -> Seen:
    """Return exact log turns, each with a small uncertainty, most of it shared."""
    log_turns = np.log(np.array(ratios) * axle / circumference * scale)
    k = log_turns.size
    return Seen(log_turns, u**2 * (0.3 * np.eye(k) + 0.7 * np.ones((k, k))))


def test_probabilities_add_up_and_are_in_order() -> None:
    stories = compare(seen(), candidates(PARSED))
    chances = [s.probability for s in stories]
    assert sum(chances) == pytest.approx(1.0)
    assert chances == sorted(chances, reverse=True)
    for part in ("box", "axle", "tach", "tyre"):
        assert sum(probability_of(stories, part).values()) == pytest.approx(1.0)


def test_the_evidence_is_the_normal_density_it_stands_for() -> None:
    """The ratio of two stories' probabilities, by an independent multivariate normal."""
    one = seen(u=0.01)
    of = candidates(PARSED)
    stories = {(s.box.label, s.axle.label, s.tach.label, s.tyre.label): s for s in compare(one, of)}
    first = stories["five-speed", "build sheet", TACH_RIGHT, "tyre as given"]
    second = stories["five-speed", "3.90 axle", TACH_FREE, "tyre as given"]

    def log_density(axle: float, u_axle: float, u_tach: float, prior: float) -> float:
        mean = np.log(np.array(FIVE) * axle / ROLL_OUT_M)
        rounding = np.diag((0.005 / math.sqrt(3.0) / np.array(FIVE)) ** 2)
        level = u_axle**2 + u_tach**2 + (0.005 / 1.96 / ROLL_OUT_M) ** 2
        spread = one.covariance + rounding + level * np.ones((5, 5))
        return float(multivariate_normal(mean, spread).logpdf(one.log_turns)) + math.log(prior)

    u_422, u_390 = (0.005 / math.sqrt(3.0) / axle for axle in (4.22, 3.90))
    expected = log_density(4.22, u_422, first.tach.u, first.axle.prior * first.tach.prior)
    expected -= log_density(3.90, u_390, second.tach.u, second.axle.prior * second.tach.prior)
    assert math.log(first.probability / second.probability) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("missing", [(), (1,), (1, 2), (5,), (2, 4)])
def test_gears_not_driven_are_left_out_of_the_numbering(missing: tuple[int, ...]) -> None:
    driven = [g for g in range(1, 6) if g not in missing]
    stories = compare(seen(tuple(FIVE[g - 1] for g in driven)), candidates(PARSED))
    assert stories[0].gears == tuple(driven)
    assert stories[0].box.label == "five-speed"


def test_a_gearbox_nobody_named_is_told_as_such() -> None:
    stories = compare(seen((3.00, 2.30, 1.70, 1.25)), candidates(PARSED))
    assert stories[0].box.label == UNLISTED
    assert stories[0].gears == (1, 2, 3, 4)


def test_six_cylinders_are_told_from_a_scale_that_is_merely_off() -> None:
    stories = compare(seen(scale=2.0 / 3.0), candidates(PARSED))
    assert stories[0].tach.label == "tach set for 6 cylinders"
    assert stories[0].probability > 0.9


def test_a_free_scale_pays_for_its_freedom() -> None:
    """The right tach explains a right tach better than a free one, by about its spread."""
    total = probability_of(compare(seen(), candidates(PARSED)), "tach")
    assert total[TACH_RIGHT] > 20.0 * total[TACH_FREE]


def test_wrong_axle_and_wrong_tyre_look_alike_and_it_is_said_what_would_tell() -> None:
    """With the size only, 4.22 on a tyre 8 % smaller than its size is 4.56 on the right one."""
    sheet = read_build_sheet(
        b"[tyres]\nsize = '165/80R13'\n[gearbox]\nratios = [3.41, 2.08, 1.40, 1.00, 0.82]\n"
        b"[axle]\nratio = 4.22\n[[alternatives.axle]]\nlabel = '4.55 axle'\nratio = 4.55\n",
        "build.toml",
    )
    stories = compare(seen(axle=4.22, circumference=1.8123 / 1.039), candidates(sheet))
    axles = probability_of(stories, "axle")
    assert min(axles["build sheet"], axles["4.55 axle"]) > 0.05
    sentences = told(stories, sheet)
    assert sentences
    assert any("roll-out" in sentence for sentence in sentences)


def test_sure_stories_need_no_sentence() -> None:
    assert told(compare(seen(), candidates(PARSED)), PARSED) == ()


def test_noted_gears_are_kept_to() -> None:
    one = seen((1.00,), u=0.01)
    stories = compare(Seen(one.log_turns, one.covariance, (4,)), candidates(PARSED))
    assert all(s.gears == (4,) for s in stories)


def test_a_bare_sheet_has_stories_too() -> None:
    stories = compare(seen(FOUR), candidates(read_build_sheet(b"", "build.toml")))
    assert stories[0].box.label == UNLISTED
    assert stories[0].gears == (1, 2, 3, 4)


def test_what_the_sheet_says_the_tach_is_set_for_is_expected() -> None:
    text = SHEET + "[tach]\ncylinders_setting = 6\n"
    sheet = read_build_sheet(text.encode(), "build.toml")
    parts = {tach.label: tach.prior for tach in candidates(sheet).tachs}
    assert parts["tach set for 6 cylinders"] > 0.9


def test_stories_that_one_measurement_tells_apart_are_one_sentence() -> None:
    right, *_ = compare(seen(), candidates(PARSED))
    others = [
        replace(right, tach=replace(right.tach, label=f"tach shows {k}"), probability=p)
        for k, p in (("2/3", 0.2), ("3/4", 0.1))
    ]
    (sentence,) = told([replace(right, probability=0.7), *others], PARSED)
    assert "tach right (70 %), tach shows 2/3 (20 %) or tach shows 3/4 (10 %). A " in sentence
