"""From the fit and the most probable story to the figures of the results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.measures.gearing.candidates import LevelPart, axle_part, rounding_u
from roadtest.measures.gearing.kinematics import road_speed
from roadtest.measures.gearing.stories import Seen, Story, probability_of
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import GearRow, Shown, Step

Floats = NDArray[np.float64]

DRAWS: Final = 2000


@dataclass(frozen=True)
class Drawn:
    """Joint draws [c, ...] of what the figures are made of, as logarithms."""

    turns: Floats  # [c, k] engine turns per metre as shown
    level: Floats  # [c] turns per metre at a ratio of 1, as all gears together tell it
    tyre_given: Floats | None  # [c] circumference as the sheet gives it
    tyre: Floats  # [c] circumference of the story
    axle: Floats  # [c] axle of the story
    axle_sheet: Floats | None  # [c] axle as the sheet gives it
    tach: Floats  # [c] scale of the story, before the drive is looked at
    tach_after: Floats  # [c] the same, after it


def draw(seen: Seen, story: Story, sheet: BuildSheet, rng: np.random.Generator) -> Drawn:
    """Return the draws; parts of the story that are the sheet's are the same draws."""
    root = np.linalg.cholesky(seen.covariance + 1e-16 * np.eye(seen.count))
    turns = seen.log_turns + rng.normal(size=(DRAWS, seen.count)) @ root.T
    tyre = _drawn(story.tyre, rng)
    given = sheet.circumference
    tyre_given = None
    if given is not None:
        u95 = given.u95 if given.u95 is not None else 0.0
        tyre_given = np.log(given.value) + u95 / COVERAGE_FACTOR_95 / given.value * rng.normal(
            size=DRAWS
        )
        if story.tyre.label == "tyre as given":
            tyre_given = tyre
    axle = _drawn(story.axle, rng)
    tach = _drawn(story.tach, rng)
    ratio = _ratios(story, turns + (tyre - axle - tach)[:, None], rng)
    level = (turns - ratio) @ _weights(seen, story)
    axle_sheet = None
    if sheet.axle is not None:
        axle_sheet = _drawn(axle_part(sheet.axle), rng)
    if not story.axle.named and given is not None:
        # An axle nobody named is what the rest of the story makes it.
        axle = level + tyre - tach
    after = tach
    if not story.tach.named:
        after = level + tyre - axle
    return Drawn(turns, level, tyre_given, tyre, axle, axle_sheet, tach, after)


def _weights(seen: Seen, story: Story) -> Floats:
    """Return the weight [k] of each gear in what they tell together; their sum is 1.

    The mean of least variance (generalised least squares), ratios known but for their rounding.
    """
    box = story.box.gearbox
    if box is None:
        return np.full(seen.count, 1.0 / seen.count)  # such ratios fit the level, whatever it is
    ratios = np.array(box.ratios)[np.array(story.gears) - 1]
    rounding = np.diag((rounding_u(box.ratios) / ratios) ** 2)
    weight = np.linalg.solve(seen.covariance + rounding, np.ones(seen.count))
    return np.asarray(weight / weight.sum())


def _drawn(part: LevelPart, rng: np.random.Generator) -> Floats:
    return np.asarray(part.log_value + part.u * rng.normal(size=DRAWS))


def _ratios(story: Story, shown: Floats, rng: np.random.Generator) -> Floats:
    """Return the ratios [c, k] of the story's gearbox: wheels have teeth, a sheet rounds.

    Those of a gearbox that nobody named are what the rest of the story makes of what is `shown`.
    """
    box = story.box.gearbox
    if box is None:
        return shown
    ratios = np.array(box.ratios)[np.array(story.gears) - 1]
    return np.asarray(np.log(ratios + rounding_u(box.ratios) * rng.normal(size=shown.shape)))


def gear_rows(
    drawn: Drawn, story: Story, sheet: BuildSheet, seconds: Sequence[float | None]
) -> tuple[GearRow, ...]:
    """Return a row for each gear seen."""
    rows = []
    for k, gear in enumerate(story.gears):
        overall = ratio = None
        if drawn.tyre_given is not None:
            log_overall = drawn.turns[:, k] + drawn.tyre_given - drawn.tach_after
            overall = Quantity.from_draws(np.exp(log_overall), "1")
            ratio = Quantity.from_draws(np.exp(log_overall - drawn.axle), "1")
        per_1000 = road_speed(1000.0, np.exp(drawn.turns[:, k] - drawn.tach_after))
        rows.append(
            GearRow(
                gear=gear,
                overall=overall,
                ratio=ratio,
                expected=expected_ratio(sheet, gear),
                seconds=seconds[k],
                speed_per_1000_rpm=Quantity.from_draws(per_1000, "m/s"),
            )
        )
    return tuple(rows)


def expected_ratio(sheet: BuildSheet, gear: int) -> float | None:
    """Return the sheet's ratio of a gear, None where it has none."""
    return sheet.ratios[gear - 1] if 1 <= gear <= len(sheet.ratios) else None


def steps(drawn: Drawn, story: Story, sheet: BuildSheet) -> tuple[Step, ...]:
    """Return the steps between neighbouring gears seen: free of tyre, axle and tach."""
    rows = []
    for k in range(len(story.gears) - 1):
        low, high = story.gears[k], story.gears[k + 1]
        wanted = expected_ratio(sheet, low), expected_ratio(sheet, high)
        step = np.exp(drawn.turns[:, k] - drawn.turns[:, k + 1])
        expected = wanted[0] / wanted[1] if wanted[0] and wanted[1] else None
        rows.append(Step(low, high, Quantity.from_draws(step, "1"), expected))
    return tuple(rows)


def turns_top(drawn: Drawn) -> Quantity | None:
    """Return engine revolutions per metre in the highest gear seen, as the tach shows them."""
    return Quantity.from_draws(np.exp(drawn.turns[:, -1]), "1/m")


def axle_ratio(drawn: Drawn, story: Story) -> Quantity | None:
    """Return the axle ratio with the tyre as the sheet gives it, None without one.

    A tach of free scale is taken with all its freedom: its scale was found from the axle.
    """
    if drawn.tyre_given is None or story.box.gearbox is None:
        return None
    return Quantity.from_draws(np.exp(drawn.level + drawn.tyre_given - drawn.tach), "1")


def circumference(drawn: Drawn, story: Story) -> Quantity | None:
    """Return the rolling circumference with the axle on the sheet, m, None without one."""
    if drawn.axle_sheet is None or story.box.gearbox is None:
        return None
    return Quantity.from_draws(np.exp(drawn.axle_sheet + drawn.tach - drawn.level), "m")


def tach_scale(drawn: Drawn, story: Story) -> Quantity | None:
    """Return shown over true engine speed, the story's gearing and tyre taken as right."""
    if story.box.gearbox is None or not story.axle.named or not story.tyre.named:
        return None
    return Quantity.from_draws(np.exp(drawn.level + drawn.tyre - drawn.axle), "1")


def shown(stories: Sequence[Story], part: str) -> Shown | None:
    """Return the most probable candidate of one part, None where there is only one."""
    total = probability_of(stories, part)
    if len(total) < 2:
        return None
    label = max(total, key=lambda name: total[name])
    return Shown(label, min(total[label], 1.0))
