"""What tests ask of a drawing: its words in their places, its marks."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass

import numpy as np

from roadtest.charts.frames import LETTERS_PT, Box
from roadtest.charts.lettering import width_pt
from roadtest.charts.model import Axis, Band, Chart, Level, Line, Panel, Points, Slope, Span

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Word:
    """A piece of text and the rectangle that it covers at most."""

    text: str
    box: Box


def parsed(svg: str) -> ET.Element:
    """Return the drawing as a tree; raises ParseError where it is not well formed."""
    return ET.fromstring(svg)


def words(root: ET.Element) -> list[Word]:
    """Return all words that stand upright on the page, upright-turned ones as tall boxes."""
    found = []
    for text in root.iter(f"{SVG}text"):
        said = text.text or ""
        size = float(text.get("font-size", LETTERS_PT))
        x, y, wide = float(text.attrib["x"]), float(text.attrib["y"]), width_pt(said, size)
        if "rotate" in text.get("transform", ""):
            found.append(Word(said, Box(x - 0.7 * size, y - wide, 0.7 * size, wide)))
            continue
        left = x - {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor", ""), 0.0) * wide
        found.append(Word(said, Box(left, y - 0.7 * size, wide, 0.7 * size)))
    return found


def overlapping(root: ET.Element) -> list[tuple[str, str]]:
    """Return the pairs of words that cover one another."""
    known = words(root)
    return [
        (one.text, other.text)
        for k, one in enumerate(known)
        for other in known[k + 1 :]
        if one.box.overlaps(other.box)
    ]


def busy_chart() -> Chart:
    """Return a chart with every kind of mark, in two panels."""
    x = np.linspace(0.0, 600.0, 4001)
    y = 30.0 + 25.0 * np.sin(x / 40.0)
    y[1500:1600] = np.nan
    few = np.array([50.0, 200.0, 420.0])
    return Chart(
        id="busy",
        title='A <busy> chart & "more"',
        says="Speed goes up & down <often>.",
        x=Axis("Time into the drive", "min:s", scale="clock"),
        panels=(
            Panel(
                Axis("Speed", "mph", from_zero=True),
                (
                    Span(40.0, 90.0, "hold-1", "hold", "hold-1"),
                    Span(300.0, 304.0, "stop-1", "stop", "stop-1"),
                    Span(400.0, 500.0, "pull-1", "pull", "pull-1", set_aside=True),
                    Band(x, y - 2.0, y + 2.0, "95 % interval"),
                    Line(x, y, "speed"),
                    Points(
                        few,
                        few / 10.0,
                        "readings",
                        y_u95=np.array([1.0, 2.0, 3.0]),
                        x_u95=few / 20.0,
                        names=("a", "b", "c"),
                        manoeuvres=("hold-1", None, "stop-1"),
                    ),
                    Level(50.0, "limit 50 mph", allowed="below"),
                ),
                share=2.0,
            ),
            Panel(
                Axis("Error", "mph"),
                (
                    Line(x, y / 10.0, "error", "series 2", "dashed"),
                    Slope(0.01, 1.0, "trend", "fit"),
                    Level(300.0, "half way", "other", axis="x"),
                ),
            ),
        ),
        findings=("speedometer",),
    )
