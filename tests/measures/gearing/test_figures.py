"""Figures of the gearing from draws made by hand: each part of the story in its place."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.measures.gearing import figures
from roadtest.measures.gearing.candidates import TACH_RIGHT, candidates
from roadtest.measures.gearing.figures import Drawn
from roadtest.measures.gearing.stories import Seen, Story, compare

N = 50
SHEET = read_build_sheet(b"[gearbox]\nratios = [2.0, 1.0]\n", "build.toml")
PART = SimpleNamespace(named=True)
STORY = cast(
    Story,
    SimpleNamespace(
        box=SimpleNamespace(gearbox=SHEET.gearbox), axle=PART, tach=PART, tyre=PART, gears=(1, 2)
    ),
)


def log(value: float) -> np.ndarray:
    return np.full(N, np.log(value))


# Two gears of 2 and 1 that show 5 and 2.5 turns a metre. The sheet's tyre of 1.8 m is not the
# story's of 1.9 m, nor its axle of 4.2 the story's of 4.0; the tach shows 0.9, after all 0.8.
DRAWN = Drawn(
    turns=np.tile(np.log([5.0, 2.5]), (N, 1)),
    level=log(2.5),
    tyre_given=log(1.8),
    tyre=log(1.9),
    axle=log(4.0),
    axle_sheet=log(4.2),
    tach=log(0.9),
    tach_after=log(0.8),
)


@pytest.mark.parametrize(("axle", "u_axle"), [("ratio = 4.2", 0.005), ("teeth = [10, 42]", 0.0)])
def test_what_a_sheet_rounds_is_left_open_and_counted_teeth_are_exact(
    axle: str, u_axle: float
) -> None:
    """By hand: ratios to two decimals are off by up to 0.005, more in the gear of the lower one."""
    text = f"[tyres]\nrolling_circumference = '1.8 m ± 0 m'\n[axle]\n{axle}\n"
    sheet = read_build_sheet(f"[gearbox]\nratios = [2.0, 1.0]\n{text}".encode(), "build.toml")
    seen = Seen(np.log(np.array([2.0, 1.0]) * 4.2 / 1.8), 1e-12 * np.eye(2))
    story = next(
        s
        for s in compare(seen, candidates(sheet))
        if s.box.gearbox and s.tach.label == TACH_RIGHT and s.axle.named and s.tyre.named
    )
    exact = replace(story, tach=replace(story.tach, u=0.0))
    drawn = figures.draw(seen, exact, sheet, np.random.default_rng(1))
    both = 1.0 / ((2.0 / 0.005) ** 2 + (1.0 / 0.005) ** 2)  # the mean of least variance
    assert drawn.level.std() == pytest.approx((both / 3.0) ** 0.5, rel=0.05)
    tyre = figures.circumference(drawn, exact)
    assert tyre is not None and tyre.value == pytest.approx(1.8, rel=1e-3)
    u95 = 1.96 * 1.8 * ((both + (u_axle / 4.2) ** 2) / 3.0) ** 0.5
    assert tyre.u95 == pytest.approx(u95, rel=0.08)


def story_of(sheet: BuildSheet, seen: Seen, axle: float, box: bool, tach: str) -> Story:
    return next(
        s
        for s in compare(seen, candidates(sheet))
        if bool(s.box.gearbox) == box
        and s.axle.named
        and s.axle.log_value == pytest.approx(np.log(axle))
        and s.tach.label == tach
        and s.tyre.named
    )


def test_two_axles_of_one_label_are_two_axles() -> None:
    """The circumference is that with the axle on the sheet, whatever else is called like it."""
    text = """
    [tyres]
    rolling_circumference = "1.8 m ± 0.001 m"
    [gearbox]
    ratios = [3.41, 2.08, 1.40, 1.00]
    [axle]
    label = "x"
    ratio = 4.10
    [[alternatives.axle]]
    label = "x"
    ratio = 3.55
    """
    sheet = read_build_sheet(text.encode(), "build.toml")
    shown = np.log(np.array([3.41, 2.08, 1.40, 1.00]) * 3.55 / 1.8)
    seen = Seen(shown, 1e-8 * np.eye(4))
    story = story_of(sheet, seen, 3.55, True, TACH_RIGHT)
    tyre = figures.circumference(figures.draw(seen, story, sheet, np.random.default_rng(1)), story)
    assert tyre is not None and tyre.value == pytest.approx(1.8 * 4.10 / 3.55, rel=1e-3)


def test_a_gearbox_nobody_named_has_its_ratios_whatever_the_tach_shows() -> None:
    """A tach for six cylinders on four shows two thirds; the axle is the sheet's."""
    text = """
    [tyres]
    rolling_circumference = "1.8 m ± 0.001 m"
    [axle]
    ratio = 4.10
    [engine]
    cylinders = 4
    [tach]
    cylinders_setting = 6
    """
    sheet = read_build_sheet(text.encode(), "build.toml")
    ratios = np.array([3.40, 2.08, 1.40, 1.00])
    seen = Seen(np.log(ratios * 4.10 / 1.8 * 2.0 / 3.0), 1e-8 * np.eye(4))
    story = story_of(sheet, seen, 4.10, False, "tach set for 6 cylinders")
    drawn = figures.draw(seen, story, sheet, np.random.default_rng(1))
    rows = figures.gear_rows(drawn, story, sheet, [None] * 4)
    told = [row.ratio.value for row in rows if row.ratio is not None]
    assert told == pytest.approx(ratios.tolist(), rel=3e-3)
    assert drawn.level.mean() == pytest.approx(np.log(4.10 / 1.8 * 2.0 / 3.0), abs=2e-3)


def test_axle_tyre_and_tach_each_take_the_others_where_the_results_say_so() -> None:
    axle = figures.axle_ratio(DRAWN, STORY)
    tyre = figures.circumference(DRAWN, STORY)
    tach = figures.tach_scale(DRAWN, STORY)
    turns = figures.turns_top(DRAWN)
    assert axle is not None and tyre is not None and tach is not None and turns is not None
    assert axle.value == pytest.approx(2.5 * 1.8 / 0.9)  # the sheet's tyre, the story's tach
    assert tyre.value == pytest.approx(4.2 * 0.9 / 2.5)  # the sheet's axle
    assert tach.value == pytest.approx(2.5 * 1.9 / 4.0)  # the story's tyre and axle
    assert turns.value == pytest.approx(2.5)  # as the tach shows them


def test_a_gear_has_its_ratios_and_its_road_speed_at_true_engine_speed() -> None:
    first, second = figures.gear_rows(DRAWN, STORY, SHEET, (12.0, None))
    assert first.overall is not None and first.ratio is not None
    assert first.overall.value == pytest.approx(5.0 * 1.8 / 0.8)
    assert first.ratio.value == pytest.approx(5.0 * 1.8 / 0.8 / 4.0)
    assert (first.expected, first.seconds, second.expected) == (2.0, 12.0, 1.0)
    assert second.speed_per_1000_rpm is not None
    assert second.speed_per_1000_rpm.value == pytest.approx(1000.0 / 60.0 / (2.5 / 0.8))
    (step,) = figures.steps(DRAWN, STORY, SHEET)
    assert step.step is not None
    assert (step.step.value, step.expected) == (pytest.approx(2.0), pytest.approx(2.0))
