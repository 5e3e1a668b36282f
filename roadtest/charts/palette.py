"""What the colours of a chart are, on a light ground (and on paper) and on a dark one.

Colours of our own choice. People with the common kinds of colour blindness tell series apart, for
dark and light differ as well as hue. A dash, a marker or a word always says the same again.
Everything that lines and words are drawn in has a contrast of at least 4.5 : 1 with the ground
(WCAG 2.2, 1.4.3). Tests work both out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from roadtest.charts.model import Role


@dataclass(frozen=True)
class Palette:
    """Colours as #rrggbb."""

    name: Literal["light", "dark"]
    ground: str
    ink: str  # words and numbers
    faint_ink: str  # less important words
    frame: str
    grid: str
    minor_grid: str
    roles: Mapping[Role, str]
    band_opacity: float = 0.18
    span_opacity: float = 0.13


LIGHT: Final = Palette(
    name="light",
    ground="#ffffff",
    ink="#1c2126",
    faint_ink="#565e66",
    frame="#7b848c",
    grid="#d9dde1",
    minor_grid="#eef0f2",
    roles={
        "measured": "#0b5c9e",
        "expected": "#6a6f75",
        "fit": "#10405f",
        "limit": "#b3401a",
        "allowed": "#55702a",
        "advised": "#0b7f6b",
        "other": "#6a6f75",
        "hold": "#0b5c9e",
        "pull": "#0b7f6b",
        "stop": "#b3401a",
        "coast": "#7a4ea3",
        "series 1": "#0b63f4",
        "series 2": "#542e07",
        "series 3": "#0b816b",
        "series 4": "#702080",
        "series 5": "#9a6d00",
        "series 6": "#1a1b23",
    },
)

DARK: Final = Palette(
    name="dark",
    ground="#14181c",
    ink="#eceff1",
    faint_ink="#a9b2ba",
    frame="#7d8790",
    grid="#343b42",
    minor_grid="#22282d",
    roles={
        "measured": "#62b0f0",
        "expected": "#a3abb3",
        "fit": "#b9dcf7",
        "limit": "#ff9a6b",
        "allowed": "#a9c46c",
        "advised": "#4fd1b8",
        "other": "#a3abb3",
        "hold": "#62b0f0",
        "pull": "#4fd1b8",
        "stop": "#ff9a6b",
        "coast": "#c5a1ec",
        "series 1": "#a1d0fd",
        "series 2": "#f4b77d",
        "series 3": "#cdfef1",
        "series 4": "#c649df",
        "series 5": "#f1e431",
        "series 6": "#738490",
    },
    band_opacity=0.26,
    span_opacity=0.17,
)
