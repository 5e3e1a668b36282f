"""Drives drawn over one another, and the comparison on paper."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pytest

from roadtest import cli
from roadtest.charts.model import Chart, Line, Points
from roadtest.charts.svg import draw_svg
from roadtest.compare import Comparison, compare
from roadtest.compare.charts import comparison_charts
from roadtest.compare.document import comparison_document
from roadtest.quantity import Quantity
from roadtest.report.html import to_html
from roadtest.report.pdf import to_pdf
from roadtest.results import FileInfo, PowerPoint, ReadIn, Results, to_json
from tests.charts.pictures import overlapping, parsed
from tests.example_results import EXAMPLE, MPH

IDS = [
    "compare-dial-error",
    "compare-gears",
    "compare-mfdd",
    "compare-coasting",
    "compare-pull-times",
    "compare-power-3",
    "compare-standing",
]


def _drive(number: int, share: float) -> Results:
    """Return the example as another drive, gearing and braking `share` times what they were."""
    gears = tuple(
        replace(row, speed_per_1000_rpm=Quantity(share * 27.0 / row.overall.value, 0.02, "m/s"))
        for row in EXAMPLE.gearing.gears
        if row.overall is not None
    )
    stops = tuple(
        replace(stop, mfdd_level=Quantity(6.0 * share, 0.1, "m/s²"))
        for stop in EXAMPLE.braking.stops
    )
    curve = tuple(
        PowerPoint(float(v), 150.0 * float(v), None, Quantity(3000.0 * float(v), 900.0, "W"))
        for v in range(12, 22)
    )
    runs = tuple(replace(run, curve=curve) for run in EXAMPLE.pulls.runs)
    return replace(
        EXAMPLE,
        files=(FileInfo("gps.nmea", f"{number}", "nmea"),),
        gearing=replace(EXAMPLE.gearing, gears=gears),
        braking=replace(EXAMPLE.braking, stops=stops),
        pulls=replace(EXAMPLE.pulls, runs=runs),
    )


RESULTS = [_drive(1, 1.0), _drive(2, 1.1), _drive(3, 1.2)]
NAMES = ("spring", "summer", "autumn")


def _found(results: list[Results] = RESULTS) -> Comparison:
    return compare(results, NAMES[: len(results)])


@pytest.fixture(scope="module")
def charts() -> dict[str, Chart]:
    return {chart.id: chart for chart in comparison_charts(_found(), RESULTS)}


def _points_of(chart: Chart, drive: str) -> Points:
    (points,) = (mark for mark in chart.marks if isinstance(mark, Points) and mark.label == drive)
    return points


def test_every_kind_of_figure_is_drawn_over_the_same_axes(charts: dict[str, Chart]) -> None:
    assert list(charts) == IDS


@pytest.mark.parametrize("name", IDS)
def test_each_drive_has_a_marker_and_a_dash_of_its_own(charts: dict[str, Chart], name: str) -> None:
    points = [mark for mark in charts[name].marks if isinstance(mark, Points)]
    marker_of: dict[str, set[str]] = {}
    for mark in points:
        marker_of.setdefault(mark.names[0].split(",")[0], set()).add(mark.marker)
    assert sorted(marker_of) == sorted(NAMES)
    assert len({tuple(markers) for markers in marker_of.values()}) == 3
    lines = [mark for mark in charts[name].marks if isinstance(mark, Line)]
    assert not lines or len({mark.dash for mark in lines}) == 3
    assert {mark.label for mark in charts[name].marks if isinstance(mark, Points | Line)} - {
        ""
    } == set(NAMES)


@pytest.mark.parametrize("name", IDS)
def test_the_drawer_takes_it_and_no_words_cover_one_another(
    charts: dict[str, Chart], name: str
) -> None:
    assert overlapping(parsed(draw_svg(charts[name], (480.0, 300.0), headed=True))) == []


def test_figures_are_those_of_the_results(charts: dict[str, Chart]) -> None:
    dial = _points_of(charts["compare-dial-error"], "spring")
    assert dial.x == pytest.approx([59.5]) and dial.y == pytest.approx([0.5])
    assert dial.y_u95 == pytest.approx([0.6])
    for k, name in enumerate(NAMES):
        assert _points_of(charts["compare-mfdd"], name).y == pytest.approx([6.0 + 0.6 * k])
    gears = charts["compare-gears"]
    for k, name in enumerate(NAMES):
        (line,) = (mark for mark in gears.marks if isinstance(mark, Line) and mark.label == name)
        x, y = line.x[1::3], line.y[1::3]
        assert (1000.0 * x * MPH / y) == pytest.approx(
            (1.0 + 0.1 * k) * 27.0 / np.array([5.91, 4.22])
        )


def test_the_sentence_says_what_changed(charts: dict[str, Chart]) -> None:
    assert "on spring, summer and autumn" in charts["compare-mfdd"].says
    assert charts["compare-mfdd"].says.endswith("single runs differ: MFDD level.")
    assert charts["compare-coasting"].says.endswith("changed against spring: nothing that shows.")


@pytest.mark.parametrize(("units", "speed"), [("mph", 59.5), ("km/h", 59.5 * 1.609344)])
def test_speeds_are_read_in_either_unit(units: ReadIn, speed: float) -> None:
    chart, *_ = comparison_charts(_found(), RESULTS, units)
    assert chart.x.unit == units
    assert _points_of(chart, "spring").x == pytest.approx([speed])


def test_what_only_one_drive_shows_has_no_chart() -> None:
    bare = replace(Results(), car=EXAMPLE.car, files=(FileInfo("gps.nmea", "x", "nmea"),))
    results = [EXAMPLE, bare]
    assert comparison_charts(_found(results), results) == ()


def test_the_html_stands_alone_and_holds_every_chart_and_figure() -> None:
    html = to_html(comparison_document(_found(), RESULTS))
    assert html.count("<svg ") == len(IDS)
    assert not re.search(r"(?:src|href)=\"(?!data:|#)", html)
    assert "<script" not in html
    for said in ("Drive 3 against drive 1", "MFDD level", "How to read this", "summer"):
        assert said in html


def test_the_pdf_says_the_same() -> None:
    pages = pypdf.PdfReader(io.BytesIO(to_pdf(comparison_document(_found(), RESULTS)))).pages
    text = " ".join(page.extract_text() for page in pages)
    assert "Drive 3 against drive 1" in text and "MFDD level" in text


def test_the_command_writes_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = [tmp_path / "a.json", tmp_path / "b.json"]
    for file, drive in zip(files, RESULTS, strict=False):
        file.write_text(to_json(drive), encoding="utf-8")
    page = tmp_path / "c.html"
    assert cli.main(["compare", *map(str, files), "-o", str(page)]) == cli.PASSED
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert "Drive: " not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["-o", "c.doc"], "neither HTML nor PDF"),
        (["-o", "no/where.html"], "no such folder"),
        (["-o", "c.html", "--json", "c.html"], "the same file for both"),
    ],
)
def test_no_place_for_the_paper_is_one_line(
    more: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "a.json", tmp_path / "b.json"]
    for file in files:
        file.write_text("{}", encoding="utf-8")
    assert cli.main(["compare", *map(str, files), *more]) == cli.UNUSABLE
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1
