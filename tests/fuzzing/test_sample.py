"""A small sample of the inputs that `fuzz.py` gives by the million."""

from __future__ import annotations

import random

import pytest

from tests.fuzzing.damage import damaged
from tests.fuzzing.targets import TARGETS, give

SAMPLES = {"upload": 12, "check": 3}


@pytest.mark.parametrize("name", TARGETS)
def test_a_damaged_file_is_read_or_refused_in_a_line(name: str) -> None:
    target, rng = TARGETS[name], random.Random(20_260_502)
    for seed in target.seeds:
        give(target, seed)
    for _ in range(SAMPLES.get(name, 60)):
        give(target, damaged(rng.choice(target.seeds), rng, target.most_bytes))
