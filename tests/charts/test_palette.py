"""Colours can be seen, and told apart."""

from __future__ import annotations

from itertools import combinations
from typing import get_args

import numpy as np
import pytest

from roadtest.charts.model import CAPS, SERIES, Role
from roadtest.charts.palette import DARK, LIGHT, Palette
from roadtest.charts.source import looks

# Linear RGB as dichromats see it: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A
# physiologically-based model for simulation of color vision deficiency", 2009, severity 1.0
# [values from memory].
_SEEN = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


def _linear(colour: str) -> np.ndarray:
    value = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2."""
    bright = sorted(float(_linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (bright[1] + 0.05) / (bright[0] + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
def test_every_role_has_a_colour_that_words_can_be_read_in(palette: Palette) -> None:
    assert set(palette.roles) == set(get_args(Role))
    for ink in (palette.ink, palette.faint_ink, *palette.roles.values()):
        assert _contrast(ink, palette.ground) >= 4.5
    assert _contrast(palette.frame, palette.ground) >= 3.0


def _lab(rgb: np.ndarray) -> np.ndarray:
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    xyz = to_xyz @ np.clip(rgb, 0.0, 1.0) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16.0 / 116.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
@pytest.mark.parametrize("kind", ["protan", "deutan"])
def test_series_can_be_told_apart_by_colour_blind_people(palette: Palette, kind: str) -> None:
    seen = {role: _lab(np.array(_SEEN[kind]) @ _linear(palette.roles[role])) for role in SERIES}
    for one, other in combinations(SERIES, 2):
        # Ten times what can just be seen side by side (common practice, no published source).
        assert np.linalg.norm(seen[one] - seen[other]) >= 23.0, (one, other)


def test_colour_is_never_the_only_difference() -> None:
    assert len(set(CAPS.values())) == len(CAPS)
    some = list(looks(30))
    for k in range(0, 30, 6):
        assert len({dash for _, dash, _ in some[k : k + 5]}) == 5
        assert len({marker for _, _, marker in some[k : k + 6]}) == 6
    assert len({(role, dash) for role, dash, _ in some}) == 30
