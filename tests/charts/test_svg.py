"""The drawer for paper."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.charts.lettering import fitted, harmless, width_pt
from roadtest.charts.model import Axis, Bars, Chart, Level, Line, Note, Panel, Points, Slope
from roadtest.charts.palette import DARK, LIGHT
from roadtest.charts.svg import draw_svg
from tests.charts.pictures import SVG, busy_chart, overlapping, parsed, words


def _chart(*marks: object, x: Axis | None = None, y: Axis | None = None) -> Chart:
    panel = Panel(y or Axis("y"), marks)  # type: ignore[arg-type]
    return Chart("c", "t", "It says so.", x or Axis("x"), (panel,))


def test_the_same_chart_gives_the_same_bytes() -> None:
    assert draw_svg(busy_chart()) == draw_svg(busy_chart())


def test_it_is_well_formed_named_and_told_in_words() -> None:
    root = parsed(draw_svg(busy_chart(), headed=True))
    assert root.get("role") == "img"
    named = root.attrib["aria-labelledby"].split()
    said = {part.get("id"): part.text for part in root if part.get("id") in named}
    assert list(said.values()) == ['A <busy> chart & "more"', "Speed goes up & down <often>."]
    texts = [word.text for word in words(root)]
    for wanted in ("Speed, mph", "Error, mph", "Time into the drive, min:s", "limit 50 mph"):
        assert wanted in texts
    assert texts.count("hold-1") == 1


@pytest.mark.parametrize("size", [(480.0, 300.0), (260.0, 260.0), (760.0, 420.0)])
def test_no_words_cover_one_another(size: tuple[float, float]) -> None:
    assert overlapping(parsed(draw_svg(busy_chart(), size, headed=True))) == []


@settings(derandomize=True, deadline=None, max_examples=120)
@given(
    st.floats(-1e6, 1e6),
    st.floats(1e-4, 1e6),
    st.floats(150.0, 700.0),
    st.floats(110.0, 500.0),
)
def test_no_tick_labels_cover_one_another(
    low: float, width: float, wide: float, high: float
) -> None:
    width = max(width, 1e-5 * abs(low))
    ends = np.array([low, low + width])
    root = parsed(draw_svg(_chart(Line(ends, ends)), (wide, high)))
    assert overlapping(root) == []
    for word in words(root):
        assert word.box.left > -1.0 and word.box.right < wide + 1.0
        assert word.box.top > -1.0 and word.box.bottom < high + 1.0


def test_marks_are_clipped_to_the_frame() -> None:
    far = Line(np.array([-1e9, 1e9]), np.array([-1e9, 1e9]))
    root = parsed(draw_svg(_chart(far, x=Axis("x", range=(0, 1)), y=Axis("y", range=(0, 1)))))
    clip = next(root.iter(f"{SVG}clipPath"))
    groups = [g for g in root.iter(f"{SVG}g") if g.get("clip-path") == f"url(#{clip.get('id')})"]
    assert len(groups) == 1
    assert len(list(groups[0])) == 1
    frame = next(r for r in root.findall(f"{SVG}rect") if r.get("fill") == "none")
    for side in ("x", "y", "width", "height"):
        assert clip[0].get(side) == frame.get(side)
    drawn = re.findall(r"-?[\d.]+", groups[0][0].attrib["d"])
    assert max(abs(float(value)) for value in drawn) <= 1e4


def test_a_line_stands_where_its_values_are() -> None:
    line = Line(np.array([0.0, 10.0]), np.array([0.0, 4.0]))
    chart = _chart(line, x=Axis("x", range=(0, 10)), y=Axis("y", range=(0, 8)))
    root = parsed(draw_svg(chart, (300.0, 200.0)))
    clip = next(root.iter(f"{SVG}clipPath"))[0]
    left, top, width, height = (float(clip.attrib[k]) for k in ("x", "y", "width", "height"))
    group = next(g for g in root.iter(f"{SVG}g") if g.get("clip-path"))
    x0, y0, x1, y1 = (float(v) for v in re.findall(r"-?[\d.]+", group[0].attrib["d"]))
    assert (x0, y0) == pytest.approx((left, top + height), abs=0.02)
    assert (x1, y1) == pytest.approx((left + width, top + 0.5 * height), abs=0.02)


def test_a_reversed_axis_puts_larger_values_lower() -> None:
    line = Line(np.array([0.0, 10.0]), np.array([0.0, 4.0]))
    y = Axis("y", range=(0, 8), reverse=True)
    root = parsed(draw_svg(_chart(line, x=Axis("x", range=(0, 10)), y=y)))
    group = next(g for g in root.iter(f"{SVG}g") if g.get("clip-path"))
    _, y0, _, y1 = (float(v) for v in re.findall(r"-?[\d.]+", group[0].attrib["d"]))
    assert y1 > y0


def test_equal_axes_are_equal() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 400)
    circle = Line(100.0 * np.cos(turn), 100.0 * np.sin(turn))
    chart = _chart(circle, x=Axis("East", "m", equal=True), y=Axis("North", "m", equal=True))
    root = parsed(draw_svg(chart, (480.0, 200.0)))
    group = next(g for g in root.iter(f"{SVG}g") if g.get("clip-path"))
    points = np.array(re.findall(r"-?[\d.]+", group[0].attrib["d"]), dtype=float).reshape(-1, 2)
    wide, high = np.ptp(points, axis=0)
    assert wide == pytest.approx(high, rel=1e-3)


def test_a_line_is_broken_at_nan() -> None:
    y = np.array([1.0, 2.0, np.nan, 3.0, 4.0])
    root = parsed(draw_svg(_chart(Line(np.arange(5.0), y))))
    group = next(g for g in root.iter(f"{SVG}g") if g.get("clip-path"))
    assert group[0].attrib["d"].count("M") == 2


@pytest.mark.parametrize(
    "text", ["<script>alert(1)</script>", "a & b", "]]>", "\"'", "\x00\x1b\ud800"]
)
def test_whatever_a_file_says_is_harmless(text: str) -> None:
    chart = replace(
        _chart(Line(np.arange(3.0), np.arange(3.0), text), Note(1.0, 1.0, text), Level(1.5, text)),
        title=text,
        says=f"{text}.",
        id=f'x" onload="{text}',
    )
    svg = draw_svg(chart, headed=True)
    svg.encode("utf-8")
    root = parsed(svg)
    assert {part.tag.removeprefix(SVG) for part in root.iter()} <= {
        "svg",
        "title",
        "desc",
        "rect",
        "text",
        "clipPath",
        "path",
        "g",
    }
    assert not any(name.startswith("on") for part in root.iter() for name in part.attrib)


def test_escaping_keeps_the_text() -> None:
    assert harmless("1 < 2 & 3") == "1 &lt; 2 &amp; 3"
    assert harmless("مرحبا") == "مرحبا"


def test_long_words_are_cut_to_their_room() -> None:
    long = "very " * 60
    short = fitted(long, 8.0, 100.0)
    assert short.endswith("…")
    assert width_pt(short, 8.0) <= 100.0
    assert fitted("short", 8.0, 100.0) == "short"
    root = parsed(draw_svg(_chart(Line(np.arange(3.0), np.arange(3.0), long)), (300.0, 200.0)))
    assert all(word.box.right <= 300.5 for word in words(root))


def test_palettes_differ_and_nothing_else_does() -> None:
    light, dark = draw_svg(busy_chart(), None, LIGHT), draw_svg(busy_chart(), None, DARK)
    assert light != dark
    assert [w.text for w in words(parsed(light))] == [w.text for w in words(parsed(dark))]


def test_limits_are_hatched_on_the_side_that_is_not_allowed() -> None:
    def hatch(allowed: str) -> str:
        chart = _chart(Level(1.0, "l", allowed=allowed), Line(np.arange(3.0), np.arange(3.0)))  # type: ignore[arg-type]
        return next(
            p.attrib["d"]
            for p in parsed(draw_svg(chart)).iter(f"{SVG}path")
            if "l-3" in p.attrib["d"]
        )

    assert "l-3 3" in hatch("above")
    assert "l-3 -3" in hatch("below")


def test_a_legend_names_each_kind_of_mark_once() -> None:
    x = np.arange(4.0)
    chart = _chart(
        Line(x, x, "line"),
        Line(x, 2.0 * x, "line"),
        Points(x, x, "points"),
        Slope(1.0, 0.0, "slope"),
        Slope(2.0, 0.0, "at its end", at_end=True),
    )
    texts = [word.text for word in words(parsed(draw_svg(chart)))]
    for name in ("line", "points", "slope", "at its end"):
        assert texts.count(name) == 1


def test_empty_charts_can_be_drawn() -> None:
    for marks in (
        (),
        (Line(np.empty(0), np.empty(0), "none"),),
        (Points(np.array([np.nan]), np.array([1.0])),),
    ):
        parsed(draw_svg(_chart(*marks)))


def test_bars_carry_their_names_and_forty_series_still_fit() -> None:
    names = tuple(f"story {k}" for k in range(5))
    bars = Bars(np.arange(5.0, 0.0, -1.0), np.linspace(90.0, 0.0, 5), names=names)
    chart = _chart(
        bars, x=Axis("p", "%", range=(0, 100)), y=Axis("", range=(0.4, 5.9), scale="none")
    )
    texts = [word.text for word in words(parsed(draw_svg(chart)))]
    assert [text for text in texts if text.startswith("story")] == list(names)
    x = np.arange(50.0)
    many = _chart(*(Line(x, x * k, f"stop-{k}") for k in range(40)))
    assert overlapping(parsed(draw_svg(many, (480.0, 300.0)))) == []


def test_a_long_drive_makes_a_small_drawing() -> None:
    x = np.arange(0.0, 3600.0, 0.1)
    y = np.random.default_rng(2).normal(size=x.size).cumsum()
    svg = draw_svg(_chart(Line(x, y, "speed")))
    assert len(svg) < 60_000


@pytest.mark.parametrize("dark", [False, True])
def test_the_pdf_engine_takes_it_with_real_text(dark: bool) -> None:
    typst = pytest.importorskip("typst", reason="the PDF engine is not installed")
    svg = draw_svg(busy_chart(), None, DARK if dark else LIGHT)
    source = '#image(bytes(sys.inputs.chart), format: "svg", alt: "a chart")'
    pdf = typst.compile(
        source.encode(), format="pdf", sys_inputs={"chart": svg}, ignore_system_fonts=True
    )
    assert b"/BaseFont" in pdf
