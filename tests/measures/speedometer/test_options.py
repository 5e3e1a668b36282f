"""What each change to the speedometer's drive does to the dial, by hand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from roadtest.build_sheet import Speedometer, read_build_sheet
from roadtest.measures.speedometer.advice import as_corrections
from roadtest.measures.speedometer.corrections import Advised, Before, Outcome, advise
from roadtest.measures.speedometer.dial_law import DialLaw
from roadtest.measures.speedometer.options import Option, paired_options, single_options
from roadtest.quantity import Quantity
from roadtest.results import Change, Limit

MPH = 0.44704


def dial(text: str) -> Speedometer:
    sheet = f'[speedometer]\ngraduation = "2 mph"\n{text}\n'
    return read_build_sheet(sheet.encode(), "build.toml").speedometer


CABLE = """drive = "cable"
turns_per_mile = 1000
drive_teeth = 8
available_drive_teeth = [7, 9]
driven_teeth = 20
available_driven_teeth = [19, 20, 22]
ratio_adapter = 1.25
available_ratio_adapters = [0.8]
"""


def test_the_dial_goes_with_what_drives_the_cable_and_against_what_it_is_made_for() -> None:
    made = {
        (option.parts[0].kind, option.parts[0].advised): option.ratio
        for option in single_options(dial(CABLE), needle=False)
    }
    assert made["drive_teeth", 9] == pytest.approx(9 / 8)  # more teeth drive it faster
    assert made["driven_teeth", 22] == pytest.approx(20 / 22)  # and it is driven slower
    assert ("driven_teeth", 20) not in made
    assert made["ratio_adapter", 0.8] == pytest.approx(0.8 / 1.25)
    assert made["ratio_adapter", 1.0] == pytest.approx(1.0 / 1.25)  # taken out
    turns = {
        advised or 0: ratio for (kind, advised), ratio in made.items() if kind == "turns_per_mile"
    }
    assert len(turns) > 100 and min(turns) < 560 < 1790 < max(turns)
    assert all(
        ratio == pytest.approx(1000.0 / float(set_to or 0)) for set_to, ratio in turns.items()
    )


def test_an_electronic_head_shows_less_for_more_pulses_a_km() -> None:
    options = single_options(dial('drive = "electronic"\npulses_per_km = 4000'), needle=False)
    made = {option.parts[0].advised or 0: option.ratio for option in options}
    assert all(ratio == pytest.approx(4000.0 / setting) for setting, ratio in made.items())
    assert min(made) < 2230 and max(made) > 7190


def test_the_needle_moves_by_quarters_of_a_graduation_and_leaves_the_odometer() -> None:
    options = single_options(dial('drive = "cable"'), needle=True)
    shifts = sorted(option.shift_mps for option in options)
    assert shifts[0] == pytest.approx(-6.0 * MPH) and shifts[-1] == pytest.approx(6.0 * MPH)
    assert shifts[12] == pytest.approx(0.5 * MPH)  # the least one up; none is no change
    assert not any(option.moves_odometer for option in options)


def test_the_odometer_goes_with_the_cable_and_not_with_the_head() -> None:
    for option in single_options(dial(CABLE), needle=False):
        assert option.moves_odometer == (option.kinds != ("turns_per_mile",))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (Change("needle", None, 1.5 * MPH), "needle set 1.5 mph up"),
        (Change("needle", None, -0.5 * MPH), "needle set 0.5 mph down"),
        (Change("drive_teeth", 8, 9), "drive gear of 9 teeth in place of 8"),
        (Change("driven_teeth", 20, 22), "driven gear of 22 teeth in place of 20"),
        (Change("ratio_adapter", None, 0.8), "ratio adapter 0.8 in place of none"),
        # 5000 a km are 5000 · 1.609344 a mile.
        (
            Change("pulses_per_km", 4000, 5000),
            "setting of 5000 pulses per km (8046.7 per mile) in place of 4000",
        ),
        (
            Change("turns_per_mile", 1000, 980),
            "head recalibrated for 980 turns per mile in place of 1000",
        ),
    ],
)
def test_a_change_is_told_as_it_is_made(change: Change, said: str) -> None:
    one = Quantity(1.0, 0.01, "1")
    present = Outcome(Option(()), (), 2.0, one)
    changed = Outcome(Option((change,)), (), 0.5, one)
    (told,) = as_corrections(Advised(present, (changed,)), "mph")
    assert said in told.note
    # A change that takes less than a fifth off the error is not worth telling.
    poor = Outcome(Option((change,)), (), 1.7, one)
    assert as_corrections(Advised(present, (poor,)), "mph") == ()


def test_two_changes_at_once_do_what_both_do() -> None:
    singles = single_options(dial(CABLE), needle=True)
    pairs = {option.parts: option for option in paired_options(singles)}
    by_part = {option.parts[0]: option for option in singles}
    assert pairs
    for first, second in itertools.combinations(by_part, 2):
        pair = pairs.get((first, second))
        of_head = {"turns_per_mile", "pulses_per_km"} & {first.kind, second.kind}
        assert (pair is None) == (first.kind == second.kind or bool(of_head))
        if pair is not None:
            one, two = by_part[first], by_part[second]
            assert pair.ratio == pytest.approx(one.ratio * two.ratio)
            assert pair.shift_mps == pytest.approx(one.shift_mps + two.shift_mps)
            assert pair.effort == one.effort + two.effort


def test_an_outcome_holds_the_doubt_of_the_dial_and_takes_the_odometer_along() -> None:
    """Offset 0 ± 0.2 m/s (one σ), 5 % over; the odometer 5 % under by ± 3 %."""
    law = DialLaw(np.array([0.0, 1.05, 0.0]), np.diag([0.04, 0.0, 0.0]) + 1e-12 * np.eye(3), 10, 30)
    limit = Limit(1.0 - 0.031, 1.0 + 0.031, "1")
    scale = Quantity(1.05, 0.01, "1")
    before = Before(law, scale, None, (20.0,), Quantity(0.95, 0.03, "1"), limit)
    gear = dial('drive = "cable"\ndriven_teeth = 20\navailable_driven_teeth = [19]')
    advised = advise(before, gear, np.random.default_rng(1), needle=False)
    assert advised.present.rms_mps == pytest.approx(math.hypot(1.0, 0.2), rel=1e-4)
    assert advised.present.odometer == "not proven"
    (changed,) = advised.changes
    ratio = 20 / 19
    assert changed.scale.value == pytest.approx(1.05 * ratio)
    assert changed.scale.u95 == pytest.approx(0.01 * ratio)
    assert changed.rms_mps == pytest.approx(math.hypot(20.0 * (1.05 * ratio - 1.0), 0.2), rel=1e-4)
    # 1.000 ± 0.0316 then: still wider than the limit.
    assert changed.odometer == "not proven"
