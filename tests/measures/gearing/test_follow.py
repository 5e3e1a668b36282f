"""Rounds of decoding and fitting: what stands out as a gear and is none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from roadtest.check import conclude, survey
from roadtest.drive import read_drive
from tests.ensembles.drives import random_folder


@pytest.mark.parametrize(
    "seed",
    [
        23168,  # velocity smoothed over 0.74 s: in tight turns first gear seems another one
        23511,  # one round of seven saw a sixth gear for some seconds
    ],
)
def test_no_gear_is_made_up(seed: int, tmp_path: Path) -> None:
    drive = random_folder(seed)
    for file, data in drive.files.items():
        (tmp_path / file).write_bytes(data)
    found = conclude(survey(read_drive(tmp_path), lambda *_: None), lambda *_: None).gearing
    ratios = drive.truth.car.ratios
    assert [row.gear for row in found.gears] == list(range(1, len(ratios) + 1))
    steps = np.array([row.step.value for row in found.steps if row.step is not None])
    np.testing.assert_allclose(steps, np.array(ratios[:-1]) / ratios[1:], rtol=0.01)
